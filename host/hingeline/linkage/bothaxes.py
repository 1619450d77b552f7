"""Least squares for a curve when its places are uncertain too.

Minimised is the sum of ((y - f(x; b)) / u)^2 with u^2 = u_y^2 + (f'(x) u_x)^2, the *effective
variance*. For a straight line this is the exact answer (D. York et al., American Journal of
Physics 72 (2004) 367-375); for a curve it holds while the curve is nearly straight over a
few u_x. With u_x = 0 it is ordinary nonlinear least squares.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares

from hingeline.errors import LinkageError

Floats = NDArray[np.float64]
#: f(x, b): places of shape (n,) and coefficients of shape (k,) to values of shape (n,).
Model = Callable[[Floats, Floats], Floats]

# Relative step of a central difference: the cube root of the spacing of doubles.
_STEP = float(np.cbrt(np.finfo(float).eps))
# As near to the minimum as doubles can tell.
_TOLERANCE = 4.0 * float(np.finfo(float).eps)
_MOST_CALLS = 4000


@dataclass(frozen=True, eq=False)
class CurveFit:
    """A fitted curve.

    Attributes
    ----------
    coefficients : ndarray, shape (k,)
    cofactors : ndarray, shape (k, k)
        The covariance when ``u_x`` and ``u_y`` are what they say; with unknown scale,
        multiply by ``chi2 / dof``.
    residuals : ndarray, shape (n,)
        y less curve.
    u : ndarray, shape (n,)
        Effective standard uncertainty of each residual.
    chi2 : float
        Sum of squares of residual over u.
    dof : int
        n - k; what is known of the start counts as a point for each coefficient.
    """

    coefficients: Floats
    cofactors: Floats
    residuals: Floats
    u: Floats
    chi2: float
    dof: int

    @property
    def scale(self) -> float:
        """sqrt(chi2 / dof); nan without degrees of freedom."""
        return float(np.sqrt(self.chi2 / self.dof)) if self.dof else float("nan")


def fit_curve(
    model: Model,
    x: ArrayLike,
    y: ArrayLike,
    start: ArrayLike,
    *,
    u_x: ArrayLike = 0.0,
    u_y: ArrayLike = 1.0,
    start_u: ArrayLike | None = None,
    complex_step: bool = True,
) -> CurveFit:
    """Fit a curve to points uncertain in y, or in both axes.

    Parameters
    ----------
    model : callable
        f(x, b), elementwise in x.
    x, y : array_like, shape (n,)
        The points.
    start : array_like, shape (k,)
        Where the search begins.
    u_x, u_y : array_like, shape () or (n,)
        Standard uncertainties; u_y above 0 wherever u_x is 0.
    start_u : array_like, shape (k,), or None
        Standard uncertainty with which ``start`` is known beforehand; None: not known.
    complex_step : bool
        Whether the model takes complex coefficients and is analytic in them; derivatives
        are then exact (W. Squire and G. Trapp, SIAM Review 40 (1998) 110-112). Else by
        central differences, on the scale of ``start_u``.

    Returns
    -------
    CurveFit

    Raises
    ------
    LinkageError
        If a value is not finite, there are fewer points than coefficients, the search does
        not settle, or the points do not tell the coefficients apart.
    """
    at, seen = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    first = np.asarray(start, dtype=np.float64)
    away, across = np.broadcast_to(u_x, at.shape), np.broadcast_to(u_y, at.shape)
    known = None if start_u is None else np.asarray(start_u, dtype=np.float64)
    rows = len(at) + (0 if known is None else len(first))
    if not all(np.isfinite(values).all() for values in (at, seen, first, away, across)):
        raise LinkageError(
            "A point, its uncertainty or the start is not a finite number.",
            mend="Leave that point out, or measure it again.",
        )
    if rows < len(first):
        raise LinkageError(
            f"{len(at)} points cannot settle {len(first)} unknowns.",
            mend=f"Take {len(first) - len(at)} more.",
        )
    reach = _STEP * (float(np.ptp(at)) or 1.0)
    uncertain_places = bool(np.any(away > 0))

    def parts(b: Floats) -> tuple[Floats, Floats]:
        """Residuals and their effective uncertainties; complex for complex coefficients."""
        variance = np.square(across)
        if uncertain_places:
            slope = (model(at + reach, b) - model(at - reach, b)) / (2.0 * reach)
            variance = variance + np.square(slope * away)
        return seen - model(at, b), np.sqrt(variance)

    def standing(b: Floats) -> Floats:
        off, u = parts(b)
        return off / u if known is None else np.concatenate([off / u, (b - first) / known])

    def slopes(b: Floats) -> Floats:
        columns = []
        for place in range(len(b)):
            if complex_step:
                moved = b.astype(np.complex128)
                moved[place] += 1e-30j
                columns.append(standing(moved).imag / 1e-30)  # type: ignore[arg-type]
                continue
            scale = abs(b[place]) or 1.0 if known is None else known[place]
            up, down = b.copy(), b.copy()
            up[place] += _STEP * scale
            down[place] -= _STEP * scale
            columns.append((standing(up) - standing(down)) / (2.0 * _STEP * scale))
        return np.stack(columns, axis=1)

    found = least_squares(
        standing,
        first,
        jac=slopes,
        method="lm",
        x_scale="jac",
        ftol=_TOLERANCE,
        xtol=_TOLERANCE,
        gtol=_TOLERANCE,
        max_nfev=_MOST_CALLS,
    )
    if found.status <= 0 or not np.isfinite(found.cost):
        raise LinkageError(
            f"The fit did not settle within {_MOST_CALLS} steps.",
            cause="The points do not follow such a curve, or the start is far off.",
            mend="Check the points; then start nearer.",
        )
    best, inverse = _settled(standing, slopes, np.asarray(found.x, dtype=np.float64))
    residuals, u = parts(best)
    chi2 = float(np.sum(np.square(standing(best))))
    return CurveFit(best, inverse @ inverse.T, residuals, u, chi2, rows - len(best))


def _settled(
    standing: Callable[[Floats], Floats], slopes: Callable[[Floats], Floats], best: Floats
) -> tuple[Floats, Floats]:
    """Go the last steps, which a sum of squares cannot tell: it is flat to half the digits.

    Returns the coefficients, and the matrix whose square is their cofactors.
    """
    last = np.inf
    while True:
        inverse, across = _factored(slopes(best))
        step = inverse @ (across.T @ standing(best))
        size = float(np.linalg.norm(step / np.linalg.norm(inverse, axis=1)))
        if not 0.0 < size < 0.5 * last:
            return best, inverse
        best, last = best - step, size


def _factored(jacobian: Floats) -> tuple[Floats, Floats]:
    """Factor J = Q R with the columns scaled to a largest of 1; return R^-1 and Q."""
    largest = np.abs(jacobian).max(axis=0)
    if (largest > 0).all():
        across, triangle = np.linalg.qr(jacobian / largest)
        pivots = np.abs(np.diag(triangle))
        if pivots.min() > len(jacobian) * np.finfo(float).eps * pivots.max():
            return np.linalg.solve(triangle, np.eye(len(largest))) / largest[:, None], across
    raise LinkageError(
        f"The points do not tell the {len(largest)} unknowns apart.",
        mend="Take points at more places.",
    )
