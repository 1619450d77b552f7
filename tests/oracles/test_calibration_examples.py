"""Printed calibration examples with their uncertainties, through the fit's own routines."""

from __future__ import annotations

import numpy as np
import pytest

from hingeline.linkage.bothaxes import fit_curve
from hingeline.travel import linearity
from hingeline.travel.fit import fit
from hingeline.travel.leastsquares import least_squares
from hingeline.travel.reading import shaft_reading


class TestThermometer:
    """JCGM 100:2008 (GUM), Annex H.3, table H.6 and equations H.13 to H.15.

    Data and results seen in the documentation of the GTC package (github MSLNZ/GTC,
    docs/API/GUM_H3.rst); tolerances are half the last printed digit.
    """

    t = (21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511)
    b = (-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160)

    def solved(self):
        away = np.array(self.t) - 20.0
        found = least_squares(np.stack([np.ones_like(away), away], axis=1), self.b)
        return found, found.scale**2 * found.cofactors

    def test_coefficients_and_their_deviations(self):
        found, covariance = self.solved()
        assert found.coefficients[0] == pytest.approx(-0.1712, abs=5e-5)
        assert found.coefficients[1] == pytest.approx(0.00218, abs=5e-6)
        assert np.sqrt(covariance[0, 0]) == pytest.approx(0.0029, abs=5e-5)
        assert np.sqrt(covariance[1, 1]) == pytest.approx(0.00067, abs=5e-6)
        assert found.scale == pytest.approx(0.0035, abs=5e-5)
        assert found.dof == 9

    def test_correlation(self):
        _, covariance = self.solved()
        correlation = covariance[0, 1] / np.sqrt(covariance[0, 0] * covariance[1, 1])
        assert correlation == pytest.approx(-0.930, abs=5e-4)

    def test_predicted_correction_at_30_degrees(self):
        found, covariance = self.solved()
        row = np.array([1.0, 10.0])
        assert row @ found.coefficients == pytest.approx(-0.1494, abs=5e-5)
        assert np.sqrt(row @ covariance @ row) == pytest.approx(0.0041, abs=5e-5)

    def test_leaving_out_the_correlation_would_show(self):
        _, covariance = self.solved()
        without = np.sqrt(covariance[0, 0] + 100.0 * covariance[1, 1])
        assert abs(without - 0.0041) > 1e-3


class TestStraightLine:
    """ISO/TS 28037:2010, clause 6.3, weighted straight lines with known uncertainties.

    Seen in the documentation of the GTC package (docs/API/straight_line_functions.rst);
    tolerances are half the last printed digit.
    """

    @pytest.mark.parametrize(
        ("y", "u", "a", "b", "u_a", "u_b", "cov", "chi2", "at", "u_at", "x", "u_x"),
        [
            (  # page 13: equal weights
                [3.3, 5.6, 7.1, 9.3, 10.7, 12.1],
                [0.5] * 6,
                *(1.867, 1.757, 0.465, 0.120, -0.050, 1.665, 10.5, 0.5, 4.913, 0.322),
            ),
            (  # pages 14 and 15: unequal weights
                [3.2, 4.3, 7.6, 8.6, 11.7, 12.8],
                [0.5] * 3 + [1.0] * 3,
                *(0.885, 2.057, 0.530, 0.178, -0.082, 4.131, 10.5, 1.0, 4.674, 0.533),
            ),
        ],
    )
    def test_known_uncertainties(self, y, u, a, b, u_a, u_b, cov, chi2, at, u_at, x, u_x):
        places = np.arange(1.0, 7.0)
        design = np.stack([np.ones(6), places], axis=1)
        found = least_squares(design, y, 1.0 / np.square(u))
        half = 5e-4
        assert found.coefficients == pytest.approx([a, b], abs=half)
        assert np.sqrt(np.diag(found.cofactors)) == pytest.approx([u_a, u_b], abs=half)
        assert found.cofactors[0, 1] == pytest.approx(cov, abs=half)
        assert found.chi2 == pytest.approx(chi2, abs=half)
        assert found.dof == 4
        # Backwards: the place at which the line takes a value that is itself uncertain.
        place = (at - found.coefficients[0]) / found.coefficients[1]
        row = np.array([1.0, place])
        u_place = np.sqrt(u_at**2 + row @ found.cofactors @ row) / found.coefficients[1]
        assert place == pytest.approx(x, abs=half)
        assert u_place == pytest.approx(u_x, abs=half)

    def test_unknown_equal_uncertainty(self):
        """The same, appendix E, page 58."""
        y = [3.014, 5.225, 7.004, 9.061, 11.201, 12.762]
        found = least_squares(np.stack([np.ones(6), np.arange(1.0, 7.0)], axis=1), y)
        covariance = found.scale**2 * found.cofactors
        assert found.coefficients == pytest.approx([1.172, 1.964], abs=5e-4)
        assert np.sqrt(np.diag(covariance)) == pytest.approx([0.159, 0.041], abs=5e-4)
        assert covariance[0, 1] == pytest.approx(-0.006, abs=5e-4)


