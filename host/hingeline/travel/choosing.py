"""Which shape the readings take: a low polynomial, or a curve through the means."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc

from hingeline.errors import TravelError
from hingeline.travel.leastsquares import LeastSquares, aicc, least_squares
from hingeline.travel.means import CLEARLY, Columns, FoldsBackError, Means, means_at_pulses
from hingeline.travel.shapes import MonotonePoints, Polynomial, Shape, pool_to_monotone
from hingeline.travel.slips import SCATTER_DEG

Floats = NDArray[np.float64]

#: A polynomial is given up when its misfit has less than this chance. Our own choice.
MISFIT = 0.001
#: Highest degree that a curve takes. Of 1000 simulated servos bent by 1 to 2 % of their travel,
#: in ways that are no polynomial, 3 were fitted worse than half a degree with degrees up to 3,
#: and none with degrees up to 5; AICc keeps the rest low, and all are proved monotone.
HIGHEST = 5
#: Degree of the richer polynomial that shows what the chosen one cannot follow.
RICHEST = 7


@dataclass(frozen=True, eq=False)
class Fitted:
    """A shape with what the least squares said of it.

    Attributes
    ----------
    shape : Polynomial or MonotonePoints
    half_gap_deg : float or None
    cofactors : ndarray
        Of the shape's parameters, then of the half gap.
    shifts : ndarray, shape (richer, parameters)
        How far the same parameters of each richer shape lie from these; the richest last.
    response : ndarray, shape (parameters, n)
        How far the same parameters move when a reading moves by 1, in order of the columns.
    chi2 : float
        In deg^2, of readings with the median uncertainty.
    dof : int
    degree : int
        Of a polynomial; 0 for a curve through points.
    """

    shape: Shape
    half_gap_deg: float | None
    cofactors: Floats
    shifts: Floats
    response: Floats
    chi2: float
    dof: int
    degree: int = 0


def choose(columns: Columns, free: slice) -> Fitted:
    """Find the shape that the readings take.

    Parameters
    ----------
    columns : Columns
    free : slice
        Places of the pulses clear of a stop; a polynomial is fitted to these only.

    Raises
    ------
    FoldsBackError
        If only a curve that folds back would do.
    TravelError
        If shape and play cannot be told apart.
    """
    means = means_at_pulses(columns, free)
    best = _best_polynomial(columns, free)
    if best is None or _misfits(best, columns, means, free):
        return _through_points(columns, means)
    return best


def _best_polynomial(columns: Columns, free: slice) -> Fitted | None:
    """Fit polynomials to the free readings; the best monotone one by AICc, if any."""
    solved: dict[int, LeastSquares] = {}
    ranked: list[tuple[float, int]] = []
    # Past a line, two pulses to spare: a cubic runs through five points of nearly any servo.
    highest = max(1, min(HIGHEST, free.stop - free.start - 3))
    for degree in range(1, RICHEST + 1):
        this = _polynomial(columns, free, degree)
        if this is None:
            break
        solved[degree] = this
        shape = Polynomial(_span(columns, free), tuple(this.coefficients[: degree + 1].tolist()))
        right_way = np.sign(shape.slopes(shape.span_us[0])) == columns.turn
        if degree <= highest and shape.monotone and right_way:
            n = len(this.residuals)
            ranked.append((float(aicc(this.chi2, n, n - this.dof, columns.floor_deg)), degree))
    if not ranked:
        return None
    degree = min(ranked)[1]
    best, richer = solved[degree], solved[max(solved)]
    # All in the richest one's terms: shape's coefficients first, half gap last.
    both = len(best.coefficients) - degree - 1
    size = len(richer.coefficients)
    cofactors, shifts = np.zeros((size, size)), np.zeros((max(solved) - degree + 1, size))
    for row, power in enumerate(range(degree, max(solved) + 1)):
        shifts[row, [*range(power + 1), *range(size - both, size)]] = solved[power].coefficients
    coefficients = shifts[0].copy()
    places = [*range(degree + 1), *range(size - both, size)]
    cofactors[np.ix_(places, places)] = best.cofactors
    response = np.zeros((size, len(columns.pulse)))
    response[np.ix_(places, np.flatnonzero(columns.at(free)))] = best.response
    powers = size - both
    return Fitted(
        Polynomial(_span(columns, free), tuple(coefficients[:powers].tolist())),
        float(coefficients[-1]) if both else None,
        cofactors,
        shifts - coefficients,
        response,
        best.chi2,
        best.dof,
        degree,
    )


def _polynomial(columns: Columns, free: slice, degree: int) -> LeastSquares | None:
    """Solve for a polynomial and the half gap; None if nothing would be left to check it."""
    use = columns.at(free)
    span = _span(columns, free)
    design = Polynomial(span, (0.0,) * (degree + 1)).value_rows(columns.pulse[use])
    side = columns.side[use]
    if np.ptp(side) > 0:
        design = np.column_stack([design, side])
    if len(columns.pulses[free]) < degree + 2 or len(side) <= design.shape[1]:
        return None
    return least_squares(design, columns.angle[use], columns.weight[use])


def _span(columns: Columns, free: slice) -> tuple[float, float]:
    pulses = columns.pulses[free]
    return float(pulses[0]), float(pulses[-1])


def _misfits(best: Fitted, columns: Columns, means: Means | None, free: slice) -> bool:
    """Test whether a polynomial leaves more than the scatter about the means explains."""
    noise_deg, dof = max(SCATTER_DEG, columns.floor_deg), 0
    chi2, spare = best.chi2, best.dof
    if means is not None:
        noise_deg, dof = means.noise_deg(columns.floor_deg)
        use = columns.at(free)
        about_means = float(np.sum((columns.weight * np.square(means.fit.residuals))[use]))
        chi2 -= about_means
        spare = int(free.stop - free.start) - best.degree - 1
    if spare < 1:
        return False
    ratio = max(chi2, 0.0) / spare / noise_deg**2
    # Without an estimate of the scatter its floor stands in, as if known exactly.
    return bool(fdtrc(spare, dof or 1e9, ratio) < MISFIT)


def _through_points(columns: Columns, means: Means | None) -> Fitted:
    """Lay a monotone curve through the means; refuse one that folds back."""
    if means is None:
        raise TravelError(
            "No smooth curve fits, and no pulse was read from both sides, so shape and play "
            "cannot be told apart.",
            mend="Read the same pulses rising and falling.",
        )
    count = len(columns.pulses)
    noise_deg, _ = means.noise_deg(columns.floor_deg)
    weights = 1.0 / np.diag(means.fit.cofactors)[:count]
    _refuse_fold(columns, columns.turn * means.angles_deg, noise_deg / np.sqrt(weights))
    level = columns.turn * means.angles_deg
    centres, _, pools = pool_to_monotone(columns.pulses, level, weights)
    if len(pools) < 2:
        raise TravelError(
            "The readings scatter so much that no movement is left in them.",
            cause="The arm, the gauge or the servo is loose.",
            mend="Check the arm's screw and how the gauge is held, then re-measure.",
        )
    knots, members = list(centres), list(pools)
    # A pool at an end is flat up to that end; between, it stands at its mean pulse.
    if len(pools[0]) > 1:
        knots[:1] = [columns.pulses[0], columns.pulses[pools[0][-1]]]
        members[:1] = [pools[0], pools[0]]
    if len(pools[-1]) > 1:
        knots[-1:] = [columns.pulses[pools[-1][0]], columns.pulses[-1]]
        members[-1:] = [pools[-1], pools[-1]]
    pooling = np.zeros((len(knots), count))
    for row, pool in enumerate(members):
        pooling[row, pool] = weights[pool] / weights[pool].sum()
    angles = pooling @ means.angles_deg
    cofactors = means.fit.cofactors
    if means.half_gap_deg is not None:
        pooling = np.block(
            [[pooling, np.zeros((len(knots), 1))], [np.zeros((1, count)), np.ones((1, 1))]]
        )
    shape = MonotonePoints(tuple(float(k) for k in knots), tuple(angles.tolist()))
    return Fitted(
        shape,
        means.half_gap_deg,
        pooling @ cofactors @ pooling.T,
        np.zeros((1, len(pooling))),
        pooling @ means.fit.response,
        means.fit.chi2,
        means.fit.dof,
    )


def _refuse_fold(columns: Columns, level: Floats, u_deg: Floats) -> None:
    """Refuse means that run backwards by clearly more than their scatter."""
    high = 0
    for place in range(1, len(level)):
        back = level[high] - level[place]
        if back > CLEARLY * math.hypot(u_deg[high], u_deg[place]):
            raise FoldsBackError(
                f"The curve folds back: the arm stands {back:.1f} deg further at "
                f"{columns.pulses[high]:g} us than at {columns.pulses[place]:g} us.",
                cause="No servo turns back on a longer pulse; a reading is wrong, the arm "
                "slipped, or the gauge moved.",
                mend="Check the arm's screw and the gauge, then re-measure these pulses.",
            )
        if level[place] >= level[high]:
            high = place
