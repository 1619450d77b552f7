"""A travel curve follows an arm that was put on elsewhere."""

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hingeline.errors import TravelError
from hingeline.travel.curve import TravelCurve
from hingeline.travel.fit import fit
from hingeline.travel.schedule import traverse
from hingeline.travel.seated import seated
from hingeline.travel.shapes import MonotonePoints
from tests.support.servo_truth import ServoTruth

PULSES = np.linspace(1000.0, 2000.0, 21)


def measured(sense=1, resolution_deg=0.5, **truth):
    steps = traverse(1000, 2000, limits_us=(900, 2100), start_us=1500)
    made = {"bend_deg": 0.5, "play_deg": 0.4, "noise_deg": 0.1, **truth}
    servo = ServoTruth(0.09 * sense, **made)
    return fit(servo.read(steps, np.random.default_rng(3), resolution_deg))


CURVES = {
    "ccw": measured(),
    "cw": measured(-1),
    "stopped": measured(stop_deg=36.0),
    "points": measured(resolution_deg=0.1, shape="arc tangent", bend_deg=6.0),
}


@pytest.mark.parametrize("kind", CURVES)
@given(arm_deg=st.floats(-30.0, 30.0), pulse_us=st.floats(1300.0, 1700.0))
def test_every_angle_moves_alike_and_nothing_else_does(kind, arm_deg, pulse_us):
    curve = CURVES[kind]
    moved = seated(curve, arm_deg, pulse_us, 0.5)
    assert float(moved.angle_deg(pulse_us)) == pytest.approx(arm_deg, abs=1e-9)
    by = arm_deg - float(curve.angle_deg(pulse_us))
    for approach in (None, "rising", "falling"):
        before, after = curve.angle_deg(PULSES, approach), moved.angle_deg(PULSES, approach)
        assert after - before == pytest.approx(by, abs=1e-9)
    for same in ("rate_deg_per_us", "half_gap_deg", "limits_us", "range_us", "linearity_deg"):
        assert getattr(moved, same) == getattr(curve, same)
    assert [r.as_typed for r in moved.readings] == [r.as_typed for r in curve.readings]
    for old, new in zip(curve.readings, moved.readings, strict=True):
        assert new.angle_deg - old.angle_deg == pytest.approx(by)
    assert moved.centre_error_deg == pytest.approx(float(moved.angle_deg(1500.0)))
    free = slice(4, 17)  # inside any stop
    u = np.square(moved.angle_u_deg(PULSES[free])) - np.square(curve.angle_u_deg(PULSES[free]))
    assert u == pytest.approx(0.25, abs=1e-9)
    if moved.centre_us is None:
        assert moved.centre_us_u is None
        low, high = moved.reach_deg()
        assert not low <= 0.0 <= high
    else:
        assert float(moved.angle_deg(moved.centre_us)) == pytest.approx(0.0, abs=1e-6)
        assert moved.centre_us_u == pytest.approx(float(moved.pulse_u_us(0.0)))


def test_what_is_kept_of_it_is_read_back_the_same():
    for curve in CURVES.values():
        moved = seated(curve, 4.0, 1500.0, 0.5)
        assert TravelCurve.from_dict(json.loads(json.dumps(moved.to_dict()))) == moved


def test_a_curve_through_points_is_among_those_tried():
    assert isinstance(CURVES["points"].shape, MonotonePoints)
    assert CURVES["stopped"].stops != (None, None)


def test_put_back_it_is_the_same_curve():
    curve = CURVES["ccw"]
    there = float(curve.angle_deg(1500.0))
    back = seated(seated(curve, there + 7.0, 1500.0, 0.0), there, 1500.0, 0.0)
    assert back.centre_us == pytest.approx(curve.centre_us)
    assert back.angle_deg(PULSES) == pytest.approx(curve.angle_deg(PULSES))
    assert back.u_common_deg == curve.u_common_deg


def test_a_tooth_moves_the_centre_by_its_pulses():
    moved = seated(CURVES["ccw"], float(CURVES["ccw"].angle_deg(1500.0)) + 14.4, 1500.0, 0.0)
    assert moved.centre_us - CURVES["ccw"].centre_us == pytest.approx(-14.4 / 0.09, rel=0.05)


@pytest.mark.parametrize(("arm", "pulse", "u"), [(1.0, 2500.0, 0.5), (math.nan, 1500.0, 0.5)])
def test_what_cannot_be_is_refused(arm, pulse, u):
    with pytest.raises(TravelError):
        seated(CURVES["ccw"], arm, pulse, u)