def line(x, b):
    return b[0] + b[1] * x


class TestStraightLineBothAxes:
    """Straight lines through points that are uncertain in both axes."""

    def test_iso_example(self):
        """ISO/TS 28037:2010, clause 7.4, page 21.

        Seen in the documentation and tests of the GTC package; tolerances are half the last
        printed digit.
        """
        x = [1.2, 1.9, 2.9, 4.0, 4.7, 5.9]
        y = [3.4, 4.4, 7.2, 8.5, 10.8, 13.5]
        found = fit_curve(line, x, y, [0.0, 2.0], u_x=0.2, u_y=[0.2] * 3 + [0.4] * 3)
        assert found.coefficients == pytest.approx([0.5788, 2.1597], abs=5e-5)
        assert np.sqrt(np.diag(found.cofactors)) == pytest.approx([0.4764, 0.1355], abs=5e-5)
        assert found.cofactors[0, 1] == pytest.approx(-0.0577, abs=5e-5)
        assert found.chi2 == pytest.approx(2.743, abs=5e-4)
        assert found.dof == 4

    def test_pearson_with_york_weights(self):
        """Exact: G. Neri, G. Saitta and S. Chiofalo, Journal of Physics E 22 (1989) 215.

        Seen in the tests of the GTC package, with chi2 / 8 = 1.4833; the standard
        uncertainties 0.295 and 0.058 are of D. York et al. (2004), from memory.
        """
        x = [0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4]
        y = [5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5]
        w_x = np.array([1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1.0])
        w_y = np.array([1, 1.8, 4, 8, 20, 20, 70, 70, 100, 500])
        found = fit_curve(line, x, y, [6.0, -0.5], u_x=w_x**-0.5, u_y=w_y**-0.5)
        assert found.coefficients == pytest.approx([5.47991022, -0.480533407], rel=2e-9)
        assert np.sqrt(np.diag(found.cofactors)) == pytest.approx([0.295, 0.058], abs=5e-4)
        assert found.chi2 / found.dof == pytest.approx(1.4833, abs=5e-5)

    def test_without_it_the_answer_would_be_another(self):
        x = [0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4]
        y = [5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5]
        w_y = np.array([1, 1.8, 4, 8, 20, 20, 70, 70, 100, 500])
        assert abs(fit_curve(line, x, y, [6.0, -0.5], u_y=w_y**-0.5).coefficients[0] - 5.48) > 0.5


