import json
import math

import numpy as np
import pytest

from hingeline.errors import TravelError
from hingeline.travel.curve import TravelCurve
from hingeline.travel.fit import fit
from hingeline.travel.reading import shaft_reading
from hingeline.travel.schedule import traverse
from tests.support.servo_truth import ServoTruth

STEPS = traverse(1000, 2000, limits_us=(900, 2100), start_us=1500)


def curve_of(seed=1, steps=STEPS, **truth):
    settings = {"shape": "sine", "bend_deg": 1.0, "play_deg": 1.0, "noise_deg": 0.1} | truth
    servo = ServoTruth(**{"rate_deg_per_us": 0.09, "centre_us": 1510.0} | settings)
    return fit(servo.read(steps, np.random.default_rng(seed)))


def one_way_curve():
    return fit([shaft_reading(p, "rising", 0.09 * (p - 1500)) for p in range(1000, 2001, 100)])


SATURATING = (-45.0, -44.0, -30.0, 0.0, 30.0, 44.0, 45.0)
KINDS = {
    "polynomial": curve_of(),
    "clockwise": curve_of(rate_deg_per_us=-0.09),
    "stops": curve_of(stop_deg=36.0),
    "points": fit(
        [
            shaft_reading(pulse, approach, angle + lag)
            for pulse, angle in zip(range(900, 2101, 200), SATURATING, strict=True)
            for approach, lag in (("rising", -0.5), ("falling", 0.5))
        ]
    ),
    "one way": one_way_curve(),
}


@pytest.fixture(params=KINDS.values(), ids=KINDS.keys())
def curve(request):
    return request.param


def test_the_kinds_are_what_they_are_meant_to_be():
    assert {name: curve.kind for name, curve in KINDS.items()} == {
        "polynomial": "polynomial",
        "clockwise": "polynomial",
        "stops": "polynomial",
        "points": "points",
        "one way": "polynomial",
    }
    assert all(KINDS["stops"].stops)


def test_plain_form_survives_json_and_back(curve):
    text = json.dumps(curve.to_dict(), allow_nan=False)
    back = TravelCurve.from_dict(json.loads(text))
    assert back == curve
    pulses = np.linspace(*curve.limits_us, 7)
    assert back.angle_deg(pulses).tolist() == curve.angle_deg(pulses).tolist()
    assert back.angle_u_deg(pulses).tolist() == curve.angle_u_deg(pulses).tolist()


def test_damaged_plain_form(curve):
    data = curve.to_dict()
    with pytest.raises(TravelError, match="format 99 cannot be read"):
        TravelCurve.from_dict(data | {"format": 99})
    with pytest.raises(TravelError, match="format None"):
        TravelCurve.from_dict({})
    for name in ("limits_us", "shape", "readings"):
        with pytest.raises(TravelError, match=f"damaged: '{name}'"):
            TravelCurve.from_dict({k: v for k, v in data.items() if k != name})
    with pytest.raises(TravelError, match='kind "spline" is not known'):
        TravelCurve.from_dict(data | {"shape": {"kind": "spline"}})
    with pytest.raises(TravelError, match="damaged"):
        TravelCurve.from_dict(data | {"readings": [{"pulse_us": 1500.0}]})


def test_a_curve_kept_before_a_figure_was_added_is_still_read(curve):
    data = curve.to_dict()
    del data["terminal_linearity_deg_u"], data["together"], data["together_figures"]
    old = TravelCurve.from_dict(data)
    assert old.terminal_linearity_deg_u is None
    assert (old.together, old.together_figures) == ((), ())
    assert old.terminal_linearity_deg == curve.terminal_linearity_deg


def test_inverse_undoes_the_curve(curve):
    low, high = curve.limits_us
    pulses = np.linspace(low, high, 41)
    approaches = (None, "rising", "falling") if curve.approach is None else (None, curve.approach)
    for approach in approaches:
        angles = curve.angle_deg(pulses, approach)
        reached = curve.reach_deg(approach)
        assert reached == pytest.approx((angles.min(), angles.max()))
        free = (angles > reached[0]) & (angles < reached[1])  # not held by a stop
        assert free.sum() > 30
        back = curve.pulse_us(angles[free], approach)
        assert back == pytest.approx(pulses[free], abs=1e-6)


