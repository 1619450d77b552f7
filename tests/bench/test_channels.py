"""Bringing channels to life and back to silence, and readings made of answers."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest

from hingeline.bench.asking import Gauge, surface_question, understand
from hingeline.bench.client import Board
from hingeline.bench.procedures.channels import (
    REST_S,
    SLEW_US_PER_S,
    Channel,
    channel_of,
    frame_rate,
    go,
    in_use,
    prepare,
)
from hingeline.bench.readings import making
from hingeline.bench.simulated.transport import SimulatedTransport
from hingeline.chord import throw_mm
from hingeline.errors import BenchError, TravelError
from hingeline.linkage.closure import surface_angle
from hingeline.travel.setting import setting_of
from shared_protocol import table
from tests.support.bench import Watched, bare_servo
from tests.support.models import model, one, servo, surface

PLAIN = Channel(1, "A1", "standard", 1500, (900, 2100))
NARROW = Channel(2, "N1", "narrow", 760, (560, 960))


def test_nothing_is_sent_by_setting_up():
    line = Watched({1: bare_servo(), 2: bare_servo()})
    board = Board(line)
    with in_use(board, [PLAIN, NARROW]):
        board.wait(1.0)
    assert line.pulses_seen == {1: [], 2: []}


def test_first_pulses_come_one_by_one_and_then_all_stand():
    channels = [Channel(n, str(n), "standard", 1500, (900, 2100)) for n in range(1, 9)]
    line = Watched({n: bare_servo() for n in range(1, 9)})
    board = Board(line)
    with in_use(board, channels):
        go(board, dict.fromkeys(range(1, 9), 1500))
        assert line.pulses_us == [1500] * 8
        # Each had pulses for longer than the next: at least 50 ms, five steps of time.
        lengths = sorted(len(line.pulses_seen[n]) for n in range(1, 9))
        assert min(np.diff(lengths)) >= 5
    assert line.pulses_us == [0.0] * 8


def test_going_is_as_slow_as_the_slew_and_comes_to_rest():
    line = Watched({1: bare_servo()})
    board = Board(line)
    with in_use(board, [PLAIN]):
        go(board, {1: 1500})
        began = line.now_s()
        go(board, {1: 1900})
        assert line.now_s() - began >= 400 / SLEW_US_PER_S + REST_S
        assert max(np.diff(line.pulses_seen[1])) <= SLEW_US_PER_S * 0.01 + 1e-9
        assert line.stations[1].servo.shaft_deg == pytest.approx(36.0)


def test_a_channel_of_the_wrong_class_is_refused_before_any_pulse():
    board = Board(SimulatedTransport({}))
    wrong = Channel(2, "N1", "narrow", 1500, (1000, 2000))
    with pytest.raises(BenchError, match="outside its pulse class"), in_use(board, [PLAIN, wrong]):
        pytest.fail("it was taken into use")
    assert board._transport.pulses_us == [0.0] * 8


def test_a_channel_can_be_taken_into_use_again_at_once():
    board = Board(SimulatedTransport({1: bare_servo()}))
    for _ in range(3):
        with in_use(board, [PLAIN]):
            go(board, {1: 1600})


def test_one_channel_is_off_while_its_neighbour_goes_on():
    line = SimulatedTransport({1: bare_servo(), 2: bare_servo()})
    board = Board(line)
    with in_use(board, [PLAIN]):
        go(board, {1: 1600})
        with in_use(board, [NARROW]):
            go(board, {2: 760})
        assert line.pulses_us[:2] == [1600, 0]


def test_a_channel_is_that_of_its_servo():
    surface, file = one()
    assert channel_of(file, surface.channel, "A1, left aileron") == Channel(
        1, "A1, left aileron", "standard", 1500, (900, 2100)
    )


# -- the board made ready -----------------------------------------------------------------


def on_channel(number, frame_hz, high_us=2100):
    return Channel(number, "", "standard", 1500, (900, high_us), frame_hz)


def board_with_step(tick_us, channels=8, reason="power"):
    """Greet a simulated board whose pulses have another step, or that has fewer channels."""
    line = SimulatedTransport({})
    line._outputs.tick_ps = lambda: round(tick_us * 1e6)
    core = line._core
    core.bank.channels = core.bank.channels[:channels]
    core._reason = table.number_of(table.REASONS, reason)
    return Board(line)


def test_servos_get_50_frames_a_second_unless_all_of_them_may_get_more():
    line = SimulatedTransport({})
    board = Board(line)
    for rates, expected in (
        ([50], 50),
        ([333], 333),
        ([333, 200], 200),
        ([333, 50, 200], 50),
    ):
        channels = [on_channel(n, rate) for n, rate in enumerate(rates, start=1)]
        assert frame_rate(channels) == expected
        assert prepare(board, channels) == ""
        assert line._outputs.frame_hz == expected
        with in_use(board, channels):
            go(board, {1: 1600})
            assert line.pulses_us[0] == 1600


def test_a_board_that_begins_with_more_frames_is_set_back_for_analogue_servos():
    line = SimulatedTransport({})
    Board(line).change({"frame_hz": 300})
    board = Board(line)
    assert line._outputs.frame_hz == board.frame_hz == 300
    prepare(board, [PLAIN])
    assert line._outputs.frame_hz == 50


def test_what_an_earlier_program_set_up_does_not_keep_a_later_one_from_its_frame_rate():
    line = SimulatedTransport({})
    first = Board(line)
    with in_use(first, [on_channel(5, 50, high_us=2500)]):
        go(first, {5: 2500})
    second = Board(line)
    prepare(second, [on_channel(1, 333)])
    assert line._outputs.frame_hz == 333


@pytest.mark.parametrize("tick_us", [0.02, 0.306, 1.22, 2.0])
def test_fine_pulses_need_no_word(tick_us):
    assert prepare(board_with_step(tick_us), [PLAIN]) == ""


@pytest.mark.parametrize("tick_us", [2.01, 2.44, 5.0])
def test_coarse_pulses_are_told_with_what_they_mean(tick_us):
    told = prepare(board_with_step(tick_us), [PLAIN])
    assert f"steps of {tick_us:.2f} us" in told
    assert f"{tick_us * 0.09:.2f} deg of a common servo (0.09 deg/us)" in told


@pytest.mark.parametrize("tick_us", [5.01, 19.53, 100.0])
def test_too_coarse_pulses_are_refused(tick_us):
    with pytest.raises(BenchError, match=f"steps of {tick_us:.2f} us.* more than 5 us") as caught:
        prepare(board_with_step(tick_us), [PLAIN])
    assert "another board" in caught.value.mend


@pytest.mark.parametrize(
    ("reason", "cause"), [("pins", "pins.json, is missing"), ("power", "which of its pins")]
)
def test_a_board_without_channels_names_its_mend(reason, cause):
    with pytest.raises(BenchError, match="this board has no channels") as caught:
        prepare(board_with_step(0.3, channels=0, reason=reason), [PLAIN])
    assert cause in caught.value.cause
    assert "hingeline board install --port sim: --pins pins.json" in caught.value.mend
    (page,) = re.findall(r"\S+\.md", caught.value.mend)
    assert '"gpios": [' in (Path(__file__).parents[2] / page).read_text("utf-8")


def test_a_channel_that_the_board_lacks_is_named():
    with pytest.raises(BenchError, match="there is no channel 5: this board has 4"):
        prepare(board_with_step(0.3, channels=4), [on_channel(4, 50), on_channel(5, 50)])


def test_a_servos_rate_is_that_of_its_file():
    digital = model(surface(), servos={"A1": servo(digital=True, frame_rate="200 Hz")}).servos[
        "A1"
    ]
    assert channel_of(digital, 1, "A1").frame_hz == 200
    plain = model(surface(), servos={"A1": servo(digital=True)}).servos["A1"]
    assert channel_of(plain, 1, "A1").frame_hz == 50


# -- readings -----------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["deg", "drop", "straight"])
@pytest.mark.parametrize("shaft_deg", [-40.0, -5.0, 0.0, 20.0, 55.0])
@pytest.mark.parametrize("horn", ["top", "bottom"])
@pytest.mark.parametrize("side", ["left", "right"])
def test_what_is_read_at_the_surface_gives_the_shaft_back(kind, shaft_deg, horn, side):
    surface, file = one(side=side, horn={"side": horn})
    setting = setting_of(surface, file, None)
    gauge = Gauge(kind, 0.5)
    at_deg = math.degrees(float(surface_angle(setting.linkage, math.radians(shaft_deg))))
    size = at_deg if kind == "deg" else throw_mm(at_deg, surface.chord_mm, kind)
    word = next(w for w in ("up", "down") if _sign(surface, w) * size >= 0)
    typed = f"{word} {abs(size):.9f}"
    answer = understand(surface_question(surface, 1, gauge, assumed=None), typed)
    reading = making(gauge, setting)(1600, "rising", answer)
    assert reading.angle_deg == pytest.approx(shaft_deg, abs=1e-6)
    assert reading.as_typed == typed
    assert (reading.pulse_us, reading.approach, reading.kind) == (1600, "rising", "surface")
    # A mark of the gauge, carried to the shaft by differences instead of by the formula.
    step = 1e-4
    onward = understand(
        surface_question(surface, 1, gauge, assumed=None), f"{word} {abs(size) + step:.9f}"
    )
    moved = making(gauge, setting)(1600, "rising", onward).angle_deg - reading.angle_deg
    assert reading.u_deg == pytest.approx(0.5 / math.sqrt(12) * abs(moved) / step, rel=1e-3)


def _sign(surface, word):
    return 1 if (word == "down") == (surface.horn.side == "top") else -1


def test_a_deflection_beyond_the_linkage_gives_no_reading():
    surface, file = one()
    gauge = Gauge("deg", 0.5)
    answer = understand(surface_question(surface, 1, gauge, assumed=None), "up 60")
    with pytest.raises(TravelError, match="beyond what the linkage can reach"):
        making(gauge, setting_of(surface, file, None))(1600, "rising", answer)
