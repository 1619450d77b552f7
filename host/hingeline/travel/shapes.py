"""The two shapes of a mean travel curve: a polynomial, or a monotone run through points.

Both answer the same questions, and tell how each answer depends on their parameters
(``value_rows``, ``slope_rows``), so that one covariance serves every figure.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np
from numpy.polynomial import polynomial
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import PchipInterpolator

from hingeline.errors import TravelError

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Polynomial:
    """A polynomial in z = (pulse - middle) / half width of ``span_us``, which is -1 to 1.

    Attributes
    ----------
    span_us : tuple of float
        Lowest and highest pulse for which it holds, in us.
    coefficients : tuple of float
        In degrees, constant first. The highest may be 0: powers that were not fitted, and
        count in the uncertainty only.
    """

    kind: ClassVar[str] = "polynomial"
    span_us: tuple[float, float]
    coefficients: tuple[float, ...]

    @property
    def parameters(self) -> int:
        """Number of parameters."""
        return len(self.coefficients)

    @property
    def degree(self) -> int:
        """Highest power whose coefficient is not 0."""
        return max((power for power, c in enumerate(self.coefficients) if c), default=0)

    def values(self, pulse_us: ArrayLike) -> Floats:
        """Angles in degrees."""
        return np.asarray(polynomial.polyval(self.scaled(pulse_us), self.coefficients))

    def slopes(self, pulse_us: ArrayLike) -> Floats:
        """Slopes in deg/us."""
        return np.asarray(self.slope_rows(pulse_us) @ np.asarray(self.coefficients))

    def value_rows(self, pulse_us: ArrayLike) -> Floats:
        """Differentiate the values by each parameter, shape (..., parameters)."""
        return np.asarray(self.scaled(pulse_us)[..., None] ** np.arange(self.parameters))

    def slope_rows(self, pulse_us: ArrayLike) -> Floats:
        """Differentiate the slopes by each parameter, shape (..., parameters)."""
        powers = self.value_rows(pulse_us)
        rows = np.zeros_like(powers)
        rows[..., 1:] = powers[..., :-1] * np.arange(1, self.parameters)
        return rows / self._half_us

    def between_u(self, pulse_us: ArrayLike) -> Floats:
        """Return 0: a polynomial's own uncertainty covers all of its span."""
        return np.zeros(np.shape(pulse_us))

    def slope_between_u(self, pulse_us: ArrayLike) -> Floats:
        """Return 0, for the same reason."""
        return np.zeros(np.shape(pulse_us))

    def scaled(self, pulse_us: ArrayLike) -> Floats:
        """Pulses as z, -1 to 1 over the span."""
        return (np.asarray(pulse_us, dtype=np.float64) - sum(self.span_us) / 2.0) / self._half_us

    @property
    def monotone(self) -> bool:
        """Whether it strictly rises, or strictly falls, over the whole span.

        A slope has its extremes at the ends and where its own derivative is 0; of one sign
        at all of these, it is of one sign everywhere.
        """
        slope = polynomial.polyder(self.coefficients[: self.degree + 1])
        places = [-1.0, 1.0]
        if self.degree > 1:
            turning = polynomial.polyroots(polynomial.polyder(slope))
            places += [float(root.real) for root in turning if abs(root.real) < 1.0]
        slopes = polynomial.polyval(np.asarray(places), slope)
        return bool((slopes > 0).all() or (slopes < 0).all())

    @property
    def _half_us(self) -> float:
        return (self.span_us[1] - self.span_us[0]) / 2.0


