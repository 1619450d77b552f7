"""Estimates and standard errors against statsmodels, GTC and lmfit, to six digits and more.

The libraries serve these tests only. Where one is not installed its tests are skipped, and
say so.
"""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from hingeline.linkage.bothaxes import fit_curve
from hingeline.travel.fit import fit
from hingeline.travel.leastsquares import least_squares
from hingeline.travel.leftout import each_left_out
from hingeline.travel.reading import shaft_reading
from tests.oracles.test_nist_linear import certified
from tests.oracles.test_nist_nonlinear import MODELS
from tests.oracles.test_nist_nonlinear import certified as certified_curve

SIX_DIGITS = 1e-6
PULSES = np.repeat(np.linspace(1000.0, 2000.0, 13), 2)
SIDE = np.tile([-1.0, 1.0], 13)
Z = (PULSES - 1500.0) / 500.0


def servo(seed=2, bend_deg=2.0, u_deg=0.15):
    """Angles of a servo bent as a parabola, with half a degree of half gap."""
    rng = np.random.default_rng(seed)
    return 45.0 * Z + bend_deg * Z**2 + 0.5 * SIDE + rng.normal(0.0, u_deg, len(Z))


def curve_of(angles):
    return fit(
        [
            shaft_reading(float(p), "falling" if s > 0 else "rising", float(a), resolution_deg=0.1)
            for p, s, a in zip(PULSES, SIDE, angles, strict=True)
        ]
    )


def imported(name):
    with warnings.catch_warnings():  # what another library warns of on import is not ours
        warnings.simplefilter("ignore")
        return pytest.importorskip(name)


class TestStatsmodels:
    @pytest.fixture
    def api(self):
        return imported("statsmodels.api")

    @pytest.mark.parametrize("name", ["Norris", "Pontius", "NoInt1"])
    def test_ordinary(self, api, name):
        data = certified(name)
        design = data.x[:, None] ** np.array(data.powers)
        ours, theirs = least_squares(design, data.y), api.OLS(data.y, design).fit(method="qr")
        # Their columns are not scaled: Pontius' parabola costs them digits, so both meet
        # the certified values.
        assert ours.coefficients == pytest.approx(theirs.params, rel=SIX_DIGITS)
        deviations = ours.scale * np.sqrt(np.diag(ours.cofactors))
        assert deviations == pytest.approx(theirs.bse, rel=SIX_DIGITS)

    def test_weighted(self, api):
        rng = np.random.default_rng(1)
        design = np.stack([np.ones_like(Z), Z, SIDE, Z**2], axis=1)
        weights, angles = rng.uniform(0.5, 3.0, len(Z)), servo()
        ours = least_squares(design, angles, weights)
        theirs = api.WLS(angles, design, weights=weights).fit()
        assert ours.coefficients == pytest.approx(theirs.params, rel=SIX_DIGITS)
        covariance = ours.scale**2 * ours.cofactors
        assert covariance == pytest.approx(
            np.asarray(theirs.cov_params()), rel=SIX_DIGITS, abs=1e-12
        )

    def test_each_reading_left_out(self, api):
        design = np.stack([np.ones_like(Z), Z, SIDE, Z**2], axis=1)
        ours = each_left_out(least_squares(design, servo()), 1e-12, 0.01)
        theirs = api.OLS(servo(), design).fit().get_influence().resid_studentized_external
        assert ours.standing == pytest.approx(np.abs(theirs), rel=SIX_DIGITS)

    def test_the_whole_fit_of_a_servo(self, api):
        curve = curve_of(servo())
        assert curve.degree == 2
        theirs = api.OLS(servo(), np.stack([np.ones_like(Z), Z, Z**2, SIDE], axis=1)).fit()
        found = [*curve.shape.coefficients[:3], curve.half_gap_deg]
        assert found == pytest.approx(theirs.params, rel=SIX_DIGITS)
        assert curve.residual_sd_deg == pytest.approx(np.sqrt(theirs.scale), rel=SIX_DIGITS)
        # The gap has nothing of the richer shape's in it.
        assert curve.half_gap_deg_u == pytest.approx(theirs.bse[3], rel=SIX_DIGITS)


