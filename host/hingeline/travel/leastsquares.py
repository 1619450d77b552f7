"""Weighted linear least squares: coefficients, covariance, leverage.

Solved by a QR factorisation of the weighted design with its columns scaled to a largest
element of 1. The normal equations would square the condition number, and lose twice the
digits (A. Bjorck, Numerical Methods for Least Squares Problems, SIAM 1996, ch. 2).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hingeline.errors import TravelError

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class LeastSquares:
    """The solution of one weighted linear least-squares problem.

    Attributes
    ----------
    coefficients : ndarray, shape (k,)
        In the order of the design's columns.
    cofactors : ndarray, shape (k, k)
        (X' W X)^-1: the covariance when every weight is 1/u^2 with u known. With unknown
        scale, multiply by ``chi2 / dof``.
    residuals : ndarray, shape (n,)
        Value less fit, not weighted.
    leverage : ndarray, shape (n,)
        Diagonal of the weighted hat matrix, 0 to 1; a point's pull on its own fit.
    response : ndarray, shape (k, n)
        How far each coefficient moves when a value moves by 1.
    chi2 : float
        Weighted sum of squared residuals.
    dof : int
        n - k.
    """

    coefficients: Floats
    cofactors: Floats
    residuals: Floats
    leverage: Floats
    response: Floats
    chi2: float
    dof: int

    @property
    def scale(self) -> float:
        """sqrt(chi2 / dof), the residual s.d. of a point of weight 1; nan without dof."""
        return float(np.sqrt(self.chi2 / self.dof)) if self.dof else float("nan")


def least_squares(
    design: ArrayLike, values: ArrayLike, weights: ArrayLike | None = None
) -> LeastSquares:
    """Solve min sum w (y - X b)^2.

    Parameters
    ----------
    design : array_like, shape (n, k)
        X, one column per coefficient, n >= k.
    values : array_like, shape (n,)
        y.
    weights : array_like, shape (n,), or None
        w > 0; None: all 1.

    Returns
    -------
    LeastSquares

    Raises
    ------
    TravelError
        If there are fewer points than coefficients, or the columns are dependent.
    """
    x = np.asarray(design, dtype=np.float64)
    y = np.asarray(values, dtype=np.float64)
    root = np.ones(len(y)) if weights is None else np.sqrt(np.asarray(weights, dtype=np.float64))
    n, k = x.shape
    if n < k:
        raise TravelError(
            f"{n} readings cannot settle {k} unknowns.", mend=f"Take {k - n} more readings."
        )
    scaled = x * root[:, None]
    largest = np.abs(scaled).max(axis=0)
    if (largest > 0).all():
        scaled = scaled / largest
        q, r = np.linalg.qr(scaled)
        pivots = np.abs(np.diag(r))
    else:
        pivots = np.zeros(k)
    if pivots.min() <= n * np.finfo(float).eps * pivots.max():
        raise TravelError(
            f"The readings do not tell the {k} unknowns apart.",
            cause="The pulses, or the directions of approach, are too few or too alike.",
            mend="Take readings at more pulses, from both directions.",
        )
    # On a triangle this is back substitution: its diagonal is already the pivot everywhere.
    inverse = np.linalg.solve(r, np.eye(k)) / largest[:, None]
    coefficients = inverse @ (q.T @ (root * y))
    residuals = y - x @ coefficients
    return LeastSquares(
        coefficients=coefficients,
        cofactors=inverse @ inverse.T,
        residuals=residuals,
        leverage=np.square(q).sum(axis=1),
        response=inverse @ (q.T * root),
        chi2=float(np.sum(np.square(root * residuals))),
        dof=n - k,
    )


def aicc(rss: ArrayLike, n: int, coefficients: int, scatter: float) -> Floats:
    """Return the small-sample Akaike criterion of fits with a floor under their scatter.

    -2 log L of normal errors whose variance is rss / n, but never below ``scatter`` squared;
    the variance counts as one more parameter where it was estimated. Formula: N. Sugiura,
    Communications in Statistics A7 (1978) 13-26 (from memory).

    Parameters
    ----------
    rss : array_like
        Sums of squared residuals.
    n : int
        Number of readings.
    coefficients : int
        Number of fitted coefficients.
    scatter : float
        Least standard deviation, in the unit of the residuals, above 0.

    Returns
    -------
    ndarray
        inf where there are too few readings for the number of parameters.
    """
    observed = np.asarray(rss, dtype=np.float64) / n
    free = observed > scatter**2
    variance = np.where(free, observed, scatter**2)
    k = coefficients + free
    spare = n - k - 1
    penalty = np.where(spare > 0, 2.0 * k + 2.0 * k * (k + 1) / np.maximum(spare, 1), np.inf)
    return np.asarray(n * np.log(variance) + n * observed / variance + penalty)
