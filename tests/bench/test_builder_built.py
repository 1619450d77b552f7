"""Linkages of the simulated bench that are built otherwise than planned."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hingeline.bench.simulated.build import Build
from hingeline.bench.simulated.servo import ModelledServo, ServoTruth
from hingeline.bench.simulated.station import (
    planned_free_deg,
    sound,
    stations_of,
    well_built,
)
from hingeline.linkage.closure import surface_angle
from hingeline.linkage.mounting import ahead_sense, lean_deg, mounted, tooth_deg
from hingeline.model.reading import parse_model
from hingeline.model.writing import example_text
from tests.support.models import model, servo, surface

MODEL = parse_model(example_text(), source="example")
CHANNELS = {one.name: one.channel for one in MODEL.surfaces}


def exact(name, made=MODEL):
    """Return a station with a perfect servo, whose rod has the length that fits."""
    station = stations_of(made, 20)[made.surface(name).channel]
    planned = made.servo_of(made.surface(name))
    sense = -1.0 if planned.turns == "cw" else 1.0
    truth = ServoTruth(float(planned.centre_us), 0.0, sense * planned.rate_deg_per_us)
    station.servo = ModelledServo(truth, np.random.default_rng(0))
    station._rod_error_mm = 0.0
    station.rebuild(Build())
    hold(station, truth.centre_us)
    return station


def hold(station, pulse_us):
    for _ in range(200):
        station.advance(pulse_us, 0.01)


@pytest.mark.parametrize("seed", [0, 20, 21])
def test_nothing_changes_while_nothing_is_built_otherwise(seed):
    for channel, station in stations_of(MODEL, seed).items():
        before, kept = station.linkage, station.lean_deg
        station.rebuild(Build())
        again = station.linkage
        np.testing.assert_allclose(again.arm.tip_mm, before.arm.tip_mm)
        np.testing.assert_allclose(again.horn.tip_mm, before.horn.tip_mm)
        assert again.length_mm == pytest.approx(before.length_mm)
        assert station.lean_deg == kept
        assert station.arm_deg == station.servo.shaft_deg, channel


@pytest.mark.parametrize("name", CHANNELS)
@pytest.mark.parametrize("teeth", [-2, -1, 1, 2])
def test_a_tooth_shows_as_lean_and_moves_the_surface_as_the_shaft_would(name, teeth):
    station = exact(name)
    planned = MODEL.servo_of(station.surface)
    off = teeth * tooth_deg(planned)
    station.rebuild(Build(lean_deg=off))
    assert station.lean_deg == pytest.approx(lean_deg(station.surface, planned) + off)
    shaft = ahead_sense(mounted(station.surface, planned)) * off
    true = math.degrees(float(surface_angle(station.linkage, math.radians(shaft))))
    assert station.stands_deg(float(planned.centre_us), "rising") == pytest.approx(true)
    assert abs(true) > 2.0
    # Ahead draws the rod away from the horn: the surface is pulled.
    assert (true < 0) == (teeth > 0)


@pytest.mark.parametrize("name", CHANNELS)
def test_at_the_other_end_of_the_arm_everything_goes_the_other_way(name):
    station = exact(name)
    there = exact(name)
    there.rebuild(Build(other_side=True))
    centre = station.servo.truth.centre_us
    assert there.stands_deg(centre, "rising") == pytest.approx(0.0, abs=1e-6)
    for pulse in (centre - 150, centre + 150):
        one, other = (each.stands_deg(pulse, "rising") for each in (station, there))
        assert one * other < 0
        assert abs(one) > 3.0


def test_the_other_end_of_a_leaning_arm_leans_the_other_way():
    """The differential turns round with the direction, as it does on a straight arm."""
    station, there = exact("left aileron"), exact("left aileron")
    there.rebuild(Build(other_side=True))
    reach = {}
    for key, each in (("one", station), ("other", there)):
        ends = [each.stands_deg(1500.0 + way * 300, "rising") for way in (1, -1)]
        reach[key] = max(ends), -min(ends)
    one, other = reach["one"], reach["other"]
    assert one[0] > one[1] + 1.0 or one[1] > one[0] + 1.0
    # Which way is the larger, up or down, stays; which end of the pulses makes it changes.
    assert (one[0] > one[1]) != (other[0] > other[1])


@pytest.mark.parametrize("hole", [1, 2])
def test_a_hole_nearer_to_the_hinge_line_throws_more(hole):
    station = exact("elevator")
    planned = abs(station.stands_deg(1300.0, "rising"))
    station.rebuild(Build(horn_hole=hole))
    assert station.stands_deg(1500.0, "rising") == pytest.approx(0.0, abs=1e-6)
    assert abs(station.stands_deg(1300.0, "rising")) > planned + 1.0


@given(set_back=st.floats(-6.0, 6.0).filter(lambda mm: abs(mm) > 0.5))
@settings(max_examples=30)
def test_a_horn_off_its_place_stays_neutral_and_throws_unevenly(set_back):
    station = exact("rudder")
    station.rebuild(Build(set_back_mm=set_back))
    assert station.stands_deg(1500.0, "rising") == pytest.approx(0.0, abs=1e-6)
    even = exact("rudder")
    ends = [
        sum(one.stands_deg(pulse, "rising") for pulse in (1100.0, 1900.0))
        for one in (station, even)
    ]
    assert abs(ends[0] - ends[1]) > 0.1 * abs(set_back)


@pytest.mark.parametrize("rod_mm", [-1.0, 1.0])
def test_a_rod_too_long_pushes(rod_mm):
    station = exact("rudder")
    station.rebuild(Build(rod_mm=rod_mm))
    off = station.stands_deg(1500.0, "rising")
    assert math.copysign(1.0, off) == math.copysign(1.0, rod_mm)
    assert abs(off) == pytest.approx(math.degrees(1.0 / 15.5), rel=0.05)


def test_play_of_the_joints_is_felt_and_holds_the_surface_back():
    station = exact("elevator")
    tight = station.slop_deg
    station.rebuild(Build(play_mm=0.45))
    assert station.slop_deg - tight == pytest.approx(math.degrees((0.45 - 0.1) / 19.0))
    hold(station, 1300.0)
    hold(station, 1500.0)
    one = station.surface_deg
    hold(station, 1700.0)
    hold(station, 1500.0)
    assert abs(station.surface_deg - one) == pytest.approx(math.degrees(0.45 / 19.0), rel=0.01)


def test_without_its_rod_a_surface_stays_and_goes_along_once_it_is_on():
    station = exact("rudder")
    station.rod_on = False
    hold(station, 1800.0)
    assert station.surface_deg == pytest.approx(0.0, abs=0.3)
    station.rod_on = True
    station.settle()
    assert abs(station.surface_deg) > 10.0


def test_a_bare_arm_cannot_be_built_otherwise():
    made = model(surface(arm={"hole": None}))
    station = stations_of(made, 0)[1]
    with pytest.raises(ValueError, match="no linkage"):
        station.rebuild(Build(rod_mm=1.0))


@pytest.mark.parametrize("seed", range(8))
def test_whoever_takes_care_has_free_surfaces_and_gears_that_are_not_worn(seed):
    for station in well_built(MODEL, seed).values():
        low, high = planned_free_deg(station.surface)
        assert station.free_deg[0] <= low < high <= station.free_deg[1]
        assert station.servo.truth == sound(station.servo.truth)
        assert station.build == Build()


def test_servos_as_they_come_may_be_worn():
    truths = [one.servo.truth for one in stations_of(MODEL, 20).values()]
    assert any(truth != sound(truth) for truth in truths)


def test_servos_of_two_turns_are_known():
    """Clockwise and counter-clockwise, so that no sense is taken for granted above."""
    assert {MODEL.servo_of(one).turns for one in MODEL.surfaces} == {"cw", "ccw"}
    assert servo()["turns"] == "ccw"
