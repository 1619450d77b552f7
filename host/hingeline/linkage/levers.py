"""How long the cranks are to the rod: what turns forces into torques and play into angles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from hingeline.linkage.closure import Crank, Floats, Linkage, surface_angle


@dataclass(frozen=True, eq=False)
class Levers:
    """Effective levers of arm and horn at some shaft angles.

    Parameters
    ----------
    arm_mm, horn_mm : ndarray, shape (...)
        How far the crank's hole moves along the rod, from the arm's hole towards the horn's,
        per radian that the crank turns: its radius times the sine of the transmission angle
        and, where the rod leaves the crank's plane, the cosine of that. Signed; 0 where
        rod and crank are in line. arm_mm / horn_mm is `hingeline.linkage.closure.ratio`.
    """

    arm_mm: Floats
    horn_mm: Floats


def levers(linkage: Linkage, shaft_rad: ArrayLike) -> Levers:
    """Find the effective levers of arm and horn.

    Parameters
    ----------
    linkage : Linkage
    shaft_rad : array_like, shape (...)
        Right-handed about the arm's axis.

    Returns
    -------
    Levers
        nan where the linkage does not close.
    """
    arm_tip = linkage.arm.tip_at(shaft_rad)
    horn_tip = linkage.horn.tip_at(surface_angle(linkage, shaft_rad))
    along = (horn_tip - arm_tip) / linkage.length_mm
    return Levers(_lever(linkage.arm, arm_tip, along), _lever(linkage.horn, horn_tip, along))


def _lever(crank: Crank, tip: Floats, along: Floats) -> Floats:
    lever: Floats = np.sum(along * np.cross(crank.axis, tip - crank.centre_mm), axis=-1)
    return lever
