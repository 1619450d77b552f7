"""From the words of the model file to a linkage in the hinge frame.

Hinge frame of a surface, right-handed: x aft, z off the surface on the side where the
horn stands, y along the hinge line; the origin on the hinge line, in the plane in which
the horn's hole moves. Left and right surfaces that are mirror images carry the same
words; which way "along" runs in y is worked out here and nowhere else.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from hingeline.errors import LinkageError, ModelError
from hingeline.linkage.closure import Crank, Floats, Linkage
from hingeline.model.schema import Direction, Servo, Surface

#: How far the square position may be from the way the file says the arm points, in degrees.
POINTS_ASTRAY_DEG = 60.0
#: The hinge line in the hinge frame.
HINGE_AXIS = np.array([0.0, 1.0, 0.0])


def along_sign(surface: Surface) -> int:
    """Return +1 when "along" (outboard, right or up) runs with y, -1 when against it.

    With z towards the horn side and x aft, y points right when the horn is on top, left
    when it is at the bottom, up when it is on the left of a fin and down on its right.
    """
    y_is_outboard = surface.horn.side in ("top", "left")
    if surface.kind != "rudder" and surface.side == "left":
        y_is_outboard = not y_is_outboard
    return 1 if y_is_outboard else -1


def tooth_deg(servo: Servo) -> float:
    """Return the angle of one tooth of the output spline, in degrees."""
    return 360.0 / servo.spline_teeth


def lean_deg(surface: Surface, servo: Servo) -> float:
    """Return the planned lean of the arm from square, in degrees; positive leans ahead."""
    by_arm = (surface.arm.part_arm - 1) * 360.0 / servo.arm_count
    return math.remainder(surface.arm.teeth_lean * tooth_deg(servo) + by_arm, 360.0)


def ahead_sense(linkage: Linkage) -> int:
    """Return +1 when a lean ahead is a counter-clockwise turn of the arm, -1 when clockwise.

    Ahead takes the arm's hole away from the horn along the rod; for an arm within a right
    angle of square.
    """
    arm = linkage.arm
    across = np.cross(arm.axis, arm.tip_mm - arm.centre_mm)
    return -1 if float(across @ (linkage.horn.tip_mm - arm.tip_mm)) > 0.0 else 1


@dataclass(frozen=True)
class Mounting:
    """Where a surface's servo stands, in the hinge frame.

    Attributes
    ----------
    spindle_mm : ndarray, shape (3,)
        On the output shaft's axis, in the plane of the arm's holes.
    axis : ndarray, shape (3,)
        Unit vector out of the servo along its output shaft.
    first, second : ndarray, shape (3,)
        Unit vectors across the shaft: the way the arm points by the file, and a quarter
        turn counter-clockwise from it.
    """

    spindle_mm: Floats
    axis: Floats
    first: Floats
    second: Floats


def mounting_of(surface: Surface) -> Mounting:
    """Turn the mounting words of a surface into the hinge frame.

    Raises
    ------
    ModelError
        When the arm would point along its own spindle.
    """
    outboard = along_sign(surface)
    mount = surface.mount
    spindle = np.array([-mount.ahead_mm, outboard * mount.along_mm, mount.off_mm])
    axis = _unit(mount.spindle, outboard)
    points = _unit(mount.arm_points, outboard)
    flat = points - axis * np.dot(points, axis)
    if np.linalg.norm(flat) < 1e-6:
        raise ModelError(
            f"{surface.name}: arm_points runs along the spindle.",
            mend="An arm stands across the spindle: correct mount.arm_points or mount.spindle.",
        )
    first = flat / np.linalg.norm(flat)
    return Mounting(spindle, axis, first, np.cross(axis, first))


def arm_tips(
    mounting: Mounting, horn_tip_mm: ArrayLike, arm_mm: ArrayLike, lean_rad: ArrayLike
) -> tuple[Floats, Floats]:
    """Place the arm's hole for any number of choices at once.

    The rod runs from the arm's tip S + r e to the horn's hole B, so square means
    (B - S) . e = r: with G the length of B - S seen along the spindle, the arm stands
    acos(r / G) to either side of it. The side towards ``arm_points`` is taken.

    Parameters
    ----------
    mounting : Mounting
    horn_tip_mm : array_like, shape (..., 3)
        The horn's hole at neutral.
    arm_mm, lean_rad : array_like, shape (...)
        Radius of the arm's hole; lean from square, positive ahead.

    Returns
    -------
    tips_mm : ndarray, shape (..., 3)
        nan where an arm is too long to stand square to its rod.
    astray_rad : ndarray, shape (...)
        How far square is from where the file says the arm points.
    """
    to_horn = np.asarray(horn_tip_mm, dtype=np.float64) - mounting.spindle_mm
    arm, lean = np.asarray(arm_mm, dtype=np.float64), np.asarray(lean_rad, dtype=np.float64)
    along_first, along_second = to_horn @ mounting.first, to_horn @ mounting.second
    with np.errstate(invalid="ignore", divide="ignore"):
        opening = np.arccos(arm / np.hypot(along_first, along_second))
    towards = np.arctan2(along_second, along_first)
    sides = [_wrapped(towards + side * opening) for side in (1.0, -1.0)]
    square = np.where(np.abs(sides[0]) <= np.abs(sides[1]), sides[0], sides[1])
    # Turning counter-clockwise moves a square arm's tip towards the horn when the horn lies
    # counter-clockwise of it. Ahead is away from the horn.
    ahead = -np.sign(_wrapped(towards - square))
    angle = square + ahead * lean
    direction = (
        np.cos(angle)[..., np.newaxis] * mounting.first
        + np.sin(angle)[..., np.newaxis] * mounting.second
    )
    return mounting.spindle_mm + arm[..., np.newaxis] * direction, np.abs(square)


def mounted(surface: Surface, servo: Servo, *, off_lean_deg: float = 0.0) -> Linkage:
    """Build the linkage of a surface as the model file describes it.

    Parameters
    ----------
    surface : Surface
        With its arm hole and horn hole chosen.
    servo : Servo
        The servo that drives it; its spline gives the tooth.
    off_lean_deg : float
        Further lean beside the file's whole teeth, in degrees, positive ahead.

    Returns
    -------
    Linkage
        At rest everything is at neutral: the arm square to the rod plus its lean, the
        surface in line. A positive shaft angle is counter-clockwise looking at the arm; a
        positive surface angle turns the trailing edge away from the horn.

    Raises
    ------
    ModelError
        When a hole is not chosen, or the mounting contradicts itself.
    LinkageError
        When the geometry does not make a linkage.
    """
    arm_mm = _chosen(surface, "arm", surface.arm.hole, surface.arm.holes_mm)
    horn_mm = _chosen(surface, "horn", surface.horn.hole, surface.horn.holes_mm)
    mounting = mounting_of(surface)
    horn_tip = np.array([surface.horn.set_back_mm, 0.0, horn_mm])
    lean = math.radians(lean_deg(surface, servo) + off_lean_deg)
    tip, astray = arm_tips(mounting, horn_tip, arm_mm, lean)
    if np.isnan(tip).any():
        across = horn_tip - mounting.spindle_mm
        away = math.hypot(float(across @ mounting.first), float(across @ mounting.second))
        raise LinkageError(
            f"{surface.name}: an arm of {arm_mm:g} mm cannot stand square to its rod.",
            cause=f"Seen along the spindle, the horn's hole is only {away:.1f} mm away.",
            mend="Check mount.ahead, mount.off, mount.along and mount.spindle.",
        )
    if math.degrees(float(astray)) > POINTS_ASTRAY_DEG:
        raise ModelError(
            f"{surface.name}: arm_points is {math.degrees(float(astray)):.0f} deg away from "
            "the nearest position square to the rod.",
            cause="The arm of a sound linkage stands about square to its rod at centre.",
            mend="Correct mount.arm_points, or the servo's place in mount.",
        )
    horn = Crank(np.zeros(3), HINGE_AXIS, horn_tip)
    return Linkage(Crank(mounting.spindle_mm, mounting.axis, tip), horn, surface.rod.length_mm)


def _chosen(surface: Surface, part: str, hole: int | None, holes_mm: Sequence[float]) -> float:
    if hole is None:
        raise ModelError(
            f"{surface.name}: no {part} hole is chosen.",
            mend=f"Write hole = 1 to {len(holes_mm)} in its {part} table.",
        )
    return float(holes_mm[hole - 1])


def _unit(direction: Direction, outboard: int) -> Floats:
    vector = np.array([-direction.ahead, outboard * direction.along, direction.off])
    unit: Floats = vector / np.linalg.norm(vector)
    return unit


def _wrapped(angle_rad: Floats) -> Floats:
    """Bring angles to -pi .. pi."""
    return (angle_rad + np.pi) % (2.0 * np.pi) - np.pi