@dataclass(frozen=True)
class MonotonePoints:
    """A smooth monotone curve through points: a piecewise cubic without overshoot.

    The interpolation is that of F. N. Fritsch and J. Butland, SIAM J. Sci. Stat. Comput. 5
    (1984) 300-304, as scipy provides it.

    Attributes
    ----------
    pulses_us : tuple of float
        Rising, in us, two or more.
    angles_deg : tuple of float
        Never rising and falling both, in degrees. These are the parameters.
    """

    kind: ClassVar[str] = "points"
    pulses_us: tuple[float, ...]
    angles_deg: tuple[float, ...]

    @property
    def span_us(self) -> tuple[float, float]:
        """Lowest and highest pulse for which it holds, in us."""
        return self.pulses_us[0], self.pulses_us[-1]

    @property
    def parameters(self) -> int:
        """Number of parameters."""
        return len(self.pulses_us)

    def values(self, pulse_us: ArrayLike) -> Floats:
        """Angles in degrees."""
        return np.asarray(self._curve(np.asarray(pulse_us, dtype=np.float64)))

    def slopes(self, pulse_us: ArrayLike) -> Floats:
        """Slopes in deg/us."""
        return np.asarray(self._curve(np.asarray(pulse_us, dtype=np.float64), 1))

    def value_rows(self, pulse_us: ArrayLike) -> Floats:
        """Differentiate the values by each parameter, shape (..., parameters)."""
        return self._rows(pulse_us, 0)

    def slope_rows(self, pulse_us: ArrayLike) -> Floats:
        """Differentiate the slopes by each parameter, shape (..., parameters)."""
        return self._rows(pulse_us, 1)

    def between_u(self, pulse_us: ArrayLike) -> Floats:
        """Return the standard uncertainty of what happens between the points, in degrees.

        Between two points a curve that bends one way keeps between their chord and the
        nearer of the straight lines that come in from the next pieces; where it changes its
        bend, between those two lines. It never leaves the box of the two points. Anywhere
        between these bounds: a rectangular distribution.
        """
        x, y = np.asarray(self.pulses_us), np.asarray(self.angles_deg)
        pulse = np.asarray(pulse_us, dtype=np.float64)
        piece = np.clip(np.searchsorted(x, pulse, side="right") - 1, 0, len(x) - 2)
        chord = np.interp(pulse, x, y)
        slope = np.diff(y) / np.diff(x)
        before, after = np.maximum(piece - 1, 0), np.minimum(piece + 1, len(slope) - 1)
        from_left = y[piece] + slope[before] * (pulse - x[piece])
        from_right = y[piece + 1] + slope[after] * (pulse - x[piece + 1])
        box = np.minimum(y[piece], y[piece + 1]), np.maximum(y[piece], y[piece + 1])
        left = np.clip(from_left, *box) - chord
        right = np.clip(from_right, *box) - chord
        # An end piece has one neighbour only, which must do for both.
        left, right = np.where(piece > 0, left, right), np.where(after > piece, right, left)
        same = left * right >= 0
        width = np.where(same, np.minimum(np.abs(left), np.abs(right)), np.abs(left - right))
        # Beside a corner the smooth curve itself leaves these bounds.
        width = np.maximum(width, np.abs(self.values(pulse) - chord))
        return np.asarray(width / np.sqrt(12.0))

    def slope_between_u(self, pulse_us: ArrayLike) -> Floats:
        """Return the standard uncertainty of a slope from what happens between the points.

        The slope at a place may be any of those of the pieces near it, the one it lies in
        and two on either side of a point: a rectangular distribution. In deg/us.
        """
        x, y = np.asarray(self.pulses_us), np.asarray(self.angles_deg)
        pulse = np.asarray(pulse_us, dtype=np.float64)
        slopes = np.diff(y) / np.diff(x)
        pieces = np.arange(len(slopes))
        # From the first piece near the place to the last, inclusive.
        first = np.searchsorted(x, pulse, side="left") - 2
        last = np.searchsorted(x, pulse, side="right")
        near = (pieces >= first[..., None]) & (pieces <= last[..., None])
        most = np.where(near, slopes, -np.inf).max(axis=-1)
        least = np.where(near, slopes, np.inf).min(axis=-1)
        return np.asarray((most - least) / np.sqrt(12.0))

    @cached_property
    def _curve(self) -> PchipInterpolator:
        return PchipInterpolator(self.pulses_us, self.angles_deg)

    def _rows(self, pulse_us: ArrayLike, order: int) -> Floats:
        # The curve depends on its points through harmonic means; central differences, on a
        # step far below any gauge, are simpler than those derivatives and exact enough.
        count, step = self.parameters, 1e-4
        moved = np.asarray(self.angles_deg)[:, None] + step * np.hstack(
            [np.eye(count), -np.eye(count)]
        )
        both = PchipInterpolator(self.pulses_us, moved)(
            np.asarray(pulse_us, dtype=np.float64), order
        )
        return np.asarray((both[..., :count] - both[..., count:]) / (2.0 * step))


Shape = Polynomial | MonotonePoints


def pool_to_monotone(
    pulses_us: Floats, angles_deg: Floats, weights: Floats
) -> tuple[Floats, Floats, list[list[int]]]:
    """Make angles strictly rising by pooling neighbours that are out of order.

    The pool-adjacent-violators algorithm (R. E. Barlow et al., Statistical Inference under
    Order Restrictions, Wiley 1972), with equal neighbours pooled as well, because a flat
    piece has no inverse. A pool stands at its mean pulse.

    Parameters
    ----------
    pulses_us, angles_deg, weights : ndarray, shape (n,)
        In order of pulse.

    Returns
    -------
    pulses_us, angles_deg : ndarray, shape (m,)
        Of the pools, both strictly rising.
    pools : list of list of int
        Which points went into each.
    """
    pools: list[list[int]] = []

    def level(pool: list[int]) -> float:
        return float(np.average(angles_deg[pool], weights=weights[pool]))

    for index in range(len(pulses_us)):
        pools.append([index])
        while len(pools) > 1 and level(pools[-2]) >= level(pools[-1]):
            last = pools.pop()
            pools[-1] += last
    centres = [float(np.average(pulses_us[pool], weights=weights[pool])) for pool in pools]
    return np.asarray(centres), np.asarray([level(pool) for pool in pools]), pools


def invert(shape: Shape, angle_deg: ArrayLike, between_us: tuple[float, float]) -> Floats:
    """Find the pulses at which a monotone shape has given values, by bisection.

    Parameters
    ----------
    angle_deg : array_like, shape (...)
        Within the shape's values at the two pulses, else the nearer pulse is returned.
    between_us : tuple of float
        Part of the span on which the shape is strictly monotone.

    Returns
    -------
    ndarray, shape (...)
        In us, to the last bits.
    """
    target = np.asarray(angle_deg, dtype=np.float64)
    low, high = np.full(target.shape, between_us[0]), np.full(target.shape, between_us[1])
    rising = shape.values(between_us[1]) > shape.values(between_us[0])
    for _ in range(60):  # 60 halvings of any pulse range are below the spacing of doubles
        middle = (low + high) / 2.0
        beyond = (shape.values(middle) > target) == rising
        low, high = np.where(beyond, low, middle), np.where(beyond, middle, high)
    return np.asarray((low + high) / 2.0)


def shape_from_dict(data: dict[str, object]) -> Shape:
    """Rebuild a shape from its plain form: ``kind`` and the class's attributes."""
    kind = data.get("kind")
    for known in (Polynomial, MonotonePoints):
        if kind == known.kind:
            return known(**{k: tuple(v) for k, v in data.items() if k != "kind"})  # type: ignore[arg-type]
    raise TravelError(
        f'A travel curve of kind "{kind}" is not known.',
        mend="Calibrate the servo again, or use a newer Hingeline.",
    )
