"""The board's whole program without a computer: one button, one light, a knob."""

import contextlib
import itertools
import json
import time

import pytest

from shared_protocol.host_session import Greeting, Reply
from tests.benchboard.test_endings import Notes
from tests.support.small_host import Client, read, until, widths

EIGHT = range(8)


@pytest.fixture
def notes(tmp_path):
    return Notes(tmp_path)


@contextlib.contextmanager
def started(notes):
    """Run the board until the light shows that it works; the button held before keeps it out."""
    notes.light.unlink(missing_ok=True)
    with notes.running() as path:
        until(notes.light.exists)
        time.sleep(0.2)  # a button has to be seen released before it counts
        yield path


def press(notes, seconds=0.3):
    notes.button.touch()
    time.sleep(seconds)
    notes.button.unlink()
    time.sleep(0.15)


def now(notes):
    """Return the present width of each servo pin; None where there was never a pulse."""
    seen = widths(notes.pins) if notes.pins.exists() else {}
    return [seen.get(pin) for pin in EIGHT]


def flashes(notes, since_us):
    """Return how long the light was on each time, in ms, from a moment on."""
    lines = [line.split() for line in notes.light.read_text(encoding="utf-8").splitlines()]
    changes = [(int(at), int(on)) for at, on in lines if int(at) >= since_us]
    pairs = itertools.pairwise(changes)
    return [(b[0] - a[0]) / 1000 for a, b in pairs if a[1] and not b[1]]


@pytest.mark.slow
def test_centre_sweep_and_off_by_the_button_alone(notes):
    with started(notes):
        time.sleep(0.5)
        assert now(notes) == [None] * 8  # nothing moves by itself
        press(notes)
        until(lambda: now(notes) == [1_500_000] * 8)
        firsts = [at for at, _, _ in read(notes.pins)]
        assert min(b - a for a, b in itertools.pairwise(firsts)) > 65_000
        press(notes)
        until(lambda: len({width for _, pin, width in read(notes.pins) if pin == 7}) > 60)
        begun = read(notes.pins)
        reached = [width for _, _, width in begun]
        assert min(reached) >= 1_000_000
        assert max(reached) <= 2_000_000
        press(notes)
        until(lambda: now(notes) == [1_500_000] * 8)  # no knob: back to the centre
        press(notes, 1.5)
        until(notes.low)
        ends = [at for at, _, width in read(notes.pins) if width == 0]
        assert max(ends) - min(ends) < 50_000
        quiet = read(notes.pins)
        time.sleep(0.4)
        assert read(notes.pins) == quiet
        press(notes)  # and again
        until(lambda: now(notes) == [1_500_000] * 8)


def test_a_bounce_is_no_press(notes):
    with started(notes):
        time.sleep(0.2)
        for _ in range(10):
            notes.button.touch()
            notes.button.unlink()
            time.sleep(0.03)
        time.sleep(0.3)
        assert now(notes) == [None] * 8


@pytest.mark.slow
def test_the_knob_moves_the_servos_where_one_is_fitted(notes):
    with started(notes) as path:
        client = Client(path)
        client.ask("hello")
        assert isinstance(client.ask("change", knob=1), Reply)
        for ch in range(3, 9):
            assert isinstance(client.ask("keep", ch=ch, **{"class": 0}), Reply)
        client.ask("quit")
        client.port.close()
    assert json.loads((notes.store / "settings.json").read_text(encoding="utf-8"))
    notes.read_analogue(gp26=0)
    with started(notes):
        press(notes)
        until(lambda: now(notes)[:2] == [1_500_000] * 2)
        press(notes)
        until(lambda: now(notes)[0] < 1_450_000)
        press(notes)
        for turned, wanted in ((0, 1_000_000), (40_000, 1_612_000)):
            notes.read_analogue(gp26=turned)
            both = pytest.approx([wanted] * 2, abs=4_000)
            until(lambda both=both: now(notes)[:2] == both, 10)
            assert now(notes)[2:] == [None] * 6  # the settings leave the others out
        press(notes, 1.5)
        until(notes.low)


def test_a_computer_takes_over_and_the_button_still_stops_everything(notes):
    with started(notes) as path:
        time.sleep(0.2)
        press(notes)
        until(lambda: now(notes) == [1_500_000] * 8)
        client = Client(path)
        assert isinstance(client.ask("hello"), Greeting)
        assert client.ask("beat").values["on_mask"] == 255  # pulses hold
        press(notes)
        until(notes.low)
        assert client.ask("beat").values["guard"] == 4
        client.port.close()


def test_a_supply_that_is_too_low_lets_nothing_start(notes):
    with started(notes) as path:
        client = Client(path)
        client.ask("hello")
        assert isinstance(client.ask("change", rail_full_mv=12_000, rail_low_mv=4_500), Reply)
        client.ask("quit")
        client.port.close()
    notes.read_analogue(gp27=20000)  # 3.66 V
    with started(notes):
        time.sleep(0.3)
        press(notes)
        time.sleep(0.5)
        assert now(notes) == [None] * 8
        notes.read_analogue(gp27=30000)  # 5.49 V
        time.sleep(1.0)
        press(notes)
        until(lambda: now(notes) == [1_500_000] * 8)


def test_the_light_flashes_shortly_while_everything_rests(notes):
    with started(notes):
        time.sleep(2.5)
    assert len(flashes(notes, 0)) in (1, 2)
    assert max(flashes(notes, 0)) < 200
