"""Readings of one servo to its travel curve.

In order: name the slips; find where the servo stood on a stop; choose a line, or a polynomial
of low degree, by AICc among those that are monotone; where none holds, take a monotone curve
through the means at each pulse; work out the figures.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from hingeline.errors import TravelError
from hingeline.travel.choosing import choose
from hingeline.travel.curve import Stop, TravelCurve
from hingeline.travel.figures import Estimate, figures
from hingeline.travel.leastsquares import least_squares
from hingeline.travel.means import Columns, columns_of, find_free
from hingeline.travel.notes import notes_on
from hingeline.travel.reading import Reading
from hingeline.travel.schedule import refuse_turning
from hingeline.travel.shapes import MonotonePoints, Shape
from hingeline.travel.slips import find_slips


def fit(
    readings: Sequence[Reading],
    *,
    nominal_centre_us: float = 1500.0,
    u_pulse_us: float = 0.0,
    together_deg: Sequence[Sequence[float]] = (),
) -> TravelCurve:
    """Fit the travel curve of one servo.

    Parameters
    ----------
    readings : sequence of Reading
        In any order, at three different pulses or more, best from both directions.
    nominal_centre_us : float
        The pulse that is called centre, in us.
    u_pulse_us : float
        Standard uncertainty of each pulse by itself, in us. It counts through the servo's
        rate, as a further uncertainty of the reading.
    together_deg : sequence of sequence of float
        What moves readings together and so does not average out, as a linkage's dimensions
        or the zero of a gauge: for each such effect how far one standard uncertainty of it
        moves each reading, in degrees, in the order of the readings.

    Returns
    -------
    TravelCurve
        With every reading in it; suspects are named and had no weight.

    Raises
    ------
    FoldsBackError
        If the arm runs backwards on longer pulses.
    TravelError
        If the arm kept turning or did not move; if the readings are too few,
        or contradict each other without telling which is wrong; if an uncertainty is not
        finite, or ``together_deg`` is not as long as the readings.
    """
    if not (math.isfinite(nominal_centre_us) and nominal_centre_us > 0):
        raise TravelError(
            f"A centre of {nominal_centre_us} us is not a pulse.", mend="Give it in us, as 1500."
        )
    _refuse_unfit_uncertainty(readings, u_pulse_us, together_deg)
    refuse_turning(readings)
    _refuse_few(readings, "There are")
    suspects = find_slips(readings)
    without = {suspect.index for suspect in suspects}
    kept = [reading for index, reading in enumerate(readings) if index not in without]
    _refuse_few(kept, "Without the suspects there are")
    effects = len(together_deg)
    together_deg = (*together_deg, *_shared(readings))
    shifts = [[shift for i, shift in enumerate(all_) if i not in without] for all_ in together_deg]
    columns = columns_of(_with_pulses(kept, u_pulse_us), shifts)
    free = find_free(columns)
    if free.stop - free.start < 3:
        raise TravelError(
            f"Only {free.stop - free.start} of {len(columns.pulses)} pulses moved the arm "
            "freely; it stands on its stops at the others.",
            mend="Calibrate over a narrower range, with closer pulses.",
        )
    best = choose(columns, free)
    estimate = Estimate.of(best, columns, _limits(columns, free, best.shape), effects)
    found = figures(estimate, columns, free, nominal_centre_us)
    stops = _stops(columns, free, estimate.variance)
    curve = TravelCurve(
        shape=best.shape,
        covariance=tuple(tuple(row) for row in estimate.covariance.tolist()),
        together=tuple(tuple(row) for row in estimate.common[:effects].tolist()),
        u_common_deg=estimate.u_common_deg,
        dof=best.dof,
        scale=estimate.scale,
        range_us=(float(columns.pulses[0]), float(columns.pulses[-1])),
        limits_us=estimate.limits_us,
        limits_us_u=_limits_u(estimate.limits_us, stops),
        stops=stops,
        nominal_centre_us=float(nominal_centre_us),
        approach=columns.approach,
        suspects=suspects,
        readings=tuple(readings),
        notes=(),
        **found,
    )
    return replace(curve, notes=notes_on(curve))


def _with_pulses(readings: Sequence[Reading], u_pulse_us: float) -> Sequence[Reading]:
    """Add what an uncertain pulse does to a reading, by the slope of the line through all."""
    if not u_pulse_us:
        return readings
    pulses, angles = np.asarray([(reading.pulse_us, reading.angle_deg) for reading in readings]).T
    design = np.stack([np.ones_like(pulses), pulses - pulses.mean()], axis=1)
    u_deg = abs(float(least_squares(design, angles).coefficients[1])) * u_pulse_us
    return [replace(reading, u_deg=math.hypot(reading.u_deg, u_deg)) for reading in readings]


def _shared(readings: Sequence[Reading]) -> list[list[float]]:
    """Return what the readings of one gauge share, as a row for each kind of gauge."""
    rows = [
        [reading.u_common_deg if reading.kind == kind else 0.0 for reading in readings]
        for kind in ("shaft", "surface")
    ]
    return [row for row in rows if any(row)]


def _refuse_unfit_uncertainty(
    readings: Sequence[Reading], u_pulse_us: float, together_deg: Sequence[Sequence[float]]
) -> None:
    if not (math.isfinite(u_pulse_us) and u_pulse_us >= 0):
        raise TravelError(
            f"An uncertainty of {u_pulse_us} us of a pulse is not 0 or more.",
            mend="Give it in us, as 0.3.",
        )
    for shifts in together_deg:
        if len(shifts) != len(readings) or not np.isfinite(shifts).all():
            raise TravelError(
                f"What moves the readings together has {len(shifts)} values, or one that is not "
                f"finite, for {len(readings)} readings.",
                mend="Give one number for each reading, 0 where it does not move it.",
            )


def _refuse_few(readings: Sequence[Reading], there_are: str) -> None:
    pulses = {reading.pulse_us for reading in readings}
    if len(pulses) < 3:
        raise TravelError(
            f"{there_are} readings at {len(pulses)} pulses; 3 are the least.",
            mend="Read the servo at low, centre and high at least, better at ten pulses.",
        )


def _limits(columns: Columns, free: slice, shape: Shape) -> tuple[float, float]:
    """Return the pulses of use: clear of stops, and off the flat ends of a pooled curve."""
    low, high = float(columns.pulses[free.start]), float(columns.pulses[free.stop - 1])
    if isinstance(shape, MonotonePoints):
        knots, angles = shape.pulses_us, shape.angles_deg
        low = max(low, knots[1]) if angles[0] == angles[1] else low
        high = min(high, knots[-2]) if angles[-1] == angles[-2] else high
    if low >= high:
        raise TravelError(
            f"Only at {low:g} us does the arm move clearly; it stands still at the other pulses.",
            mend="Calibrate over a narrower range, with closer pulses.",
        )
    return low, high


def _limits_u(
    limits_us: tuple[float, float], stops: tuple[Stop | None, Stop | None]
) -> tuple[float, float]:
    """Return how uncertain the beginning of each stop is: anywhere up to the pulse on it."""
    low, high = (
        abs(stop.pulse_us - limit) / math.sqrt(12.0) if stop else 0.0
        for limit, stop in zip(limits_us, stops, strict=True)
    )
    return low, high


def _stops(columns: Columns, free: slice, variance: float) -> tuple[Stop | None, Stop | None]:
    """Describe the stops: where the arm stood at the pulses that did not move it."""

    def stop(places: slice, pulse_us: float) -> Stop | None:
        use = columns.at(places)
        if not use.any():
            return None
        weight = columns.weight[use]
        angle = float(np.average(columns.angle[use], weights=weight))
        common = np.average(columns.together[:, use], axis=1, weights=weight)
        u_deg = math.sqrt(variance / weight.sum() + float(common @ common))
        return Stop(float(pulse_us), angle, u_deg)

    pulses = columns.pulses
    low = stop(slice(0, free.start), pulses[max(free.start - 1, 0)])
    return low, stop(slice(free.stop, None), pulses[min(free.stop, len(pulses) - 1)])
