"""The linkage as an object: servo arm, control horn, rod, and what each does to the other.

Angles are zero at rest, right-handed about each crank's axis, in radians. How they are found,
and how far they are counted without wrapping, is told in `hingeline.linkage.loop`, which
solves any number of linkages at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from hingeline.errors import LinkageError
from hingeline.linkage.loop import (
    IN_LINE,
    Floats,
    branch_at_rest,
    closure_matrix,
    solve,
    solve_ratio,
    tip_circle,
)

__all__ = ["Crank", "Floats", "Linkage", "ratio", "shaft_angle", "surface_angle"]


@dataclass(frozen=True, eq=False)
class Crank:
    """One turning part, a servo arm or a control horn, as it stands at rest.

    Parameters
    ----------
    pivot_mm : array_like, shape (3,)
        Any point on the axis of rotation.
    axis : array_like, shape (3,)
        Direction of the axis, of any length; kept as a unit vector. Positive angles are
        right-handed about it.
    tip_mm : array_like, shape (3,)
        The hole that carries the rod, at rest.

    Raises
    ------
    LinkageError
        If a value is not finite, the axis has no direction, or the hole lies on the axis.
    """

    pivot_mm: Floats
    axis: Floats
    tip_mm: Floats

    def __post_init__(self) -> None:
        for name in ("pivot_mm", "axis", "tip_mm"):
            object.__setattr__(self, name, _point(name, getattr(self, name)))
        length = float(np.linalg.norm(self.axis))
        if length == 0.0:
            raise LinkageError(
                "axis (0, 0, 0) has no direction.",
                mend="Give a direction for the axis, such as (0, 1, 0).",
            )
        object.__setattr__(self, "axis", self.axis / length)
        arm = float(np.linalg.norm(self.tip_mm - self.pivot_mm))
        if self.radius_mm <= IN_LINE * arm:
            raise LinkageError(
                f"crank radius {self.radius_mm:g} mm must be more than 0 mm.",
                cause="The hole lies on the axis of rotation, so turning does not move it.",
                mend="Check the hole's distance from the axis.",
            )

    @cached_property
    def centre_mm(self) -> Floats:
        """Centre of the tip's circle, in mm, shape (3,)."""
        return tip_circle(self.pivot_mm, self.axis, self.tip_mm)[0]

    @cached_property
    def radius_mm(self) -> float:
        """Radius of the tip's circle, in mm."""
        return float(np.linalg.norm(self.tip_mm - self.centre_mm))

    def tip_at(self, angle_rad: ArrayLike) -> Floats:
        """Locate the tip at an angle from rest.

        Parameters
        ----------
        angle_rad : array_like, shape (...)
            Right-handed about the axis.

        Returns
        -------
        ndarray, shape (..., 3)
            Position in mm.
        """
        angle = np.asarray(angle_rad, dtype=np.float64)[..., np.newaxis]
        at_rest = self.tip_mm - self.centre_mm
        across = np.cross(self.axis, at_rest)
        moved: Floats = self.centre_mm + at_rest * np.cos(angle) + across * np.sin(angle)
        return moved


@dataclass(frozen=True, eq=False)
class Linkage:
    """A servo arm that drives a control horn through a rod.

    Parameters
    ----------
    arm, horn : Crank
        Both as they stand at rest, in one common frame.
    rod_mm : float or None, default None
        Distance between the two holes along the rod. None means made to fit: the distance
        at rest, so that the surface is at zero when the shaft is. With any other length the
        surface stands at ``surface_angle(linkage, 0)`` when the shaft is at zero.

    Raises
    ------
    LinkageError
        If the rod's length is not a positive number, or the line between the two holes at
        rest goes through the horn's axis, where a push turns the horn neither way.
    """

    arm: Crank
    horn: Crank
    rod_mm: float | None = None

    def __post_init__(self) -> None:
        rest = self.rest_distance_mm
        length = rest if self.rod_mm is None else float(self.rod_mm)
        if not (np.isfinite(length) and length > 0.0):
            raise LinkageError(
                f"rod length {length:g} mm must be a number above 0 mm.",
                mend="Measure the rod from hole to hole.",
            )
        if np.isnan(branch_at_rest(self.matrix)):
            raise LinkageError(
                "at rest the rod is in line with the horn (0 deg between them).",
                cause="A push then turns the horn neither way: which way it goes is chance.",
                mend="Move the arm or the horn so that rod and horn stand near 90 deg.",
            )

    @property
    def rest_distance_mm(self) -> float:
        """Distance between the two holes at rest, in mm: the rod that fits."""
        return float(np.linalg.norm(self.horn.tip_mm - self.arm.tip_mm))

    @property
    def length_mm(self) -> float:
        """Length of the rod from hole to hole, in mm, whether given or made to fit."""
        return self.rest_distance_mm if self.rod_mm is None else float(self.rod_mm)

    @cached_property
    def matrix(self) -> Floats:
        """The closure matrix M of `hingeline.linkage.loop`, shape (3, 3), in mm^2."""
        return closure_matrix(
            *(self.arm.pivot_mm, self.arm.axis, self.arm.tip_mm),
            *(self.horn.pivot_mm, self.horn.axis, self.horn.tip_mm),
            self.rod_mm,
        )


def surface_angle(linkage: Linkage, shaft_rad: ArrayLike) -> Floats:
    """Find the surface's angle for a shaft angle.

    Parameters
    ----------
    linkage : Linkage
    shaft_rad : array_like, shape (...)
        Right-handed about the arm's axis, from rest.

    Returns
    -------
    ndarray, shape (...)
        Radians, right-handed about the horn's axis; nan where the linkage does not close.
        A scalar gives a numpy float.
    """
    return solve(linkage.matrix, shaft_rad)


def shaft_angle(linkage: Linkage, surface_rad: ArrayLike) -> Floats:
    """Find the shaft angle that puts the surface at an angle.

    Parameters
    ----------
    linkage : Linkage
    surface_rad : array_like, shape (...)
        Right-handed about the horn's axis.

    Returns
    -------
    ndarray, shape (...)
        Radians, right-handed about the arm's axis, on the side of the dead points on which
        the arm rests; nan where the surface cannot be brought to that angle.

    Raises
    ------
    LinkageError
        If at rest the line between the two holes goes through the arm's axis.
    """
    if np.isnan(branch_at_rest(linkage.matrix.T)):
        raise LinkageError(
            "at rest the rod is in line with the arm (0 deg between them).",
            cause="The arm is at a dead point: two shaft angles give every surface angle.",
            mend="Fit the arm so that arm and rod stand near 90 deg at centre.",
        )
    return solve(linkage.matrix.T, surface_rad)


def ratio(linkage: Linkage, shaft_rad: ArrayLike) -> Floats:
    """Find how far the surface turns per turn of the shaft, d(surface)/d(shaft).

    Without friction it is also shaft torque per unit of hinge moment.

    Parameters
    ----------
    linkage : Linkage
    shaft_rad : array_like, shape (...)

    Returns
    -------
    ndarray, shape (...)
        Dimensionless: 0 at a dead point, beyond all bounds (huge or infinite) at a limit of
        closing, nan past it.
    """
    return solve_ratio(linkage.matrix, shaft_rad)


def _point(name: str, value: ArrayLike) -> Floats:
    point = np.array(value, dtype=np.float64)
    if point.shape != (3,) or not np.isfinite(point).all():
        raise LinkageError(
            f"{name} {value!r} is not three finite numbers.",
            mend="Give three numbers: aft, along the hinge line, off the surface.",
        )
    point.setflags(write=False)
    return point
