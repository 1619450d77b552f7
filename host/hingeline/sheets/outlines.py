"""Shapes of what a model file does not describe, suggested so that a drawing can be read.

None of these figures is used for anything but ink (common practice, no source). Points are
in the hinge frame of `hingeline.linkage.mounting`, in mm, at rest.
"""

from __future__ import annotations

import math

import numpy as np

from hingeline.linkage.closure import Crank, Floats
from hingeline.linkage.mounting import HINGE_AXIS
from hingeline.model.schema import Surface

#: Aft, and off the surface towards the horn's side, in the hinge frame.
AFT, OFF = np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0])
BEYOND_MM = 2.0  # material beyond the outermost hole of arm and horn
_SLIMNESS = 0.07  # half the surface's thickness at the hinge line, per chord
# Servo case: longest arm hole that it goes with, then length, width, depth, and how far the
# spindle is from its end and the arm from its top.
_CASES_MM = (
    (16.0, 23.0, 12.0, 22.0, 6.0, 5.0),
    (math.inf, 40.0, 20.0, 36.0, 10.0, 8.0),
)


def arm(crank: Crank, last_mm: Floats, first_mm: float) -> Floats:
    """Give points whose convex outline is an arm, from its hub to beyond its last hole."""
    hub_mm = min(3.5, 0.5 * first_mm)
    rounds = [_circle(crank.centre_mm, crank.axis, hub_mm)]
    return np.concatenate([*rounds, _circle(last_mm, crank.axis, BEYOND_MM)])


def horn(foot_mm: Floats, end_mm: Floats) -> Floats:
    """Give points whose convex outline is a horn, from its foot to its end."""
    half_foot = 0.25 * (end_mm[2] - foot_mm[2]) * AFT
    top = _circle(end_mm - OFF * BEYOND_MM, HINGE_AXIS, BEYOND_MM)
    return np.concatenate([top, [foot_mm - half_foot, foot_mm + half_foot]])


def _circle(middle_mm: Floats, axis: Floats, radius_mm: float) -> Floats:
    """Give points round a circle about an axis."""
    one = np.cross(axis, AFT if abs(axis @ AFT) < 0.7 else OFF)
    one = one / np.linalg.norm(one)
    angle = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)[:, np.newaxis]
    circle: Floats = middle_mm + radius_mm * (
        np.cos(angle) * one + np.sin(angle) * np.cross(axis, one)
    )
    return circle


def half_thickness(surface: Surface) -> float:
    """Return half the thickness of the surface at the hinge line, in mm."""
    # Never so thick that the holes of the horn would lie inside.
    return min(_SLIMNESS * surface.chord_mm, 0.5 * min(surface.horn.holes_mm))


def section(surface: Surface) -> Floats:
    """Give the closed outline of the surface; the last point is the trailing edge."""
    half = half_thickness(surface)
    nose = np.radians(np.linspace(90.0, 270.0, 19))
    x, z = half * np.cos(nose), half * np.sin(nose)
    outline = np.stack([x, np.zeros_like(x), z], axis=1)
    return np.concatenate([outline, [[surface.chord_mm, 0.0, 0.0]]])


def fixed(surface: Surface) -> Floats:
    """Give the open outline of what the surface is hinged to."""
    gap = 1.25 * half_thickness(surface)
    cove = np.radians(np.linspace(115.0, 245.0, 15))
    x, z = gap * np.cos(cove), gap * np.sin(cove)
    ahead = -(gap + 0.2 * surface.chord_mm)
    x = np.concatenate([[ahead], x, [ahead]])
    z = np.concatenate([[1.15 * z[0]], z, [1.15 * z[-1]]])
    return np.stack([x, np.zeros_like(x), z], axis=1)


def case(surface: Surface, arm: Crank, horn_tip_mm: Floats) -> Floats:
    """Give the corners of a servo's case behind its arm, shape (8, 3)."""
    longest = max(surface.arm.holes_mm)
    _, length, width, depth, end, below = next(case for case in _CASES_MM if longest <= case[0])
    # Level with the surface, and away from the horn, where the rod is not.
    along = AFT if abs(arm.axis @ AFT) < 0.7 else OFF
    along = along - arm.axis * (along @ arm.axis)
    along = along / np.linalg.norm(along)
    along = along if along @ (arm.centre_mm - horn_tip_mm) > 0.0 else -along
    across = np.cross(arm.axis, along)
    corners = [
        arm.centre_mm + along * a + across * b - arm.axis * c
        for a in (-end, length - end)
        for b in (-width / 2, width / 2)
        for c in (below, below + depth)
    ]
    return np.array(corners)
