"""Each point measured by all the others: how far off it is, and whether that is too far."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri, stdtrit

from hingeline.travel.leastsquares import LeastSquares

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class LeftOut:
    """What each point is, measured by all the others.

    Attributes
    ----------
    away : ndarray, shape (n,)
        Point less what the others let expect.
    standing : ndarray, shape (n,)
        The size of that over its own standard deviation.
    limit : ndarray, shape (n,)
        What the largest standing of n honest points exceeds with the chance of a false alarm.
    rss : ndarray, shape (n,)
        Sum of squared residuals of the others.
    """

    away: Floats
    standing: Floats
    limit: Floats
    rss: Floats


def each_left_out(fit: LeastSquares, scatter: float, false_alarm: float) -> LeftOut:
    """Leave each point out in turn, in closed form.

    D. A. Belsley, E. Kuh and R. E. Welsch, Regression Diagnostics, Wiley 1980, section 2.1.
    For a mean of all points, and without the floor under the scatter, the comparison of
    ``standing`` with ``limit`` is the two-sided test of F. E. Grubbs, Technometrics 11 (1969)
    1-21, and applied again and again that of Rosner.

    Parameters
    ----------
    fit : LeastSquares
        Of all points, with two degrees of freedom or more.
    scatter : float
        Least standard deviation of a point that is believed, above 0.
    false_alarm : float
        Chance that the largest standing of honest points exceeds its limit.
    """
    chance = 1.0 - false_alarm / (2.0 * len(fit.residuals))
    room = np.maximum(1.0 - fit.leverage, 1e-9)
    away = fit.residuals / room
    rss = np.maximum(fit.chi2 - np.square(fit.residuals) / room, 0.0)
    variance = rss / (fit.dof - 1)
    floored = variance <= scatter**2
    limit = np.where(floored, ndtri(chance), stdtrit(fit.dof - 1, chance))
    standing = np.abs(away) * np.sqrt(room) / np.maximum(np.sqrt(variance), scatter)
    return LeftOut(away, standing, limit, rss)