class TestGTC:
    @pytest.fixture
    def gtc(self):
        return imported("GTC")

    def test_line_with_unknown_scatter(self, gtc):
        x, y = np.arange(1.0, 7.0), [3.014, 5.225, 7.004, 9.061, 11.201, 12.762]
        ours = least_squares(np.stack([np.ones(6), x], axis=1), y)
        theirs = gtc.type_a.line_fit(x, y)
        a, b = theirs.a_b
        assert ours.coefficients == pytest.approx([a.x, b.x], rel=SIX_DIGITS)
        u = ours.scale * np.sqrt(np.diag(ours.cofactors))
        assert u == pytest.approx([a.u, b.u], rel=SIX_DIGITS)
        assert ours.chi2 == pytest.approx(theirs.ssr, rel=SIX_DIGITS)

    def test_line_with_known_uncertainties(self, gtc):
        x, y = np.arange(1.0, 7.0), [3.2, 4.3, 7.6, 8.6, 11.7, 12.8]
        u_y = np.array([0.5, 0.5, 0.5, 1.0, 1.0, 1.0])
        ours = least_squares(np.stack([np.ones(6), x], axis=1), y, u_y**-2)
        a, b = gtc.type_a.line_fit_wls(x, y, u_y).a_b
        assert ours.coefficients == pytest.approx([a.x, b.x], rel=SIX_DIGITS)
        assert np.sqrt(np.diag(ours.cofactors)) == pytest.approx([a.u, b.u], rel=SIX_DIGITS)
        correlation = ours.cofactors[0, 1] / np.sqrt(np.prod(np.diag(ours.cofactors)))
        assert correlation == pytest.approx(gtc.get_correlation(a, b), rel=SIX_DIGITS)

    def test_line_uncertain_in_both_axes(self, gtc):
        x, y = np.array([1.2, 1.9, 2.9, 4.0, 4.7, 5.9]), np.array([3.4, 4.4, 7.2, 8.5, 10.8, 13.5])
        u_x, u_y = np.full(6, 0.2), np.repeat([0.2, 0.4], 3)

        def solved(x, y):
            line = fit_curve(lambda at, p: p[0] + p[1] * at, x, y, [0.5, 2.0], u_x=u_x, u_y=u_y)
            return line.coefficients

        a, b = gtc.type_a.line_fit_wtls(x, y, u_x, u_y).a_b
        assert solved(x, y) == pytest.approx([a.x, b.x], rel=SIX_DIGITS)
        # Their uncertainties are those of the data carried through the solution, 0.5 to 1 %
        # more here than the standard's own, which stand in the test of its example.
        step, moved = 1e-4, []
        for place in np.eye(6) * step:
            moved.append((solved(x + place, y) - solved(x - place, y)) / (2 * step) * u_x[0])
            u = u_y @ (place / step)
            moved.append((solved(x, y + place) - solved(x, y - place)) / (2 * step) * u)
        carried = np.sqrt(np.sum(np.square(moved), axis=0))
        assert carried == pytest.approx([a.u, b.u], rel=SIX_DIGITS)

    def test_inverse_of_a_servo(self, gtc):
        curve = curve_of(servo(bend_deg=0.0))
        # The same from uncertain numbers: coefficients with our covariance, solved for zero.
        size = len(curve.shape.coefficients)
        u = np.sqrt(np.diag(curve.covariance))[:size]
        values = curve.shape.coefficients
        numbers = gtc.multiple_ureal(list(values), list(u), df=np.inf)
        for i in range(size):
            for j in range(i):
                r = curve.covariance[i][j] / (u[i] * u[j])
                gtc.set_correlation(float(r), numbers[i], numbers[j])
        z = (curve.centre_us - 1500.0) / 500.0
        value = sum(number * z**power for power, number in enumerate(numbers))
        slope = sum(k * values[k] * z ** (k - 1) for k in range(1, size)) / 500.0
        u_us = np.hypot(value.u, curve.u_common_deg) / abs(slope)
        assert value.x == pytest.approx(0.0, abs=1e-9)
        assert curve.centre_us_u == pytest.approx(u_us, rel=SIX_DIGITS)


class TestLmfit:
    @pytest.fixture
    def lmfit(self):
        return imported("lmfit")

    @pytest.mark.parametrize("name", ["Kirby2", "Rat43"])
    def test_nonlinear(self, lmfit, name):
        data = certified_curve(name)
        parameters = lmfit.Parameters()
        for place, start in enumerate(data.starts[1]):
            parameters.add(f"b{place}", value=start)

        def off(now):
            return data.y - MODELS[name](data.x, [now[key].value for key in now])

        def slopes(now):
            # By differences, as they would do it, Rat43 comes out to four digits only.
            values = np.array([now[key].value for key in now], dtype=complex)
            steps = 1e-30j * np.eye(len(values))
            return np.array([-MODELS[name](data.x, values + step).imag / 1e-30 for step in steps])

        theirs = lmfit.minimize(
            off, parameters, Dfun=slopes, col_deriv=1, ftol=1e-15, xtol=1e-15, gtol=1e-15
        )
        ours = fit_curve(MODELS[name], data.x, data.y, data.starts[1])
        values = [theirs.params[key].value for key in theirs.params]
        errors = [theirs.params[key].stderr for key in theirs.params]
        assert ours.coefficients == pytest.approx(values, rel=SIX_DIGITS)
        u = ours.scale * np.sqrt(np.diag(ours.cofactors))
        assert u == pytest.approx(errors, rel=SIX_DIGITS)

    def test_the_whole_fit_of_a_servo(self, lmfit):
        def mean(z, side, c0, c1, c2, gap):
            return c0 + c1 * z + c2 * z**2 + gap * side

        model = lmfit.Model(mean, independent_vars=["z", "side"])
        theirs = model.fit(servo(), z=Z, side=SIDE, c0=0.0, c1=40.0, c2=0.1, gap=0.1)
        curve = curve_of(servo())
        names = ("c0", "c1", "c2", "gap")
        found = [*curve.shape.coefficients[:3], curve.half_gap_deg]
        assert found == pytest.approx([theirs.params[n].value for n in names], rel=SIX_DIGITS)
        assert curve.half_gap_deg_u == pytest.approx(theirs.params["gap"].stderr, rel=SIX_DIGITS)
