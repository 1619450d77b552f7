"""The simulated bench: the firmware's pulses, its time, and servos that obey nothing else."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hingeline.bench.asking import Gauge, arm_question, surface_question, understand
from hingeline.bench.client import Board
from hingeline.bench.simulated.servo import ModelledServo, ServoTruth, random_truth
from hingeline.bench.simulated.standin import StandIn
from hingeline.bench.simulated.station import bare_station, stations_of
from hingeline.bench.simulated.transport import SimulatedTransport
from hingeline.errors import BenchError
from tests.support.bench import Watched, bare_servo, set_up, station
from tests.support.models import model, one, surface

PLAIN = ServoTruth(1500.0, 0.0, 0.09)


def servo(**changes):
    made = ModelledServo(replace(PLAIN, **changes), np.random.default_rng(1))
    run(made, 1500)
    return made


def run(made, pulse_us, seconds=2.0):
    for _ in range(round(seconds * 100)):
        made.advance(pulse_us, 0.01)
    return made.shaft_deg


def slew(made, start_us, end_us, step_us=8.0):
    """Go from one pulse to another as a slewing board does, then rest."""
    count = max(1, round(abs(end_us - start_us) / step_us))
    for pulse in np.linspace(start_us, end_us, count + 1)[1:]:
        made.advance(float(pulse), 0.01)
    return run(made, end_us, 0.5)


# -- the servo in time --------------------------------------------------------------------


@pytest.mark.parametrize("rate", [0.09, -0.09, 0.135])
def test_it_turns_by_its_rate_to_its_own_side(rate):
    made = servo(rate_deg_per_us=rate)
    assert run(made, 1700) == pytest.approx(200 * rate)
    assert run(made, 1400) == pytest.approx(-100 * rate)


@pytest.mark.parametrize("rate", [0.09, -0.09])
def test_play_lags_in_the_way_that_the_definition_says(rate):
    made = servo(rate_deg_per_us=rate, half_gap_deg=0.5)
    slew(made, 1500, 1300)
    rising = slew(made, 1300, 1550)
    slew(made, 1550, 1800)
    falling = slew(made, 1800, 1550)
    assert rising == pytest.approx(made.truth.shaft_deg(1550, "rising"))
    assert falling == pytest.approx(made.truth.shaft_deg(1550, "falling"))
    assert abs(rising - falling) == pytest.approx(1.0)
    # Reached by rising pulses it stands nearer to where lesser pulses had it.
    at_less = made.truth.driven_deg(1400)
    assert abs(rising - at_less) < abs(falling - at_less)


def test_play_swallows_a_small_reversal():
    made = servo(half_gap_deg=0.5)
    there = slew(made, 1300, 1600)
    assert slew(made, 1600, 1595) == there  # 0.45 deg back, inside the play of 1 deg
    assert slew(made, 1595, 1580) < there


@pytest.mark.parametrize(("change", "moves"), [(2, False), (4, False), (5, True)])
def test_a_change_within_the_dead_band_is_not_acted_on(change, moves):
    made = servo(dead_band_us=4.0)
    before = run(made, 1600)
    assert (run(made, 1600 + change) != before) is moves


def test_it_takes_its_time():
    made = servo(speed_deg_per_s=100.0)
    assert run(made, 2100, 0.2) == pytest.approx(20.0)
    assert run(made, 2100, 0.2) == pytest.approx(40.0)
    assert run(made, 2100, 0.2) == pytest.approx(54.0)


def test_it_stands_on_its_stops():
    made = servo(stops_deg=(-30.0, 40.0))
    assert run(made, 2100) == pytest.approx(40.0)
    assert run(made, 900) == pytest.approx(-30.0)


def test_without_pulses_it_is_limp_and_stays():
    made = servo(dead_band_us=4.0)
    before = run(made, 1700)
    assert run(made, 0) == before
    # After a pause even a change within the dead band is acted on: it was not holding.
    assert run(made, 1702) == pytest.approx(before + 0.18)


def test_where_it_stands_before_its_first_pulse_is_not_known():
    first = {ModelledServo(PLAIN, np.random.default_rng(seed)).shaft_deg for seed in range(5)}
    assert len(first) == 5
    assert max(first) - min(first) > 5


@given(st.integers(0, 10_000), st.sampled_from([0.09, -0.09]))
@settings(max_examples=50, deadline=None)
def test_a_drawn_servo_follows_its_pulse_all_along(seed, rate):
    truth = random_truth(np.random.default_rng(seed), centre_us=1500.0, rate_deg_per_us=rate)
    angles = [truth.driven_deg(pulse) for pulse in range(900, 2101, 10)]
    steps = np.diff(angles) * np.sign(rate)
    assert (steps >= 0).all()
    assert (steps > 0)[10:-10].all()  # a stop may hold it near the ends only
    assert abs(truth.driven_deg(1500)) <= 4.0


# -- the bench ----------------------------------------------------------------------------


def test_servos_see_the_pulses_of_the_firmware_and_nothing_else():
    line = Watched({1: bare_servo(), 2: bare_servo()})
    board = Board(line)
    set_up(board, 1, slew_us_per_s=1000)
    board.wait(1.0)
    assert line.pulses_seen[1] == []
    board.hold({1: 1500})
    board.hold({1: 1600})
    seen = [pulse for pulse in line.pulses_seen[1] if pulse > 1500]
    assert max(np.diff([1500, *seen])) <= 10.0 + 1e-9  # 10 ms at 1000 us/s
    assert seen[-1] == 1600
    assert line.pulses_seen[2] == []


def test_limits_are_the_firmwares():
    board = Board(SimulatedTransport({1: bare_servo()}))
    with pytest.raises(BenchError, match="has no pulse class and limits yet"):
        board.hold({1: 1500})
    set_up(board, pulse_class="narrow", limits_us=(560, 960), centre_us=760)
    with pytest.raises(BenchError, match="1500 us is above 960 us"):
        board.hold({1: 1500})
    assert board.state(1)["on"] == 0


def test_time_runs_only_when_waited_for():
    line = SimulatedTransport({1: bare_servo()})
    board = Board(line)
    set_up(board)
    board.hold({1: 1500})
    at = line.now_s()
    for _ in range(3):
        assert line.now_s() == at
        assert line.pulses_us[0] == 1500
    board.wait(3.0)
    assert line.now_s() == pytest.approx(at + 3.0, abs=0.05)


def test_a_silent_host_stops_the_pulses():
    line = SimulatedTransport({1: bare_servo()})
    board = Board(line)
    set_up(board)
    board.hold({1: 1500})
    line.wait(3.9)
    assert line.pulses_us[0] == 1500
    line.wait(0.2)
    assert line.pulses_us == [0.0] * 8


def test_it_works_on_beyond_the_turn_of_the_boards_clock():
    line = SimulatedTransport({1: bare_servo()})
    line._now_us = line._core._last_us = (1 << 30) - 500_000
    board = Board(line)
    set_up(board, slew_us_per_s=400)
    board.hold({1: 1500})
    board.hold({1: 1900})  # takes a second: over the turn
    assert line._now_us > (1 << 30) + 200_000
    assert line.pulses_us[0] == 1900
    board.wait(5.0)
    assert line.pulses_us[0] == 1900
    assert board.moving() is False


def play(seed):
    made = model(surface())
    stations = stations_of(made, seed)
    line = Watched(stations, seed)
    board = Board(line)
    set_up(board)
    typed = StandIn(stations, seed)
    said = []
    for pulse in (1500, 1700, 1300, 1502):
        board.hold({1: pulse})
        board.wait(0.5)
        said.append(typed.ask(arm_question("A1", 1, pulse, Gauge("arm", 0.5))))
    return said, line.shafts_seen, board._session.token


def test_a_seed_gives_the_same_bench_again_and_another_another():
    assert play(3) == play(3)
    assert play(3)[0] != play(4)[0]
    assert play(3)[2] != play(4)[2]


def test_a_seed_gives_the_same_servos_in_another_process():
    script = (
        "from hingeline.bench.simulated.station import bare_station\n"
        "print(repr(bare_station(3, centre_us=1500.0, seed=7).servo.truth))"
    )
    printed = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, timeout=60
    ).stdout.strip()
    assert printed == repr(bare_station(3, centre_us=1500.0, seed=7).servo.truth)


def test_servos_of_one_model_differ_and_keep_their_own_when_another_is_added():
    left = surface()
    right = surface(name="right aileron", side="right", servo="A2", channel=2)
    both = stations_of(model(left, right), 3)
    alone = stations_of(model(left), 3)
    assert both[1].servo.truth == alone[1].servo.truth
    assert both[1].servo.truth != both[2].servo.truth


# -- the surface behind the servo ---------------------------------------------------------


def test_the_surface_lags_by_the_play_of_its_rod():
    made = model(surface(rod={"play": "0.4 mm"}))
    built = station(made.surfaces[0], made, replace(PLAIN, rate_deg_per_us=0.05))
    rest = []
    for pulses in ((1200, 1500), (1800, 1500)):
        for pulse in pulses:
            for _ in range(100):
                built.advance(pulse, 0.01)
        rest.append(built.surface_deg)
    # 0.4 mm at a horn of 19 mm, which stands square to its rod at neutral
    assert abs(rest[0] - rest[1]) == pytest.approx(np.degrees(0.4 / 19.0), rel=0.01)


def test_a_bare_arm_has_no_surface_to_be_measured():
    with pytest.raises(ValueError, match="no surface"):
        bare_servo().shown("deg")


# -- the stand-in -------------------------------------------------------------------------


@given(
    st.sampled_from(["arm", "deg", "drop", "straight"]),
    st.floats(-60, 60),
    st.sampled_from([0.1, 0.25, 0.5, 1.0, 0.05, 0.01, 0.0001, 1e-9]),
    st.integers(0, 50),
)
@settings(max_examples=200, deadline=None)
def test_the_stand_in_types_what_the_gauge_shows_to_its_resolution(kind, at_deg, step, seed):
    shape, _servo = one(chord="60 mm")
    built = bare_servo()
    built.surface = shape
    built.servo.shaft_deg = built.surface_deg = at_deg
    gauge = Gauge(kind, step)
    question = (
        arm_question("A1", 1, 1500, gauge)
        if kind == "arm"
        else surface_question(shape, 1, gauge, assumed=None)
    )
    stand_in = StandIn({1: built}, seed)
    answer = understand(question, stand_in.ask(question))
    truth = built.shown(kind)
    assert abs(answer.value - truth) <= step / 2 + 1e-6
    steps = answer.value / step
    assert steps == pytest.approx(round(steps), abs=1e-6) or step < 1e-4
