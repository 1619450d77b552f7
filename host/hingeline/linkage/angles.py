"""Angles between the rod and the two cranks: how well it pushes, how much its ends twist."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from hingeline.linkage.closure import Crank, Floats, Linkage, surface_angle


@dataclass(frozen=True, eq=False)
class RodAngles:
    """Angles of the rod to arm and horn at some shaft angles.

    Parameters
    ----------
    arm_rad, horn_rad : ndarray, shape (...)
        Transmission angle at each end: from the crank, seen from the hole towards its
        axis, to the rod, seen from the same hole, in the plane in which the crank turns.
        From 0 to pi; pi/2 pushes best, at 0 and at pi the rod is in line with the crank.
        Whether the rod lies to one side of the crank or to the other makes no difference.
    arm_out_of_plane_rad, horn_out_of_plane_rad : ndarray, shape (...)
        How far the rod leaves the plane in which the crank turns, from -pi/2 to pi/2:
        positive when the rod, leaving that crank's hole, runs to the side to which the
        crank's axis points. 0 throughout on a planar linkage.
    """

    arm_rad: Floats
    horn_rad: Floats
    arm_out_of_plane_rad: Floats
    horn_out_of_plane_rad: Floats


def rod_angles(linkage: Linkage, shaft_rad: ArrayLike) -> RodAngles:
    """Find the angles of the rod to arm and horn.

    Parameters
    ----------
    linkage : Linkage
    shaft_rad : array_like, shape (...)
        Right-handed about the arm's axis.

    Returns
    -------
    RodAngles
        nan where the linkage does not close.
    """
    arm_tip = linkage.arm.tip_at(shaft_rad)
    horn_tip = linkage.horn.tip_at(surface_angle(linkage, shaft_rad))
    rod = horn_tip - arm_tip
    arm, arm_out = _at_end(linkage.arm, arm_tip, rod)
    horn, horn_out = _at_end(linkage.horn, horn_tip, -rod)
    return RodAngles(arm, horn, arm_out, horn_out)


def _at_end(crank: Crank, tip: Floats, rod: Floats) -> tuple[Floats, Floats]:
    """Give the angle in the crank's plane and out of it, of a rod that leaves the tip."""
    inward = (crank.centre_mm - tip) / crank.radius_mm
    across = np.cross(crank.axis, inward)
    along, sideways, out = (np.sum(rod * way, axis=-1) for way in (inward, across, crank.axis))
    return np.arctan2(np.abs(sideways), along), np.arctan2(out, np.hypot(along, sideways))
