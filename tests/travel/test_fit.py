"""The fit on readings whose right answer is plain."""

import math

import numpy as np
import pytest

from hingeline.errors import TravelError
from hingeline.travel.fit import fit
from hingeline.travel.reading import Reading, shaft_reading
from hingeline.travel.schedule import traverse
from tests.support.servo_truth import ServoTruth

PULSES = (1000, 1200, 1400, 1500, 1600, 1800, 2000)
STRAIGHT = (-45.0, -27.0, -9.0, 0.0, 9.0, 27.0, 45.0)


def one_way(pulses, angles, approach="rising", resolution_deg=0.5):
    return [
        shaft_reading(pulse, approach, angle, resolution_deg=resolution_deg, as_typed=f"{angle:g}")
        for pulse, angle in zip(pulses, angles, strict=True)
    ]


def both_ways(pulses, angles, gap_deg, resolution_deg=0.1):
    """Readings that lag by half the gap, whichever way the servo turns."""
    lag = gap_deg / 2.0 * math.copysign(1.0, angles[-1] - angles[0])
    return one_way(pulses, [a - lag for a in angles], "rising", resolution_deg) + one_way(
        pulses, [a + lag for a in angles], "falling", resolution_deg
    )


class TestCentreAndPlay:
    def test_play_does_not_move_the_centre(self):
        # At 1500 us -0.6 deg from below and +0.6 from above: centre 0, gap 1.2. A run in one
        # direction would put the centre off by 0.6.
        angles = [0.1 * (pulse - 1500) for pulse in PULSES]
        curve = fit(both_ways(PULSES, angles, 1.2))
        assert curve.angle_deg(1500) == pytest.approx(0.0, abs=1e-9)
        assert curve.centre_us == pytest.approx(1500.0, abs=1e-6)
        assert curve.hysteresis_deg == pytest.approx(1.2, abs=1e-9)
        assert curve.half_gap_deg == pytest.approx(0.6, abs=1e-9)
        assert curve.largest_gap_deg == pytest.approx(1.2, abs=1e-9)
        assert curve.dead_band_us == pytest.approx(12.0, abs=1e-6)
        assert curve.angle_deg(1500, "rising") == pytest.approx(-0.6, abs=1e-9)
        assert curve.angle_deg(1500, "falling") == pytest.approx(0.6, abs=1e-9)
        one = fit(one_way(PULSES, [a - 0.6 for a in angles], resolution_deg=0.1))
        assert one.centre_error_deg == pytest.approx(-0.6, abs=1e-9)
        assert any("rising only" in note for note in one.notes)

    def test_lag_is_positive_on_a_servo_that_turns_clockwise(self):
        angles = [-0.1 * (pulse - 1500) for pulse in PULSES]
        curve = fit(both_ways(PULSES, angles, 1.2))
        assert curve.rate_deg_per_us == pytest.approx(-0.1, abs=1e-12)
        assert curve.hysteresis_deg == pytest.approx(1.2, abs=1e-9)
        assert curve.angle_deg(1500, "rising") == pytest.approx(0.6, abs=1e-9)
        # The pulse for an angle depends on the side: from below the arm lags, so it needs more.
        assert curve.pulse_us(0.0, "rising") == pytest.approx(1506.0, abs=1e-6)
        assert curve.pulse_us(0.0, "falling") == pytest.approx(1494.0, abs=1e-6)

    @pytest.mark.parametrize(("rate", "off_deg"), [(0.09, 1.8), (0.10, 2.0)])
    def test_arm_squared_at_1500_and_flown_at_1520(self, rate, off_deg):
        angles = [rate * (pulse - 1500) for pulse in PULSES]
        curve = fit(both_ways(PULSES, angles, 0.0), nominal_centre_us=1520)
        assert curve.centre_error_deg == pytest.approx(off_deg, abs=1e-9)
        assert curve.centre_us == pytest.approx(1500.0, abs=1e-6)
        # Ten degrees of centre error would take 100 us or more: not this.
        assert abs(curve.pulse_us(10.0) - 1500) >= 100 - 1e-6

    @pytest.mark.parametrize("travel_deg", [90.0, 180.0, 270.0])
    def test_travel_is_measured_never_assumed(self, travel_deg):
        angles = [travel_deg / 1000 * (pulse - 1500) for pulse in PULSES]
        curve = fit(both_ways(PULSES, angles, 0.5))
        low, high = curve.reach_deg()
        assert high - low == pytest.approx(travel_deg, abs=1e-6)
        assert curve.rate_deg_per_us == pytest.approx(travel_deg / 1000, abs=1e-9)

    def test_exchanged_directions_are_noted(self):
        readings = both_ways(PULSES, STRAIGHT, -1.2)
        assert any("exchanged" in note for note in fit(readings).notes)

    def test_centre_out_of_the_measured_range(self):
        angles = [0.1 * (pulse - 1500) for pulse in (1600, 1700, 1800, 1900)]
        curve = fit(both_ways((1600, 1700, 1800, 1900), angles, 0.5))
        assert curve.centre_us is None
        assert curve.centre_error_deg is None
        assert curve.rate_deg_per_us == pytest.approx(0.1, abs=1e-9)