class TestUpAndDown:
    """An instrument read up and down.

    Data seen in a course notebook (github agmarrugo/optical-metrology, calibracion.ipynb,
    commit 1c6185bf), which prints slope 1.0839, intercept -0.8525, residual s.d. 0.2043 and
    s(slope) 0.0138; the data are those of a pressure gauge in E. O. Doebelin, Measurement
    Systems (from memory). Linearity figures: own computation with scipy.optimize.linprog.
    """

    up = (-1.12, 0.21, 1.18, 2.09, 3.33, 4.50, 5.26, 6.59, 7.73, 8.68, 9.88)
    down = (-0.69, 0.42, 1.65, 2.48, 3.62, 4.71, 5.87, 6.86, 7.92, 9.10, 10.20)

    def curve(self):
        readings = []
        for name, angles in (("rising", self.up), ("falling", self.down)):
            readings += [
                shaft_reading(1000 + 100 * place, name, angle, resolution_deg=0.01)
                for place, angle in enumerate(angles)
            ]
        return fit(readings)

    def test_printed_line(self):
        x = np.tile(np.arange(11.0), 2)
        found = least_squares(np.stack([np.ones(22), x], axis=1), self.up + self.down)
        deviations = found.scale * np.sqrt(np.diag(found.cofactors))
        assert found.coefficients == pytest.approx([-0.8525, 1.0839], abs=5e-5)
        assert found.scale == pytest.approx(0.2043, abs=5e-5)
        assert deviations[1] == pytest.approx(0.0138, abs=5e-5)
        assert deviations[0] == pytest.approx(0.0814789, abs=5e-8)  # own: the print is wrong

    def test_printed_value_behind_a_reading(self):
        x = np.tile(np.arange(11.0), 2)
        found = least_squares(np.stack([np.ones(22), x], axis=1), self.up + self.down)
        a, b = found.coefficients
        assert (4.32 - a) / b == pytest.approx(4.7723, abs=5e-5)

    def test_hysteretic_error_as_part_of_the_span(self):
        curve = self.curve()
        span = max(self.up + self.down) - min(self.up + self.down)
        assert span == pytest.approx(11.32)
        assert 100.0 * curve.largest_gap_deg / span == pytest.approx(5.389, abs=5e-4)  # own

    def test_uncertainty_of_the_linearities(self):
        # Own derivation: the best line touches three averages, with weights 1/2 and shares of
        # 1/2; the line through the ends leaves one. Each average is of two readings.
        curve = self.curve()
        average = (np.array(self.up) + np.array(self.down)) / 2.0
        for kind, u in (
            (linearity.independent, curve.linearity_deg_u),
            (linearity.terminal_based, curve.terminal_linearity_deg_u),
        ):
            row = kind(np.arange(11.0), average).row
            of_averages = curve.residual_sd_deg * np.sqrt(row @ row / 2.0)
            assert u == pytest.approx(of_averages, rel=1e-9)
        rng = np.random.default_rng(3)
        drawn = average + rng.normal(0.0, 0.002, (1500, 11))
        for kind in (linearity.independent, linearity.terminal_based):
            row = kind(np.arange(11.0), average).row
            seen = np.std([kind(np.arange(11.0), one).largest for one in drawn])
            assert seen == pytest.approx(0.002 * np.sqrt(row @ row), rel=0.1)

    def test_linearity_of_the_averages(self):
        average = (np.array(self.up) + np.array(self.down)) / 2.0
        best = linearity.independent(np.arange(11.0), average)
        assert best.largest == pytest.approx(0.1040625, abs=1e-12)
        assert best.intercept == pytest.approx(-0.8453125, abs=1e-12)
        assert best.slope == pytest.approx(1.078125, abs=1e-12)
        ends = linearity.terminal_based(np.arange(11.0), average)
        assert ends.largest == pytest.approx(0.131, abs=1e-12)
        assert int(np.argmax(np.abs(ends.row))) == 2

    def test_the_same_through_the_whole_fit(self):
        curve = self.curve()
        assert curve.suspects == ()
        assert curve.linearity_deg == pytest.approx(0.1040625, abs=1e-9)
        assert curve.terminal_linearity_deg == pytest.approx(0.131, abs=1e-9)
        assert curve.largest_gap_deg == pytest.approx(0.61, abs=1e-9)
        gaps = np.array(self.down) - np.array(self.up)
        assert curve.hysteresis_deg == pytest.approx(gaps.mean(), abs=1e-9)
        assert curve.rate_deg_per_us == pytest.approx(0.010838636, abs=5e-9)
