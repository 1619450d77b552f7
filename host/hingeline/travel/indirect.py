"""What a linkage's own doubt does to readings that were taken at the surface.

A shaft angle worked out from the surface is wrong where the linkage's dimensions are; all
readings are then wrong together, and no number of them averages it out.
"""

from __future__ import annotations

from collections.abc import Sequence
from zlib import crc32

import numpy as np

from hingeline.linkage.builds import FACTORS, Errors, built
from hingeline.linkage.closure import Linkage, ratio, surface_angle
from hingeline.linkage.stacks import solve_stack
from hingeline.travel.reading import Reading


def mark_of(linkage: Linkage) -> str:
    """Return a short mark of a linkage's dimensions, to tell whether two are the same."""
    parts = [(crank.pivot_mm, crank.axis, crank.tip_mm) for crank in (linkage.arm, linkage.horn)]
    # Rounded to a nanometre, and without negative zeros, so that arithmetic does not tell.
    numbers = np.round([*np.ravel(parts), linkage.length_mm], 6) + 0.0
    return f"{crc32(numbers.tobytes()):08x}"


def moved_by_linkage(
    readings: Sequence[Reading], linkage: Linkage, errors: Errors | None = None
) -> tuple[tuple[float, ...], ...]:
    """Find how far the errors of a linkage move the readings that were taken through it.

    Parameters
    ----------
    readings : sequence of Reading
        Those of kind "shaft" are not moved.
    linkage : Linkage
        The linkage as it was put into the readings.
    errors : Errors or None
        One standard uncertainty of each of its dimensions, the rod being adjusted so that
        the surface is true with the shaft at zero; None: those of careful building.

    Returns
    -------
    tuple of tuple of float
        One row for each of `hingeline.linkage.builds.FACTORS`: how far one standard
        uncertainty of it moves each reading, in degrees of shaft; for ``together_deg`` of
        `hingeline.travel.fit.fit`. A dimension known exactly has no row.
    """
    sizes = np.asarray((errors or Errors()).sizes())
    shaft = np.radians([reading.angle_deg for reading in readings])
    through = np.asarray([reading.kind == "surface" for reading in readings])
    surface = solve_stack(built(linkage, np.diag(sizes), fitted=True), shaft)
    off = surface - surface_angle(linkage, shaft)[:, None]
    # Seen at the surface is what it is: the shaft that is thought to be there moves back.
    moved = np.where(through[:, None], -np.degrees(off) / ratio(linkage, shaft)[:, None], 0.0)
    kept = [place for place in range(len(FACTORS)) if sizes[place] > 0.0 and through.any()]
    return tuple(tuple(moved[:, place].tolist()) for place in kept)
