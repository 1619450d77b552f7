"""From the words of the model file to a linkage in the hinge frame.

Hinge frame of a surface, right-handed: x aft, z off the surface on the side where the
horn stands, y along the hinge line; the origin on the hinge line, in the plane in which
the horn's hole moves. Left and right surfaces that are mirror images carry the same
words; which way "along" runs in y is worked out here and nowhere else.
"""

from __future__ import annotations

import math

import numpy as np

from hingeline.errors import LinkageError, ModelError
from hingeline.linkage.closure import Crank, Floats, Linkage
from hingeline.model.schema import Direction, Servo, Surface

#: How far the square position may be from the way the file says the arm points, in degrees.
POINTS_ASTRAY_DEG = 60.0


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
    return surface.arm.teeth_lean * tooth_deg(servo)


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
    arm_mm = _chosen(surface, "arm", surface.arm.hole, [*surface.arm.holes_mm])
    horn_mm = _chosen(surface, "horn", surface.horn.hole, [*surface.horn.holes_mm])
    outboard = along_sign(surface)
    mount = surface.mount
    spindle = np.array([-mount.ahead_mm, outboard * mount.along_mm, mount.off_mm])
    axis = _unit(mount.spindle, outboard)
    horn_tip = np.array([surface.horn.set_back_mm, 0.0, horn_mm])
    square, lean_turns = _square(surface, spindle, axis, horn_tip, arm_mm, outboard)
    lean = lean_turns * math.radians(lean_deg(surface, servo) + off_lean_deg)
    tip = spindle + arm_mm * _turned(square, axis, lean)
    horn = Crank(np.zeros(3), np.array([0.0, 1.0, 0.0]), horn_tip)
    return Linkage(Crank(spindle, axis, tip), horn, surface.rod.length_mm)


def _chosen(surface: Surface, part: str, hole: int | None, holes_mm: list[float]) -> float:
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


def _square(
    surface: Surface, spindle: Floats, axis: Floats, horn_tip: Floats, arm_mm: float, outboard: int
) -> tuple[Floats, int]:
    """Find the arm's direction square to the rod, and which way round is "ahead".

    The rod runs from the arm's tip S + r e to the horn's hole B, so square means
    (B - S) . e = r: with G the length of B - S seen along the spindle, the arm stands
    acos(r / G) to either side of it. The side towards ``arm_points`` is taken.
    """
    points = _unit(surface.mount.arm_points, outboard)
    flat = points - axis * np.dot(points, axis)
    if np.linalg.norm(flat) < 1e-6:
        raise ModelError(
            f"{surface.name}: arm_points runs along the spindle.",
            mend="An arm stands across the spindle: correct mount.arm_points or mount.spindle.",
        )
    first = flat / np.linalg.norm(flat)
    second = np.cross(axis, first)
    to_horn = horn_tip - spindle
    along_first, along_second = float(np.dot(to_horn, first)), float(np.dot(to_horn, second))
    reach_mm = math.hypot(along_first, along_second)
    if not arm_mm < reach_mm:
        raise LinkageError(
            f"{surface.name}: an arm of {arm_mm:g} mm cannot stand square to its rod.",
            cause=f"Seen along the spindle, the horn's hole is only {reach_mm:.1f} mm away.",
            mend="Check mount.ahead, mount.off, mount.along and mount.spindle.",
        )
    towards = math.atan2(along_second, along_first)
    opening = math.acos(arm_mm / reach_mm)
    angle = min((_wrapped(towards + side * opening) for side in (1, -1)), key=abs)
    if abs(angle) > math.radians(POINTS_ASTRAY_DEG):
        raise ModelError(
            f"{surface.name}: arm_points is {abs(math.degrees(angle)):.0f} deg away from "
            "the nearest position square to the rod.",
            cause="The arm of a sound linkage stands about square to its rod at centre.",
            mend="Correct mount.arm_points, or the servo's place in mount.",
        )
    square = _turned(first, axis, angle)
    # Turning right-handed moves the tip along axis x arm; the rod runs from tip to horn.
    moves_aft = float(np.dot(np.cross(axis, square), to_horn - arm_mm * square)) > 0
    return square, -1 if moves_aft else 1


def _turned(direction: Floats, axis: Floats, angle_rad: float) -> Floats:
    """Turn a direction that stands across ``axis`` about it, right-handed."""
    turned: Floats = direction * math.cos(angle_rad) + np.cross(axis, direction) * math.sin(
        angle_rad
    )
    return turned


def _wrapped(angle_rad: float) -> float:
    return math.remainder(angle_rad, math.tau)
