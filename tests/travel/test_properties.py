"""What must hold for any servo, in any order, in any unit."""

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from hingeline.errors import TravelError
from hingeline.travel.curve import TravelCurve
from hingeline.travel.fit import fit
from hingeline.travel.reading import shaft_reading
from hingeline.travel.schedule import traverse
from tests.support.servo_truth import SHAPES, ServoTruth

PATIENT = settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.filter_too_much]
)


@st.composite
def readings_of_servos(draw):
    """Readings of a servo of any kind, stops and strong bends among them."""
    servo = ServoTruth(
        rate_deg_per_us=draw(st.sampled_from([-1.0, 1.0])) * draw(st.floats(0.05, 0.2)),
        centre_us=draw(st.floats(1400.0, 1600.0)),
        shape=draw(st.sampled_from(sorted(SHAPES))),
        bend_deg=draw(st.floats(-6.0, 6.0)),
        play_deg=draw(st.floats(0.0, 3.0)),
        noise_deg=draw(st.floats(0.0, 0.3)),
        stop_deg=draw(st.floats(20.0, 100.0)),
    )
    steps = traverse(
        1000, 2000, limits_us=(900, 2100), start_us=1500, points=draw(st.integers(5, 13))
    )
    rng = np.random.default_rng(draw(st.integers(0, 2**32)))
    return servo.read(steps, rng, draw(st.sampled_from([0.1, 0.5, 1.0])))


def fitted(readings):
    try:
        return fit(readings)
    except TravelError:
        assume(False)


@given(readings_of_servos())
@PATIENT
def test_always_monotone_over_all_that_was_measured(readings):
    curve = fitted(readings)
    for approach in (None, "rising", "falling"):
        along = curve.angle_deg(np.linspace(*curve.range_us, 801), approach)
        steps = np.diff(along) * np.sign(curve.rate_deg_per_us)
        assert (steps >= -1e-9).all()


@given(readings_of_servos(), st.floats(0.0, 1.0))
@PATIENT
def test_inverse_of_the_curve_is_where_one_started(readings, part):
    curve = fitted(readings)
    low, high = curve.limits_us
    pulse = low + part * (high - low)
    angle = curve.angle_deg(pulse)
    # A flat place gives no way back to the pulse, but always to the angle.
    back = curve.pulse_us(angle)
    assert curve.angle_deg(back) == pytest.approx(float(angle), abs=1e-6)
    least, most = curve.reach_deg()
    if least < angle < most and abs(curve.shape.slopes(pulse)) > 1e-3:
        assert back == pytest.approx(pulse, abs=1e-5)


@given(readings_of_servos())
@PATIENT
def test_plain_form_round_trip(readings):
    curve = fitted(readings)
    assert TravelCurve.from_dict(json.loads(json.dumps(curve.to_dict(), allow_nan=False))) == curve


@given(readings_of_servos(), st.randoms(use_true_random=False))
@PATIENT
def test_order_does_not_matter(readings, random):
    curve = fitted(readings)
    mixed = list(readings)
    random.shuffle(mixed)
    other = fit(mixed)
    pulses = np.linspace(*curve.range_us, 11)
    assert other.angle_deg(pulses) == pytest.approx(curve.angle_deg(pulses), abs=1e-9)
    assert {s.pulse_us for s in other.suspects} == {s.pulse_us for s in curve.suspects}


@given(readings_of_servos(), st.sampled_from([0.5, 2.0]), st.sampled_from([0.0, 256.0]))
@PATIENT
def test_stretched_and_shifted_pulses_stretch_and_shift_the_curve(readings, factor, shift):
    curve = fitted(readings)
    other = fit(
        [replace(r, pulse_us=factor * r.pulse_us + shift) for r in readings],
        nominal_centre_us=factor * 1500.0 + shift,
    )
    pulses = np.linspace(*curve.limits_us, 11)
    same = other.angle_deg(factor * pulses + shift)
    assert same == pytest.approx(curve.angle_deg(pulses), abs=1e-6)
    assert other.rate_deg_per_us == pytest.approx(curve.rate_deg_per_us / factor, rel=1e-6)


@given(readings_of_servos())
@PATIENT
def test_mirrored_angles_mirror_the_curve(readings):
    curve = fitted(readings)
    other = fit([replace(r, angle_deg=-r.angle_deg, as_typed="") for r in readings])
    pulses = np.linspace(*curve.range_us, 11)
    assert other.angle_deg(pulses) == pytest.approx(-curve.angle_deg(pulses), abs=1e-6)
    assert other.half_gap_deg == pytest.approx(curve.half_gap_deg, abs=1e-6)
    assert other.centre_us == (None if curve.centre_us is None else pytest.approx(curve.centre_us))


@given(
    st.lists(
        st.tuples(
            st.integers(500, 2500), st.sampled_from(["rising", "falling"]), st.floats(-1e3, 1e3)
        ),
        max_size=20,
    )
)
@settings(max_examples=100, deadline=None)
def test_any_readings_give_a_curve_or_a_sentence(rows):
    readings = [shaft_reading(*row) for row in rows]
    try:
        curve = fit(readings)
    except TravelError as refusal:
        assert refusal.mend
        return
    along = curve.angle_deg(np.linspace(*curve.range_us, 101))
    assert (np.diff(along) * np.sign(along[-1] - along[0]) >= -1e-6).all()
    json.dumps(curve.to_dict(), allow_nan=False)
