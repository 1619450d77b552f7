"""Sending throws: never beyond the free travel, nothing moved for what cannot be had."""

from __future__ import annotations

import numpy as np
import pytest

from hingeline.bench.asking import Gauge
from hingeline.bench.client import Board
from hingeline.bench.procedures.calibrating import calibrate
from hingeline.bench.procedures.channels import channel_of, in_use
from hingeline.bench.procedures.throwing import send_throws, surface_deg
from hingeline.bench.simulated.servo import ServoTruth, random_truth
from hingeline.bench.simulated.standin import StandIn
from hingeline.errors import LinkageError, TravelError
from hingeline.travel.setting import setting_of
from tests.support.bench import Kept, Notes, Person, Watched, calibration, station
from tests.support.models import model, servo, surface

LEVEL = Gauge("deg", 0.1)


class Rig:
    def __init__(self, truth, *, seed=1, servo_file=None, **changes):
        self.model = model(surface(**changes), servos={"A1": servo_file or servo()})
        self.shape = self.model.surfaces[0]
        self.servo = self.model.servo_of(self.shape)
        self.line = Watched({1: station(self.shape, self.model, truth, seed)}, seed)
        self.board = Board(self.line)
        self.stand_in = StandIn(self.line.stations, seed)
        self.notes = Notes()
        self.curve = None

    @property
    def setting(self):
        return setting_of(self.shape, self.servo, self.curve)

    def calibrate(self):
        plan = calibration(self.setting, Gauge("arm", 0.5))
        with in_use(self.board, [plan.channel]):
            self.curve = calibrate(self.board, plan, self.stand_in, Kept())
        return self

    def throw(self, asked, gauge=LEVEL, asker=None):
        channel = channel_of(self.servo, 1, "A1")
        with in_use(self.board, [channel]):
            return send_throws(
                self.board, self.setting, asked, gauge, asker or self.stand_in, self.notes
            )


FREE_DEG = 30.0
LONG_ARM = {"arm": {"hole": 3}, "horn": {"hole": 1}}


@pytest.mark.parametrize("rate", [0.135, -0.12, 0.08])
@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_after_calibration_throws_are_met_and_the_free_travel_never(seed, rate):
    truth = random_truth(np.random.default_rng(seed), centre_us=1500.0, rate_deg_per_us=rate)
    file = servo(pulse_limits=["600 us", "2400 us"])
    rig = Rig(truth, seed=seed, servo_file=file, rod={"play": "0.05 mm"}, **LONG_ARM).calibrate()
    wanted = [("up", 15.0), ("down", 11.0), ("up", 24.0)]
    throws = rig.throw(wanted)
    assert max(map(abs, rig.line.surfaces_seen[1])) < FREE_DEG
    band = 2 * truth.dead_band_us * abs(truth.rate_deg_per_us)
    for throw in throws:
        u = throw.predicted_u_deg
        slop = np.degrees(0.05 / 12.0)
        assert abs(throw.measured_deg - throw.wanted_deg) <= 3.5 * u + band + slop
        assert throw.predicted_deg == pytest.approx(throw.wanted_deg, abs=0.15)  # whole us
        assert throw.right_way


def test_each_throw_is_reached_from_neutral():
    rig = Rig(ServoTruth(1500.0, 0.0, 0.09))
    at = []

    def answer(question):
        at.append([*rig.line.pulses_seen[1]])
        return rig.stand_in.ask(question)

    rig.throw([("up", 10.0), ("down", 10.0), ("up", 5.0)], asker=Person(answer))
    first, second, third = (len(seen) for seen in at)
    seen = rig.line.pulses_seen[1]
    # Every one is reached over 1500 us, on which the servo comes to rest first.
    for begin, end in ((0, first), (first, second), (second, third)):
        assert seen[begin:end].count(1500.0) > 30
    assert seen[-1] == 1500.0


@pytest.mark.parametrize(
    ("asked", "error", "says"),
    [
        ([("up", 15.0), ("down", 29.5)], TravelError, "free travel"),
        ([("up", 15.0), ("up", 60.0)], TravelError, "free travel"),
    ],
)
def test_what_cannot_be_had_is_refused_before_anything_moves(asked, error, says):
    rig = Rig(ServoTruth(1500.0, 0.0, 0.09), **LONG_ARM)
    with pytest.raises(error, match=says):
        rig.throw(asked)
    assert rig.line.pulses_seen[1] == []
    assert rig.notes == []


