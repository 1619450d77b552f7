"""The fit judged by servos whose truth is known and is not of the fit's own family.

Two hundred invented servos, either way round: gain up to 10 % and centre up to 40 us off,
bent by 1 to 2 % of their travel in six ways, 0 to 2 deg of play, the arm settling to 0.1 deg
(standard deviation), the gauge read to half a degree, the default schedule.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from hingeline.travel.choosing import HIGHEST
from hingeline.travel.curve import TravelCurve
from hingeline.travel.fit import fit
from hingeline.travel.schedule import POINTS, traverse
from tests.support.servo_truth import SHAPES, ServoTruth, random_servo

SERVOS = 200
AT_RANDOM = 20


@pytest.fixture(scope="module")
def study() -> list[tuple[ServoTruth, TravelCurve, np.ndarray]]:
    """Servo, its curve, and random pulses, for every seed."""
    steps = traverse(1000, 2000, limits_us=(900, 2100), start_us=1500)
    found = []
    for seed in range(SERVOS):
        rng = np.random.default_rng([20, seed])
        servo = random_servo(rng)
        curve = fit(servo.read(steps, rng))
        found.append((servo, curve, rng.uniform(*curve.limits_us, AT_RANDOM)))
    return found


def share(hits) -> float:
    return float(np.mean(list(hits)))


def test_a_person_can_endure_the_default_schedule():
    assert POINTS <= 13


def test_servos_are_of_every_kind(study):
    assert {servo.shape for servo, _, _ in study} == set(SHAPES)
    assert {np.sign(servo.rate_deg_per_us) for servo, _, _ in study} == {-1.0, 1.0}


def test_honest_readings_are_not_suspected(study):
    assert sum(len(curve.suspects) for _, curve, _ in study) == 0
    assert all(curve.limits_us == (1000.0, 2000.0) for _, curve, _ in study)


def test_half_a_degree_at_every_pulse(study):
    pulses = np.linspace(1000, 2000, 401)
    worst = np.array(
        [
            np.abs(curve.angle_deg(pulses) - truth.means_deg(pulses)).max()
            for truth, curve, _ in study
        ]
    )
    # Rounding alone may be a quarter of a degree off.
    assert worst.max() <= 0.5
    assert worst.mean() <= 0.25


def test_95_percent_intervals_of_the_curve(study):
    hits = []
    for servo, curve, pulses in study:
        low, high = curve.interval_deg(pulses)
        truth = servo.means_deg(pulses)
        hits.extend((low <= truth) & (truth <= high))
    assert 0.90 <= share(hits) <= 0.99


def test_95_percent_intervals_of_the_inverse(study):
    hits = []
    for servo, curve, pulses in study:
        least, most = curve.reach_deg()
        for pulse in pulses[:5]:
            angle = servo.mean_deg(pulse)
            if least <= angle <= most:
                low, high = curve.interval_us(angle)
                hits.append(low <= pulse <= high)
    assert len(hits) > 900
    assert 0.90 <= share(hits) <= 0.99


def test_95_percent_intervals_of_the_figures(study):
    centre, rate, play = [], [], []
    for servo, curve, _ in study:
        factor = curve.coverage_factor(0.95)
        truth = brentq(servo.mean_deg, 1300.0, 1700.0)
        centre.append(abs(curve.centre_us - truth) <= factor * curve.centre_us_u)
        off = abs(curve.rate_deg_per_us - servo.slope_deg_per_us(1500.0))
        rate.append(off <= factor * curve.rate_deg_per_us_u)
        play.append(abs(curve.hysteresis_deg - servo.play_deg) <= factor * curve.hysteresis_deg_u)
    assert 0.90 <= share(centre) <= 0.99
    assert 0.90 <= share(rate) <= 0.99
    assert 0.90 <= share(play) <= 0.99


def test_intervals_are_not_wide_for_nothing(study):
    # Nearly everything would be covered by intervals of a degree.
    widths = [curve.coverage_factor() * curve.angle_u_deg(1500.0) for _, curve, _ in study]
    assert np.median(widths) < 0.35
    assert np.median([curve.coverage_factor() * curve.centre_us_u for _, curve, _ in study]) < 4.0


def test_half_of_them_are_outside_50_percent_intervals(study):
    hits = []
    for servo, curve, pulses in study:
        low, high = curve.interval_deg(pulses, confidence=0.5)
        truth = servo.means_deg(pulses)
        hits.extend((low <= truth) & (truth <= high))
    assert 0.40 <= share(hits) <= 0.70


@pytest.fixture(scope="module")
def stopped() -> list[tuple[ServoTruth, TravelCurve]]:
    """Such servos with a stop at 30 to 42 deg, which most meet at both ends."""
    steps = traverse(1000, 2000, limits_us=(900, 2100), start_us=1500)
    found = []
    for seed in range(100):
        rng = np.random.default_rng([5, seed])
        servo = random_servo(rng)
        servo.stop_deg = rng.uniform(30.0, 42.0)
        found.append((servo, fit(servo.read(steps, rng))))
    return found


def test_limits_keep_off_the_stops(stopped):
    ends = [
        (abs(servo.mean_deg(limit)), servo.stop_deg)
        for servo, curve in stopped
        for limit, stop in zip(curve.limits_us, curve.stops, strict=True)
        if stop is not None
    ]
    assert len(ends) >= 170
    assert share(angle < stop for angle, stop in ends) >= 0.98


def test_error_and_coverage_between_stops(stopped):
    hits, worst = [], []
    for servo, curve in stopped:
        pulses = np.linspace(*curve.limits_us, 201)
        truth = servo.means_deg(pulses)
        low, high = curve.interval_deg(pulses)
        hits.extend((low <= truth) & (truth <= high))
        worst.append(np.abs(curve.angle_deg(pulses) - truth).max())
    assert 0.90 <= share(hits) <= 0.99
    assert np.median(worst) <= 0.3


def test_the_truth_has_play_as_play_is():
    # Driven up, the arm lags by half the gap; turned round, it first stands still.
    servo = ServoTruth(0.1, play_deg=2.0)
    steps = traverse(1400, 1600, limits_us=(1300, 1700), start_us=1500, points=5)
    readings = servo.read(steps, np.random.default_rng(0), 0.001)
    at = {(r.pulse_us, r.approach): r.angle_deg for r in readings}
    assert at[1500, "rising"] == pytest.approx(-1.0, abs=1e-3)
    assert at[1500, "falling"] == pytest.approx(1.0, abs=1e-3)
    curve = fit(readings)
    assert curve.hysteresis_deg == pytest.approx(2.0, abs=1e-3)
    assert curve.dead_band_us == pytest.approx(20.0, abs=0.1)


@pytest.mark.parametrize("shape", sorted(SHAPES))
def test_no_shape_of_the_truth_is_a_polynomial_of_the_fit(shape):
    z = np.linspace(-1, 1, 401)
    bend = np.array([SHAPES[shape](float(place)) for place in z])
    left = bend - np.polynomial.Polynomial.fit(z, bend, HIGHEST)(z)
    assert 0.5 < np.ptp(bend) < 4.0
    assert np.abs(left).max() > 1e-6
