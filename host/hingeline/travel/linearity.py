"""How far points lie from the best straight line, and from the line through their ends.

Terms as ISA-51.1 uses them (definitions from memory): the *independent* linearity is the
largest deviation from the line that makes it smallest, the *terminal-based* one from the
line through the first and last point, both of the average of up and down readings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Deviation:
    """The largest deviation of points from a line.

    Attributes
    ----------
    largest : float
        In the unit of y, 0 or more.
    intercept, slope : float
        Of the line.
    row : ndarray, shape (n,)
        Derivative of ``largest`` by each y, for its uncertainty; of one side where they
        differ, as for points exactly on a line.
    """

    largest: float
    intercept: float
    slope: float
    row: Floats


def independent(x: ArrayLike, y: ArrayLike) -> Deviation:
    """Find the line whose largest deviation from the points is least.

    Such a line is parallel to an edge of the points' convex hull, and half-way between it
    and the point farthest from it (Chebyshev's equal alternation for a straight line), so
    trying the line through every two points finds it.

    Parameters
    ----------
    x : array_like, shape (n,)
        All different, n >= 3.
    y : array_like, shape (n,)

    Returns
    -------
    Deviation
    """
    at, value = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    first, second = np.triu_indices(len(at), 1)
    slopes = (value[second] - value[first]) / (at[second] - at[first])
    above = value - slopes[:, None] * at
    top, bottom = above.max(axis=1), above.min(axis=1)
    on_edge = above[np.arange(len(first)), first]
    # A pair inside the strip may be parallel to the edge; only the edge itself will do.
    inside = np.minimum(top - on_edge, on_edge - bottom) > 1e-9 * (top - bottom)
    # Deviations alternate along x: the point on the other side lies between the edge's. Where
    # all points are on one line every pair is an edge, and only this bounds the uncertainty.
    rank = np.argsort(np.argsort(at))
    unfit = inside | (np.abs(rank[first] - rank[second]) < 2)
    best = int(np.argmin(np.where(unfit, np.inf, top - bottom)))
    edge, slope = (int(first[best]), int(second[best])), float(slopes[best])
    between = (at - at[edge[0]]) * (at - at[edge[1]]) < 0.0
    opposite = int(np.argmax(np.where(between, np.abs(above[best] - on_edge[best]), -1.0)))
    side = 1.0 if above[best, opposite] >= on_edge[best] else -1.0
    along = (at[opposite] - at[edge[0]]) / (at[edge[1]] - at[edge[0]])
    row = np.zeros(len(at))
    row[opposite] += 0.5 * side
    row[edge[0]] -= 0.5 * side * (1.0 - along)
    row[edge[1]] -= 0.5 * side * along
    half, middle = (top[best] - bottom[best]) / 2.0, (top[best] + bottom[best]) / 2.0
    return Deviation(float(half), float(middle), slope, row)


def terminal_based(x: ArrayLike, y: ArrayLike) -> Deviation:
    """Find the largest deviation from the line through the first and last point.

    Parameters and result as for `independent`; points in order of x.
    """
    at, value = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    along = (at - at[0]) / (at[-1] - at[0])
    away = value - (1.0 - along) * value[0] - along * value[-1]
    # The ends lie on the line by definition, so they never are the worst.
    worst = 1 + int(np.argmax(np.abs(away[1:-1])))
    side = 1.0 if away[worst] >= 0 else -1.0
    row = np.zeros(len(at))
    row[worst] += side
    row[0] -= side * (1.0 - along[worst])
    row[-1] -= side * along[worst]
    slope = float((value[-1] - value[0]) / (at[-1] - at[0]))
    return Deviation(float(np.abs(away[worst])), float(value[0] - slope * at[0]), slope, row)