class TestShape:
    def test_a_straight_servo_gets_a_line(self):
        curve = fit(one_way(PULSES, STRAIGHT))
        assert (curve.kind, curve.degree) == ("polynomial", 1)
        assert curve.rate_deg_per_us == pytest.approx(0.09, abs=1e-12)
        assert curve.residual_sd_deg == pytest.approx(0.5 / math.sqrt(12.0))
        assert curve.scale == "gauge"

    @pytest.mark.parametrize("degree", [2, 3])
    def test_a_bent_servo_gets_as_many_powers_as_it_needs(self, degree):
        pulses = range(1000, 2001, 100)
        angles = [0.09 * (p - 1500) + 2.0 * ((p - 1500) / 500) ** degree for p in pulses]
        curve = fit(both_ways(pulses, angles, 1.0))
        assert curve.degree == degree
        assert curve.angle_deg(list(pulses)) == pytest.approx(angles, abs=1e-9)

    def test_saturating_servo(self):
        # Least squares with a cubic peaks at 48.2 deg and 1993 us and then falls back, so
        # that 46 deg would have two answers; the servo reaches neither.
        pulses, angles = range(900, 2101, 200), [-45, -44, -30, 0, 30, 44, 45]
        curve = fit(one_way(pulses, angles))
        assert curve.kind == "points"
        assert curve.suspects == ()
        assert curve.pulse_us(37.0) == pytest.approx(1774.0, abs=1.0)
        with pytest.raises(TravelError, match=r"46\.0 deg is beyond this servo.*met a stop"):
            curve.pulse_us(46.0)
        along = curve.angle_deg(np.linspace(900, 2100, 2401))
        assert (np.diff(along) >= 0).all()
        assert along.max() <= 45.0
        assert curve.limits_us == (1100.0, 1900.0)

    @pytest.mark.parametrize("turn", [1.0, -1.0])
    def test_hard_stop_ends_the_range_of_use(self, turn):
        servo = ServoTruth(turn * 0.1, play_deg=1.0, stop_deg=38.0)
        steps = traverse(1000, 2000, limits_us=(900, 2100), start_us=1500, points=11)
        curve = fit(servo.read(steps, np.random.default_rng(3), 0.1))
        # The arm meets 38 deg at 1120 and 1880 us; the pulses beyond stand on the stop.
        assert curve.limits_us == (1200.0, 1800.0)
        low, high = (stop.angle_deg for stop in curve.stops)
        assert (low, high) == pytest.approx((-38.0 * turn, 38.0 * turn), abs=1e-9)
        assert curve.limits_us_u == pytest.approx((100 / math.sqrt(12),) * 2)
        pulses = np.linspace(1000, 2000, 501)
        # Within half the play of the corner no mean of both directions is meant.
        assert curve.angle_deg(pulses) == pytest.approx(servo.means_deg(pulses), abs=0.5)
        assert curve.angle_deg([1000, 2000], "falling") == pytest.approx([low, high])
        assert sum("met a stop" in note for note in curve.notes) == 2
        with pytest.raises(TravelError, match="met a stop"):
            curve.pulse_us(35.0)

    def test_stop_between_two_pulses(self):
        servo = ServoTruth(0.1, play_deg=1.0, stop_deg=44.0)
        steps = traverse(1000, 2000, limits_us=(900, 2100), start_us=1500, points=11)
        curve = fit(servo.read(steps, np.random.default_rng(3), 0.1))
        assert curve.limits_us == (1100.0, 1900.0)
        assert curve.stops[0].angle_deg == pytest.approx(-44.0)

    def test_a_curve_that_folds_back_is_refused(self):
        angles = [-45.0, -27.0, -9.0, 0.0, 9.0, 27.0, 20.0]
        with pytest.raises(TravelError, match=r"folds back.*at 1800 us than at 2000 us"):
            fit(both_ways(PULSES, angles, 0.2))

    def test_readings_from_each_side_at_their_own_pulses(self):
        up, down = (1000, 1250, 1500, 1750, 2000), (1125, 1375, 1625, 1875)
        readings = one_way(up, [0.1 * (p - 1500) - 0.5 for p in up])
        readings += one_way(down, [0.1 * (p - 1500) + 0.5 for p in down], "falling")
        curve = fit(readings)
        assert curve.hysteresis_deg == pytest.approx(1.0, abs=1e-9)
        assert curve.linearity_deg is None
        assert curve.largest_gap_deg is None

    def test_repeats_show_repeatability(self):
        base = both_ways(PULSES, STRAIGHT, 1.0)
        angles = np.array([r.angle_deg for r in base])
        again = [
            shaft_reading(r.pulse_us, r.approach, a, resolution_deg=0.1)
            for r, a in zip(base * 2, np.concatenate([angles - 0.3, angles + 0.3]), strict=True)
        ]
        curve = fit(again)
        assert curve.repeatability_deg == pytest.approx(0.3 * math.sqrt(2.0), rel=1e-9)
        assert curve.repeatability_deg_u == pytest.approx(0.3 * math.sqrt(2.0 / 28.0), rel=1e-9)
        assert fit(base).repeatability_deg is None