def test_scalars_and_arrays_agree(curve):
    pulses = np.linspace(*curve.limits_us, 5)
    assert curve.angle_deg(pulses).shape == (5,)
    assert [float(curve.angle_deg(p)) for p in pulses] == curve.angle_deg(pulses).tolist()
    assert [float(curve.angle_u_deg(p)) for p in pulses] == pytest.approx(
        curve.angle_u_deg(pulses)
    )
    angles = curve.angle_deg(pulses)
    assert [float(curve.pulse_us(a)) for a in angles] == curve.pulse_us(angles).tolist()


def test_never_beyond_what_was_measured(curve):
    low, high = curve.range_us
    for pulse in (low - 1.0, high + 1.0, math.nan, math.inf, -1500.0):
        with pytest.raises(
            TravelError, match=f"outside the measured range, {low:g} to {high:g} us"
        ):
            curve.angle_deg(pulse)
        with pytest.raises(TravelError, match="outside the measured range"):
            curve.angle_u_deg([1500.0, pulse])
    least, most = curve.reach_deg()
    for angle in (least - 0.5, most + 0.5, math.nan, math.inf):
        with pytest.raises(TravelError, match=f"reaches {least:.1f} to {most:.1f} deg"):
            curve.pulse_us(angle)


def test_mend_depends_on_why_it_ends():
    with pytest.raises(TravelError, match=r"not measured farther.*wider range"):
        KINDS["polynomial"].pulse_us(60.0)
    with pytest.raises(TravelError, match=r"met a stop.*holes of arm and horn\.$"):
        KINDS["stops"].pulse_us(60.0)


def test_approaches(curve):
    with pytest.raises(TravelError, match='"sideways" is not known'):
        curve.angle_deg(1500, "sideways")
    if curve.approach == "rising":
        assert curve.angle_deg(1500, "rising") == curve.angle_deg(1500)
        with pytest.raises(TravelError, match=r"read rising only.*Take the falling readings"):
            curve.pulse_us(0.0, "falling")
    else:
        gap = curve.angle_deg(1500, "falling") - curve.angle_deg(1500, "rising")
        assert gap == pytest.approx(math.copysign(curve.hysteresis_deg, curve.rate_deg_per_us))


def test_intervals_hold_the_value_and_grow_with_confidence(curve):
    low, high = curve.interval_deg(1500.0)
    assert low < curve.angle_deg(1500.0) < high
    wider_low, wider_high = curve.interval_deg(1500.0, confidence=0.99)
    assert wider_low < low
    assert wider_high > high
    early, late = curve.interval_us(5.0)
    assert early < curve.pulse_us(5.0) < late
    slope = (curve.angle_deg(1510) - curve.angle_deg(1490)) / 20
    near = curve.pulse_u_us(curve.angle_deg(1500.0)) * abs(slope)
    assert near == pytest.approx(curve.angle_u_deg(1500.0), rel=0.02)
    for wrong in (0.0, 1.0, 95.0, math.nan):
        with pytest.raises(TravelError, match="does not lie between 0 and 1"):
            curve.coverage_factor(wrong)


def test_figures_agree_with_the_curve(curve):
    assert curve.angle_deg(curve.centre_us) == pytest.approx(0.0, abs=1e-9)
    assert curve.angle_deg(1500.0) == pytest.approx(curve.centre_error_deg)
    assert curve.angle_u_deg(1500.0) == pytest.approx(curve.centre_error_deg_u)
    assert curve.pulse_u_us(0.0) == pytest.approx(curve.centre_us_u)
    step = 0.01
    slope = (curve.angle_deg(1500 + step) - curve.angle_deg(1500 - step)) / (2 * step)
    assert slope == pytest.approx(curve.rate_deg_per_us, rel=1e-4)
    for name in ("rate_deg_per_us_u", "centre_us_u", "residual_sd_deg"):
        assert getattr(curve, name) > 0


def test_stop_is_flat_and_its_beginning_is_uncertain():
    curve = KINDS["stops"]
    low_stop, high_stop = curve.stops
    assert curve.angle_deg(2000) == curve.angle_deg(high_stop.pulse_us) == high_stop.angle_deg
    assert curve.angle_deg(1000) == low_stop.angle_deg
    assert curve.angle_u_deg(2000) == high_stop.u_deg
    between = (curve.limits_us[1] + high_stop.pulse_us) / 2
    assert curve.angle_u_deg(between) > 2 * curve.angle_u_deg(curve.limits_us[1])


def test_uncertainty_between_points_is_more_than_at_them():
    curve = KINDS["points"]
    at = curve.angle_u_deg([1700.0, 1900.0])
    assert curve.angle_u_deg(1800.0) > 2 * at.max()
