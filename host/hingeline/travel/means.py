"""Readings as columns, their means at each pulse, and where the servo still moves freely."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hingeline.errors import TravelError, UnfitError
from hingeline.travel.leastsquares import LeastSquares, least_squares
from hingeline.travel.reading import Approach, Reading
from hingeline.travel.slips import SCATTER_DEG

Floats = NDArray[np.float64]

#: An end piece whose slope is under this part of the middle's is a stop. Our own choice.
STOP_SLOPE = 0.25
#: The outermost piece also counts when its slope is under this part of its neighbour's: a
#: stop between two pulses. Softer servos lose less from one piece to the next. Our own choice.
SUDDEN = 0.6
#: How many standard deviations a stop's missing movement, or a fold, must stand out by.
CLEARLY = 4.0


class FoldsBackError(UnfitError):
    """The arm runs backwards on longer pulses, by clearly more than the readings scatter."""


@dataclass(frozen=True, eq=False)
class Columns:
    """Readings in order of pulse, so that the order in which they were given has no effect.

    Attributes
    ----------
    pulse, angle : ndarray, shape (n,)
        In us and degrees.
    weight : ndarray, shape (n,)
        (``floor_deg`` / u)^2.
    side : ndarray, shape (n,)
        +1 where the arm came from greater angles, -1 from lesser.
    rising : ndarray of bool, shape (n,)
        Whether the pulse came from below.
    pulses : ndarray, shape (k,)
        The different pulses.
    place : ndarray of int, shape (n,)
        Each reading's place in ``pulses``.
    floor_deg : float
        Median uncertainty of a reading from the gauge alone: the least scatter believed.
    turn : float
        +1 when the angle rises with the pulse, else -1.
    together : ndarray, shape (m, n)
        What moves readings together: how far one standard uncertainty of each such effect
        moves each reading, in degrees.
    """

    pulse: Floats
    angle: Floats
    weight: Floats
    side: Floats
    rising: NDArray[np.bool_]
    pulses: Floats
    place: NDArray[np.intp]
    floor_deg: float
    turn: float
    together: Floats

    @property
    def approach(self) -> Approach | None:
        """The only approach that occurs; None when both do."""
        if self.rising.all():
            return "rising"
        return None if self.rising.any() else "falling"

    def at(self, places: slice) -> NDArray[np.bool_]:
        """Mark the readings at some of the pulses."""
        marked = np.zeros(len(self.pulses), dtype=bool)
        marked[places] = True
        return marked[self.place]


def columns_of(
    readings: Sequence[Reading], together_deg: Sequence[Sequence[float]] = ()
) -> Columns:
    """Sort readings into columns.

    Parameters
    ----------
    readings : sequence of Reading
        In any order.
    together_deg : sequence of sequence of float
        See ``Columns.together``; each as long as the readings and in their order.

    Raises
    ------
    FoldsBackError
        If the arm stands at the end where it stood at the beginning, but moved between.
    TravelError
        If the arm moved no more than the gauge can tell.
    """

    def key(place: int) -> tuple[float, str, float, float]:
        reading = readings[place]
        return reading.pulse_us, reading.approach, reading.angle_deg, reading.u_deg

    order = sorted(range(len(readings)), key=key)
    ordered = [readings[place] for place in order]
    together = np.asarray(together_deg, dtype=np.float64).reshape(-1, len(readings))[:, order]
    pulse, angle, u = np.asarray([(r.pulse_us, r.angle_deg, r.u_deg) for r in ordered]).T
    rising = np.asarray([reading.approach == "rising" for reading in ordered])
    pulses, place = np.unique(pulse, return_inverse=True)
    floor = float(np.median(u))
    moved = float(angle[place == len(pulses) - 1].mean() - angle[place == 0].mean())
    if abs(moved) <= CLEARLY * floor:
        level = np.bincount(place, angle) / np.bincount(place)
        far = int(np.argmax(np.abs(level - level[0])))
        if abs(level[far] - level[0]) > 2.0 * CLEARLY * floor:
            raise FoldsBackError(
                f"The curve folds back: the arm stands at the same place at {pulses[0]:g} and "
                f"{pulses[-1]:g} us, and {abs(level[far] - level[0]):.1f} deg away at "
                f"{pulses[far]:g} us.",
                cause="No servo turns back on a longer pulse; the readings' signs are wrong, or "
                "it keeps turning.",
                mend="Check on which side of zero each angle is, then re-measure.",
            )
        raise TravelError(
            f"Between {pulses[0]:g} and {pulses[-1]:g} us the arm moved {abs(moved):.2g} deg, "
            f"less than the gauge can tell ({CLEARLY * floor:.2g} deg).",
            cause="The servo did not follow the pulses, or the range is too small.",
            mend="Check power, lead and pulse class; then calibrate over a wider range.",
        )
    turn = 1.0 if moved > 0 else -1.0
    side = np.where(rising, -turn, turn)
    weight = np.square(floor / u)
    return Columns(pulse, angle, weight, side, rising, pulses, place, floor, turn, together)


def find_free(columns: Columns) -> slice:
    """Find the places of the pulses at which the arm was clear of its stops.

    An end piece counts as stopped when it moves less than `STOP_SLOPE` of what the middle
    half of the range lets expect, by clearly more than scatter. The pulse at its inner end
    was on the stop already if it stands where the stop is, as well as the gauge can tell.
    """
    count = np.bincount(columns.place).astype(np.float64)
    level = columns.turn * np.bincount(columns.place, columns.angle) / count
    pulses = columns.pulses
    quarters = pulses[0] + np.ptp(pulses) * np.asarray([0.25, 0.75])
    middle = np.diff(np.interp(quarters, pulses, level))[0] / np.diff(quarters)[0]
    expected = middle * np.diff(pulses)
    missing = expected - np.diff(level)
    reading = np.sqrt(1 / count[1:] + 1 / count[:-1])
    scatter = max(columns.floor_deg, SCATTER_DEG) * reading
    # What runs backwards is no stop but a fold, which the shape will be refused for.
    backwards = np.diff(level) < -CLEARLY * columns.floor_deg * reading
    short = (missing > CLEARLY * scatter) & ~backwards
    stopped = short & (missing > (1.0 - STOP_SLOPE) * expected)
    slope = np.diff(level) / np.diff(pulses)
    stopped[0] |= short[0] and slope[0] < SUDDEN * slope[1]
    stopped[-1] |= short[-1] and slope[-1] < SUDDEN * slope[-2]
    at_stop = np.diff(level) < CLEARLY * columns.floor_deg * reading
    low, high = 0, len(pulses)
    while low < high - 2 and stopped[low]:
        low += 1
    if low and at_stop[low - 1]:
        low += 1
    while high - 2 > low and stopped[high - 2]:
        high -= 1
    if high < len(pulses) and at_stop[high - 1]:
        high -= 1
    return slice(low, max(high, low))


@dataclass(frozen=True, eq=False)
class Means:
    """The mean at each pulse, with the up/down difference taken out.

    Attributes
    ----------
    angles_deg : ndarray, shape (k,)
        In the order of ``Columns.pulses``.
    half_gap_deg : float or None
        None when there is one approach only.
    fit : LeastSquares
        Its coefficients are the angles, then the half gap where there is one.
    """

    angles_deg: Floats
    half_gap_deg: float | None
    fit: LeastSquares

    def noise_deg(self, floor_deg: float) -> tuple[float, int]:
        """Return the scatter of a reading about its mean, and its degrees of freedom.

        With too little to estimate it from, `SCATTER_DEG` and 0 are returned.
        """
        if self.fit.dof >= 3:
            return max(self.fit.scale, floor_deg), self.fit.dof
        return max(SCATTER_DEG, floor_deg), 0


def means_at_pulses(columns: Columns, free: slice) -> Means | None:
    """Average the readings at each pulse, with one common half gap where the arm is free.

    Returns
    -------
    Means or None
        None when both approaches occur but no free pulse has both, so that the gap cannot
        be told from the shape.
    """
    count = len(columns.pulses)
    design = (columns.place[:, None] == np.arange(count)).astype(np.float64)
    both = columns.approach is None
    if both:
        # On a stop the arm stands where the stop is, whichever way it came.
        side = np.where(columns.at(free), columns.side, 0.0)
        seen = [set(side[columns.place == place]) for place in range(count)]
        if not any({-1.0, 1.0} <= sides for sides in seen):
            return None
        design = np.column_stack([design, side])
    fit = least_squares(design, columns.angle, columns.weight)
    gap = float(fit.coefficients[-1]) if both else None
    return Means(fit.coefficients[:count], gap, fit)