class TestUncertainty:
    def test_rounding_that_hides_is_not_averaged_away(self):
        # Every reading on its mark: the gauge may be off by the same part of a mark at all.
        curve = fit(both_ways(PULSES, STRAIGHT, 1.0, resolution_deg=0.5))
        assert curve.u_common_deg == pytest.approx(0.5 / math.sqrt(12.0), rel=1e-6)
        assert curve.centre_error_deg_u >= curve.u_common_deg

    def test_finer_gauge_less_uncertainty(self):
        fine, coarse = (fit(both_ways(PULSES, STRAIGHT, 1.0, mark)) for mark in (0.1, 1.0))
        assert fine.centre_us_u < coarse.centre_us_u / 5

    def test_better_readings_count_more(self):
        readings = one_way(PULSES, STRAIGHT, resolution_deg=0.1)
        worse = one_way(PULSES, [angle + 1.0 for angle in STRAIGHT], resolution_deg=1.0)
        # Weights 100 to 1.
        assert fit(readings + worse).angle_deg(1500) == pytest.approx(1.0 / 101.0, abs=1e-6)

    def test_interval_of_few_readings_is_wider_than_the_normal_one(self):
        angles = [
            a + e for a, e in zip(STRAIGHT, (0.6, -0.6, 0.4, 0.2, -0.7, 0.5, -0.3), strict=True)
        ]
        curve = fit(one_way(PULSES, angles, resolution_deg=0.1))
        assert curve.scale == "scatter"
        # Student's t at 95 % with 5 degrees of freedom is 2.571 (any printed table).
        assert curve.dof == 5
        assert curve.coverage_factor() == pytest.approx(2.571, abs=5e-4)
        # The normal distribution's 1.960 where the scatter is the gauge's own.
        assert fit(one_way(PULSES, STRAIGHT)).coverage_factor() == pytest.approx(1.960, abs=5e-4)


class TestRefusals:
    def test_servo_that_keeps_turning(self):
        readings = one_way(PULSES, STRAIGHT)
        readings[4] = Reading(1600, "rising", 170.0, 0.1, settled=False)
        with pytest.raises(TravelError, match=r"1600 us the arm kept turning.*another servo"):
            fit(readings)

    def test_servo_that_does_not_follow(self):
        with pytest.raises(TravelError, match=r"moved 0 deg.*power"):
            fit(one_way(PULSES, [3.0] * 7))

    @pytest.mark.parametrize("pulses", [(), (1500,), (1000, 2000)])
    def test_too_few_pulses(self, pulses):
        with pytest.raises(TravelError, match=f"at {len(pulses)} pulses; 3 are the least"):
            fit(one_way(pulses, [0.1 * (p - 1500) for p in pulses]))

    def test_all_on_the_stops(self):
        with pytest.raises(TravelError, match=r"Only [012] of 6 pulses moved the arm freely"):
            fit(one_way((1000, 1100, 1400, 1600, 1900, 2000), [-30, -30, -30, 30, 30, 30]))

    @pytest.mark.parametrize("centre", [0.0, -1500.0, math.nan, math.inf])
    def test_nominal_centre(self, centre):
        with pytest.raises(TravelError, match="is not a pulse"):
            fit(one_way(PULSES, STRAIGHT), nominal_centre_us=centre)

    def test_points_without_a_pulse_read_from_both_sides(self):
        up, down = range(1000, 2001, 200), range(1100, 2000, 200)
        bent = {p: 40.0 * math.tanh((p - 1500) / 60.0) for p in (*up, *down)}
        readings = one_way(up, [bent[p] for p in up])
        readings += one_way(down, [bent[p] for p in down], "falling")
        with pytest.raises(TravelError, match="shape and play cannot be told apart"):
            fit(readings)


def test_order_of_readings_has_no_effect():
    servo = ServoTruth(-0.09, 1512.0, "sine", 1.5, 1.2, 0.1)
    steps = traverse(1000, 2000, limits_us=(900, 2100), start_us=1500)
    rng = np.random.default_rng(8)
    readings = servo.read(steps, rng)
    first = fit(readings)
    shuffled = [readings[i] for i in rng.permutation(len(readings))]
    second = fit(shuffled)
    assert second.shape == first.shape
    assert second.covariance == first.covariance