def test_what_the_linkage_cannot_do_is_refused_before_anything_moves():
    rig = Rig(ServoTruth(1500.0, 0.0, 0.09))  # 6.4 mm on 19 mm: 19.7 deg at most
    with pytest.raises(LinkageError, match=r"up 22\.0 deg is beyond what the linkage can do"):
        rig.throw([("up", 15.0), ("up", 22.0)])
    assert rig.line.pulses_seen[1] == []


def test_what_the_servo_cannot_do_is_refused_before_anything_moves():
    rig = Rig(ServoTruth(1500.0, 0.0, 0.09), servo_file=servo(pulse_limits=["1300 us", "1700 us"]))
    with pytest.raises(TravelError, match="pulse limits"):
        rig.throw([("up", 1.0), ("up", 15.0)])
    assert rig.line.pulses_seen[1] == []


def test_unequal_free_travel_is_kept_on_its_own_side():
    # A rudder whose own travel is 38.7 and 22.0 deg; 38 are wanted both ways.
    rig = Rig(
        ServoTruth(1500.0, 0.0, 0.09),
        kind="rudder",
        side="centre",
        horn={"side": "right", "hole": 1},
        arm={"hole": 3},
        throws={"left": "20 deg", "right": "20 deg"},
        free_travel={"left": "63.5 mm drop", "right": "38.1 mm drop"},
        chord="101.6 mm",
    )
    with pytest.raises(TravelError, match=r"right 37\.0 deg .* free travel \(22\.0 deg right"):
        rig.throw([("left", 37.0), ("right", 37.0)])
    assert rig.throw([("left", 37.0)])[0].measured_deg == pytest.approx(37.0, abs=0.6)


def test_the_wrong_direction_is_seen_by_the_word_that_is_typed():
    rig = Rig(ServoTruth(1500.0, 0.0, 0.09))
    up, down = rig.throw([("up", 15.0), ("down", 11.0)], asker=Person(["down 15", "up 11"]))
    assert not up.right_way
    assert not down.right_way
    bare, zero = rig.throw([("up", 15.0), ("down", 11.0)], asker=Person(["15", "0"]))
    assert bare.right_way  # the word that was asked for is assumed
    assert not zero.right_way  # it did not move


def test_a_servo_that_turns_the_other_way_than_its_file_says_is_seen():
    rig = Rig(ServoTruth(1500.0, 0.0, -0.09))
    assert [throw.right_way for throw in rig.throw([("up", 15.0), ("down", 11.0)])] == [
        False,
        False,
    ]


@pytest.mark.parametrize("kind", ["drop", "straight"])
def test_millimetres_become_degrees_at_the_chord(kind):
    rig = Rig(ServoTruth(1500.0, 0.0, 0.09), rod={"play": "0 mm"})
    (throw,) = rig.throw([("up", 15.0)], Gauge(kind, 0.01))
    assert throw.measured_deg == pytest.approx(15.0, abs=0.06)
    shape = rig.shape
    answer = rig.notes[-1]
    assert surface_deg(answer, shape, Gauge(kind, 0.01)) == throw.measured_deg
    assert answer.value == pytest.approx(45 * np.sin(np.radians(15)), abs=0.15)


def test_each_answer_is_noted_before_the_next_question():
    rig = Rig(ServoTruth(1500.0, 0.0, 0.09))
    asked = []

    def answer(question):
        assert len(rig.notes) == len(asked)
        asked.append(question)
        return rig.stand_in.ask(question)

    rig.throw([("up", 10.0), ("down", 10.0)], asker=Person(answer))
    assert len(rig.notes) == 2


def test_outputs_are_off_at_the_end_and_when_stopped():
    rig = Rig(ServoTruth(1500.0, 0.0, 0.09))
    rig.throw([("up", 10.0)])
    assert rig.line.pulses_us == [0.0] * 8

    def stop(_question):
        assert rig.line.pulses_us[0] > 0
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        rig.throw([("up", 10.0)], asker=Person(stop))
    assert rig.line.pulses_us == [0.0] * 8
