"""Bringing channels to life and back to silence, and readings made of answers."""

from __future__ import annotations

import math

import numpy as np
import pytest

from hingeline.bench.asking import Gauge, surface_question, understand
from hingeline.bench.client import Board
from hingeline.bench.procedures.channels import (
    REST_S,
    SLEW_US_PER_S,
    Channel,
    channel_of,
    go,
    in_use,
)
from hingeline.bench.readings import making
from hingeline.bench.simulated.transport import SimulatedTransport
from hingeline.chord import throw_mm
from hingeline.errors import BenchError, TravelError
from hingeline.linkage.closure import surface_angle
from hingeline.travel.setting import setting_of
from tests.support.bench import Watched, bare_servo
from tests.support.models import one

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
    with pytest.raises(BenchError, match="class_limit"), in_use(board, [PLAIN, wrong]):
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
