"""The rule that finds slips against the printed tests for outliers.

Around a mean, and with the same chance of a false alarm, one step of the rule is the
two-sided test of Grubbs, and all steps together are the generalized ESD test of Rosner. The
fit of a travel curve differs from these on purpose: it measures from a curve, allows 1 %
instead of 5 %, puts a floor under the scatter, calls nothing a slip below 3.5 scatters, and
refuses where two explanations are as good.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import t as student

from hingeline.travel.leastsquares import least_squares
from hingeline.travel.leftout import each_left_out
from hingeline.travel.reading import shaft_reading
from hingeline.travel.slips import find_slips

# NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1 (data of G. L. Tietjen and
# R. H. Moore, Technometrics 14 (1972) 583-597); from memory, recomputed.
MASSES = (199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57)
# B. Rosner, Technometrics 25 (1983) 165-172; data seen in the R package PMCMRplus, gesdTest;
# the e-Handbook's 1.3.5.17.3 (from memory) prints R and lambda, cut off after three decimals.
ROSNER_TEXT = """
-0.25 0.68 0.94 1.15 1.20 1.26 1.26 1.34 1.38 1.43 1.49 1.49 1.55 1.56 1.58 1.65 1.69 1.70
1.76 1.77 1.81 1.91 1.94 1.96 1.99 2.06 2.09 2.10 2.14 2.15 2.23 2.24 2.26 2.35 2.37 2.40
2.47 2.54 2.62 2.64 2.90 2.92 2.92 2.93 3.21 3.26 3.30 3.59 3.68 4.30 4.64 5.34 5.42 6.01
"""
ROSNER = tuple(float(text) for text in ROSNER_TEXT.split())
R = (3.118, 2.942, 3.179, 2.810, 2.815, 2.848, 2.279, 2.310, 2.101, 2.067)
LAMBDA = (3.158, 3.151, 3.143, 3.136, 3.128, 3.120, 3.111, 3.103, 3.094, 3.085)


def left_out(values, false_alarm=0.05, floor=1e-12):
    fit = least_squares(np.ones((len(values), 1)), values)
    return fit, each_left_out(fit, floor, false_alarm)


def grubbs_critical(n, alpha=0.05):
    quantile = student.ppf(1.0 - alpha / (2.0 * n), n - 2)
    return (n - 1) / np.sqrt(n) * np.sqrt(quantile**2 / (n - 2 + quantile**2))


def as_grubbs(standing, n):
    """The largest deviation over the s.d. of all, from what it is over that of the others."""
    return (n - 1) / np.sqrt(n) * np.sqrt(standing**2 / (n - 2 + standing**2))


def test_grubbs_example():
    fit, out = left_out(MASSES)
    n = len(MASSES)
    worst = int(np.argmax(out.standing))
    assert MASSES[worst] == 245.57
    assert abs(fit.residuals[worst]) / fit.scale == pytest.approx(2.4687, abs=1e-4)
    assert as_grubbs(out.standing[worst], n) == pytest.approx(2.4687, abs=1e-4)
    # Two-sided; the handbook's 2.032 is the one-sided value, which is alpha 10 % here.
    assert as_grubbs(out.limit[worst], n) == pytest.approx(2.126645, abs=5e-7)
    _, one_sided = left_out(MASSES, false_alarm=0.10)
    assert as_grubbs(one_sided.limit[worst], n) == pytest.approx(2.032, abs=5e-4)
    assert (out.standing > out.limit).nonzero()[0].tolist() == [worst]


@given(
    st.lists(st.integers(-400, 400).map(lambda v: v / 8.0), min_size=4, max_size=20).filter(
        lambda values: len(set(values)) > 2
    )
)
@settings(deadline=None, max_examples=100)
def test_one_step_is_grubbs_test(values):
    fit, out = left_out(values)
    n, worst = len(values), int(np.argmax(np.abs(fit.residuals)))
    g, critical = abs(fit.residuals[worst]) / fit.scale, grubbs_critical(n)
    if abs(g - critical) > 1e-6:
        assert bool(out.standing[worst] > out.limit[worst]) == bool(g > critical)


def test_rosner_masking():
    left, clear = np.array(ROSNER), []
    for r, critical in zip(R, LAMBDA, strict=True):
        fit, out = left_out(left)
        worst = int(np.argmax(out.standing))
        n = len(left)
        assert abs(fit.residuals[worst]) / fit.scale == pytest.approx(r, abs=1.5e-3)
        assert as_grubbs(out.standing[worst], n) == pytest.approx(r, abs=1.5e-3)
        assert as_grubbs(out.limit[worst], n) == pytest.approx(critical, abs=1.5e-3)
        clear.append((float(left[worst]), bool(out.standing[worst] > out.limit[worst])))
        left = np.delete(left, worst)
    # The first two hide behind each other; the third stands clear, so that all three go.
    assert [stands for _, stands in clear] == [False, False, True, *[False] * 7]
    assert {value for value, _ in clear[:3]} == {6.01, 5.42, 5.34}


def test_the_same_three_on_a_servo():
    # Rosner's deviations on a straight servo, in gauge steps too fine to floor the scatter:
    # at 1 % three such are not called slips, twice as far out they are, and only they.
    pulses = np.linspace(900.0, 2100.0, len(ROSNER))
    order = np.random.default_rng(9).permutation(len(ROSNER))
    middle = float(np.median(ROSNER))

    def servo(stretch):
        away = np.array(ROSNER)[order] - middle
        away[away > 5.0 - middle] *= stretch
        return [
            shaft_reading(float(p), "rising", 0.09 * (p - 1500.0) + 3.0 * a, resolution_deg=0.01)
            for p, a in zip(pulses, away, strict=True)
        ]

    assert find_slips(servo(1.0)) == ()
    named = [ROSNER[order[suspect.index]] for suspect in find_slips(servo(2.0))]
    assert sorted(named) == [5.34, 5.42, 6.01]
