"""Least squares, linearity and shapes, each against another way to the same number."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from hingeline.errors import TravelError
from hingeline.travel import linearity
from hingeline.travel.leastsquares import aicc, least_squares
from hingeline.travel.shapes import MonotonePoints, Polynomial, invert, pool_to_monotone

angles = st.floats(-90.0, 90.0)


class TestLeastSquares:
    def test_leverage_gives_the_fit_without_each_point(self):
        rng = np.random.default_rng(4)
        x, weight = rng.normal(size=(9, 3)), rng.uniform(0.5, 2.0, 9)
        y = rng.normal(size=9)
        whole = least_squares(x, y, weight)
        assert whole.leverage.sum() == pytest.approx(3.0)
        for out in range(9):
            keep = np.arange(9) != out
            rest = least_squares(x[keep], y[keep], weight[keep])
            away = y[out] - x[out] @ rest.coefficients
            assert whole.residuals[out] / (1 - whole.leverage[out]) == pytest.approx(away)

    def test_covariance_is_what_scatter_makes_of_the_coefficients(self):
        rng = np.random.default_rng(5)
        x = np.stack([np.ones(12), np.linspace(-1, 1, 12)], axis=1)
        u = rng.uniform(0.5, 2.0, 12)
        found = [least_squares(x, rng.normal(scale=u), 1 / u**2).coefficients for _ in range(1000)]
        expected = least_squares(x, np.zeros(12), 1 / u**2).cofactors
        assert np.cov(np.array(found).T) == pytest.approx(expected, abs=0.02)

    def test_too_few_readings(self):
        with pytest.raises(TravelError, match="2 readings cannot settle 3 unknowns"):
            least_squares(np.ones((2, 3)), [1.0, 2.0])

    @pytest.mark.parametrize("column", [[1.0, 1.0, 1.0, 1.0], [0.0] * 4, [3.0, 4.0, 5.0, 6.0]])
    def test_columns_that_cannot_be_told_apart(self, column):
        design = np.stack([np.ones(4), np.arange(4.0), column], axis=1)
        with pytest.raises(TravelError, match="do not tell the 3 unknowns apart"):
            least_squares(design, np.arange(4.0))

    def test_no_spare_readings_no_scatter(self):
        assert np.isnan(least_squares(np.eye(2), [1.0, 2.0]).scale)


class TestAicc:
    def test_is_the_textbook_formula_above_the_floor(self):
        # n ln(rss/n) + n + 2k + 2k(k+1)/(n-k-1), the variance counted in k.
        by_hand = 10 * np.log(5.0) + 10 + 2 * 4 + 2 * 4 * 5 / 5
        assert aicc(50.0, 10, 3, 0.1) == pytest.approx(by_hand)

    def test_a_known_floor_is_no_parameter_and_stops_the_chase_for_small_residuals(self):
        exact, near = aicc([0.0, 1e-6], 10, 2, 0.5)
        assert near - exact == pytest.approx(0.0, abs=1e-4)
        assert aicc(0.0, 10, 3, 0.5) > exact

    def test_too_many_parameters(self):
        assert aicc(50.0, 5, 3, 0.1) == np.inf


class TestLinearity:
    @given(st.lists(angles, min_size=3, max_size=9))
    @settings(max_examples=60, deadline=None)
    def test_independent_agrees_with_linear_programming(self, y):
        x = np.arange(len(y)) * 100.0 + 1000.0
        best = linearity.independent(x, y)
        # Minimise e with -e <= y - a - b x <= e.
        z = (x - x.mean()) / np.ptp(x)
        ones = np.ones(len(y))
        above = np.stack([-ones, -z, -ones], axis=1)
        below = np.stack([ones, z, -ones], axis=1)
        solved = linprog(
            [0, 0, 1],
            np.vstack([above, below]),
            np.concatenate([-np.array(y), y]),
            bounds=[(None, None), (None, None), (0, None)],
        )
        assert best.largest == pytest.approx(solved.fun, abs=1e-6)
        off = np.abs(np.array(y) - best.intercept - best.slope * x)
        assert off.max() == pytest.approx(best.largest, abs=1e-7)

    @given(st.lists(st.floats(-5, 5), min_size=4, max_size=9), st.integers(0, 8))
    @settings(max_examples=60, deadline=None)
    def test_rows_are_derivatives(self, y, place):
        x, y = np.arange(len(y)) * 1.0, np.round(y, 3) + np.arange(len(y)) ** 2 * 0.37
        place %= len(y)
        step = np.zeros(len(y))
        step[place] = 1e-6
        for kind in (linearity.independent, linearity.terminal_based):
            here = kind(x, y)
            change = (kind(x, y + step).largest - kind(x, y - step).largest) / 2e-6
            sides = [
                (kind(x, y + sign * step).largest - here.largest) / (sign * 1e-6)
                for sign in (1, -1)
            ]
            if abs(sides[0] - sides[1]) < 1e-3:  # at a tie the derivative jumps
                assert here.row[place] == pytest.approx(change, abs=1e-3)

    def test_points_on_a_line(self):
        best = linearity.independent([0.0, 1.0, 3.0], [1.0, 3.0, 7.0])
        assert (best.largest, best.slope) == (pytest.approx(0.0, abs=1e-12), pytest.approx(2.0))

    @pytest.mark.parametrize("count", [3, 4, 13])
    @pytest.mark.parametrize("slope", [0.0, 2.0, 0.09, -1.0 / 3.0])
    def test_of_points_on_a_line_the_deviation_is_as_uncertain_as_a_deviation_is(
        self, count, slope
    ):
        x = np.linspace(1000.0, 2000.0, count)
        for kind, least, most in (
            (linearity.independent, 1.5, 2.0),
            (linearity.terminal_based, 1.5, 2.0),
        ):
            row = kind(x, 7.0 + slope * x).row
            scale = 0.5 if kind is linearity.independent else 1.0
            # One point against a place between two others: 1 and (1 - a)^2 + a^2, 0 < a < 1.
            assert least * scale**2 <= row @ row <= most * scale**2
            assert row.sum() == pytest.approx(0.0, abs=1e-12)
            assert row @ x == pytest.approx(0.0, abs=1e-9)

    def test_the_order_of_the_points_does_not_matter(self):
        x, y = np.array([0.0, 1.0, 2.0, 3.0, 5.0]), np.array([0.0, 1.4, 2.0, 3.1, 4.2])
        mixed = [3, 0, 4, 2, 1]
        straight, other = linearity.independent(x, y), linearity.independent(x[mixed], y[mixed])
        assert other.largest == pytest.approx(straight.largest)
        assert other.row == pytest.approx(straight.row[mixed])


class TestPolynomial:
    @given(
        st.lists(st.floats(-5, 5).map(lambda c: round(c, 2)), min_size=2, max_size=6),
        st.floats(0.3, 3.0),
    )
    @settings(deadline=None)
    def test_monotone_is_told_by_roots_as_by_looking(self, higher, slope):
        shape = Polynomial((1000.0, 2000.0), (0.0, 5.0 * slope, *higher[1:]))
        seen = shape.slopes(np.linspace(1000, 2000, 4001))
        clear = np.abs(seen).min() > 1e-6
        if clear:
            assert shape.monotone == bool((seen > 0).all() or (seen < 0).all())

    def test_a_dip_between_looks_is_still_found(self):
        # slope 3 (z - 0.30003)^2 - 1e-9: negative only within 2e-5 of 0.30003.
        centre = 0.30003
        shape = Polynomial((-1.0, 1.0), (0.0, 3 * centre**2 - 1e-9, -3 * centre, 1.0))
        assert not shape.monotone
        assert (shape.slopes(np.linspace(-1, 1, 201)) > 0).all()

    def test_rows(self):
        shape = Polynomial((900.0, 2100.0), (1.0, 40.0, 2.0, -3.0, 0.0))
        pulses = np.array([[900.0, 1234.0], [1500.0, 2100.0]])
        assert shape.value_rows(pulses) @ shape.coefficients == pytest.approx(shape.values(pulses))
        numeric = (shape.values(pulses + 1e-3) - shape.values(pulses - 1e-3)) / 2e-3
        assert shape.slopes(pulses) == pytest.approx(numeric, rel=1e-6)
        assert shape.slopes(1500.0).shape == ()
        assert shape.degree == 3


class TestMonotonePoints:
    shape = MonotonePoints(
        (900.0, 1300.0, 1500.0, 1700.0, 2100.0), (-45.0, -30.0, 0.0, 30.0, 45.0)
    )

    def test_rows(self):
        pulses = np.array([950.0, 1400.0, 1500.0, 2050.0])
        for place in range(5):
            for sign in (1.0, -1.0):
                moved = list(self.shape.angles_deg)
                moved[place] += sign * 1e-3
                other = MonotonePoints(self.shape.pulses_us, tuple(moved))
                change = (other.values(pulses) - self.shape.values(pulses)) / (sign * 1e-3)
                assert self.shape.value_rows(pulses)[:, place] == pytest.approx(change, abs=1e-3)
                change = (other.slopes(pulses) - self.shape.slopes(pulses)) / (sign * 1e-3)
                assert self.shape.slope_rows(pulses)[:, place] == pytest.approx(change, abs=1e-5)

    def test_between_points_nothing_is_certain_at_points_it_is(self):
        assert self.shape.between_u(self.shape.pulses_us) == pytest.approx(np.zeros(5), abs=1e-12)
        assert (self.shape.between_u([1000.0, 1400.0, 2000.0]) >= 0).all()
        assert self.shape.between_u(1000.0) > 0.5
        straight = MonotonePoints((1000.0, 1500.0, 2000.0), (-45.0, 0.0, 45.0))
        assert straight.between_u([1100.0, 1700.0]) == pytest.approx([0.0, 0.0], abs=1e-12)

    def test_a_slope_between_points_may_be_that_of_any_piece_nearby(self):
        # Pieces of 0.0375, 0.15, 0.15, 0.0375 deg/us; the outer ones are near all but the ends.
        spread = (0.15 - 0.0375) / np.sqrt(12.0)
        found = self.shape.slope_between_u([900.0, 1100.0, 1400.0, 1500.0, 1600.0, 2100.0])
        assert found == pytest.approx([spread] * 6)
        straight = MonotonePoints((1000.0, 1500.0, 2000.0), (-45.0, 0.0, 45.0))
        assert straight.slope_between_u(1500.0) == pytest.approx(0.0, abs=1e-15)
        assert straight.slope_between_u(1500.0).shape == ()
        assert Polynomial((1000.0, 2000.0), (0.0, 45.0)).slope_between_u([1500.0]) == [0.0]

    def test_the_slope_of_a_servo_seen_at_five_points_is_within_reach(self):
        # Bent as a sine and as an arc tangent, whose slope at centre no five points show.
        pulses = np.linspace(1000.0, 2000.0, 5)
        z = (pulses - 1500.0) / 500.0
        for bend, slope in (
            (np.sin(np.pi * z), np.pi),
            (4.0 * (np.arctan(2.0 * z) / np.arctan(2.0) - z), 4.0 * (2.0 / np.arctan(2.0) - 1.0)),
        ):
            shape = MonotonePoints(tuple(pulses), tuple(45.0 * z + bend))
            off = abs(float(shape.slopes(1500.0)) - (45.0 + slope) / 500.0)
            assert off <= 2.0 * float(shape.slope_between_u(1500.0))

    def test_bounds_hold_a_hard_corner(self):
        # A line up to 1745 us, flat from there; seen at 1700 and 1800 us.
        pulses = np.array([1500.0, 1600.0, 1700.0, 1800.0, 1900.0])
        corner = np.minimum(0.1 * (pulses - 1500), 24.5)
        shape = MonotonePoints(tuple(pulses), tuple(corner))
        along = np.linspace(1500, 1900, 401)
        off = np.abs(shape.values(along) - np.minimum(0.1 * (along - 1500), 24.5))
        assert (off <= shape.between_u(along) * np.sqrt(12.0) + 1e-9).all()


class TestPooling:
    @given(st.lists(angles, min_size=2, max_size=15))
    def test_pools_rise_and_keep_the_mean(self, values):
        levels, weights = np.array(values), np.arange(1.0, len(values) + 1)
        pulses = np.arange(len(values)) * 50.0 + 1000.0
        at, pooled, pools = pool_to_monotone(pulses, levels, weights)
        assert (np.diff(pooled) > 0).all()
        assert (np.diff(at) > 0).all()
        assert [place for pool in pools for place in pool] == list(range(len(values)))
        total = sum(weights[pool].sum() * level for pool, level in zip(pools, pooled, strict=True))
        assert total == pytest.approx(weights @ levels, abs=1e-6)

    def test_rising_values_are_left_alone(self):
        _, pooled, _ = pool_to_monotone(np.arange(4.0), np.array([1.0, 2.0, 4.0, 8.0]), np.ones(4))
        assert pooled.tolist() == [1.0, 2.0, 4.0, 8.0]


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_inverse_by_bisection_is_exact_to_the_last_bits(sign):
    shape = Polynomial((1000.0, 2000.0), (1.0, sign * 45.0, 2.0))
    pulses = np.linspace(1000.0, 2000.0, 33)
    found = invert(shape, shape.values(pulses), (1000.0, 2000.0))
    assert np.abs(found - pulses).max() < 1e-9
