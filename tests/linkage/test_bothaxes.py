"""Curves through points that are uncertain in one axis or both."""

import numpy as np
import pytest

from hingeline.errors import LinkageError
from hingeline.linkage import bothaxes
from hingeline.linkage.bothaxes import fit_curve


def line(x, b):
    return b[0] + b[1] * x


def bow(x, b):
    return b[0] * np.exp(b[1] * x)


def test_exact_points_give_exact_coefficients():
    x = np.linspace(0.0, 2.0, 7)
    found = fit_curve(bow, x, 3.0 * np.exp(-0.7 * x), [1.0, 0.0], u_x=0.1, u_y=0.1)
    assert found.coefficients == pytest.approx([3.0, -0.7], abs=1e-10)
    assert found.chi2 == pytest.approx(0.0, abs=1e-12)


def test_exchanging_the_axes_gives_the_same_line():
    # Ordinary least squares does not do this: it knows errors in one axis only.
    x, y = [0.1, 0.9, 2.2, 2.8, 4.1], [0.3, 2.2, 3.7, 6.4, 7.9]
    there = fit_curve(line, x, y, [0.0, 2.0], u_x=0.2, u_y=0.3)
    back = fit_curve(line, y, x, [0.0, 0.5], u_x=0.3, u_y=0.2)
    assert back.coefficients[1] == pytest.approx(1.0 / there.coefficients[1], rel=1e-8)
    assert back.chi2 == pytest.approx(there.chi2, rel=1e-9)


def test_the_covariance_is_what_scatter_in_both_axes_makes():
    rng = np.random.default_rng(8)
    x = np.linspace(0.0, 1.5, 12)
    truth, u_x, u_y = np.array([2.0, 0.8]), 0.02, 0.03
    found = [
        fit_curve(
            bow,
            x + rng.normal(0.0, u_x, 12),
            bow(x, truth) + rng.normal(0.0, u_y, 12),
            [1.0, 1.0],
            u_x=u_x,
            u_y=u_y,
        )
        for _ in range(400)
    ]
    seen = np.cov(np.array([one.coefficients for one in found]).T)
    assert np.sqrt(np.diag(seen)) == pytest.approx(np.sqrt(np.diag(found[0].cofactors)), rel=0.15)
    assert np.mean([one.chi2 for one in found]) == pytest.approx(10.0, rel=0.1)


def test_what_is_known_beforehand_counts_as_a_point():
    alone = fit_curve(line, [1.0], [2.0], [0.0, 1.0], u_y=1.0, start_u=[1.0, 1.0])
    # One point, two coefficients known to 1: the surplus of 1 is shared, a third each.
    assert alone.coefficients == pytest.approx([1 / 3, 4 / 3])
    assert alone.dof == 1


def test_too_few_points():
    with pytest.raises(LinkageError, match=r"1 points cannot settle 2 unknowns\. Take 1 more"):
        fit_curve(line, [1.0], [2.0], [0.0, 1.0])


def test_points_that_do_not_tell_the_unknowns_apart():
    with pytest.raises(LinkageError, match="do not tell the 2 unknowns apart"):
        fit_curve(line, [1.0, 1.0, 1.0], [2.0, 2.1, 2.2], [0.0, 1.0])
    with pytest.raises(LinkageError, match="do not tell"):
        fit_curve(lambda x, b: b[0] + 0 * b[1] * x, [1.0, 2.0, 3.0], [2.0, 2.1, 2.2], [0.0, 1.0])


def test_a_search_that_leads_nowhere_is_told(monkeypatch):
    monkeypatch.setattr(bothaxes, "_MOST_CALLS", 3)
    x = np.linspace(0.0, 2.0, 7)
    with pytest.raises(LinkageError, match="did not settle within 3 steps"):
        fit_curve(bow, x, 3.0 * np.exp(-0.7 * x), [1.0, 0.0])


@pytest.mark.parametrize("start", [[np.nan, 1.0], [np.inf, 1.0]])
def test_what_is_not_finite_is_refused(start):
    with pytest.raises(LinkageError, match="not a finite number"):
        fit_curve(line, [1.0, 2.0, 3.0], [5.0, 4.0, 3.9], start)
    with pytest.raises(LinkageError, match="not a finite number"):
        fit_curve(line, [1.0, 2.0, 3.0], [5.0, np.nan, 3.9], [1.0, 1.0])
