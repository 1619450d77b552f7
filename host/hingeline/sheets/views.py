"""Where every part of a linkage stands, as points to draw; nothing is drawn here.

Points are in the hinge frame of `hingeline.linkage.mounting`, in mm. A `View` flattens
them on to a page on which the nose of the model points to the left. For a wing-like
surface the first view is from the model's left, with the top of the model at the top of
the page; for a rudder it is from above, with the model's right at the top.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from hingeline.linkage.closure import Floats, Linkage, surface_angle
from hingeline.linkage.limits import shaft_limits
from hingeline.linkage.mounting import HINGE_AXIS, arm_tips, lean_deg, mounting_of
from hingeline.model import words
from hingeline.model.schema import Servo, Surface
from hingeline.sheets import outlines
from hingeline.sheets.outlines import AFT, OFF

#: Cosine above which two directions count as one.
SAME = 1.0 - 1e-9


@dataclass(frozen=True, eq=False)
class View:
    """A way to look at the linkage.

    Attributes
    ----------
    name, seen : str
        What it is called, and from where it is seen.
    right, up : ndarray, shape (3,)
        Unit vectors of the hinge frame that point right and up on the page.
    right_words, up_words : tuple of str
        What lies towards the right and the left of the page, and towards its top and bottom;
        empty where that has no name.
    """

    name: str
    seen: str
    right: Floats
    up: Floats
    right_words: tuple[str, str]
    up_words: tuple[str, str]

    @property
    def towards_eye(self) -> Floats:
        """Unit vector out of the page, shape (3,)."""
        return np.cross(self.right, self.up)

    def flat(self, points_mm: ArrayLike) -> Floats:
        """Flatten points of shape (..., 3) on to the page: shape (..., 2), in mm."""
        flat: Floats = np.asarray(points_mm, dtype=np.float64) @ np.stack([self.right, self.up], 1)
        return flat

    def outline(self, points_mm: ArrayLike) -> Floats:
        """Give the convex outline of points as seen, shape (n, 2), counter-clockwise."""
        points = sorted({(float(x), float(y)) for x, y in self.flat(points_mm)})
        halves = [_turning_left(points), _turning_left(points[::-1])]
        return np.array(halves[0][:-1] + halves[1][:-1] or points)


@dataclass(frozen=True, eq=False)
class Pose:
    """Everything that moves, at one shaft angle.

    Attributes
    ----------
    word : str
        "neutral" or the direction word.
    order : int
        0 for neutral, 1 and 2 for the first and the second direction of the surface.
    label : str
        What to write beside it: "neutral", "up 15.0 deg".
    shaft_rad, surface_rad : float
    arm_holes_mm, horn_holes_mm : ndarray, shape (n, 3)
        All holes, in the order of the model file.
    arm_end_mm, horn_end_mm, horn_foot_mm : ndarray, shape (3,)
        Where the middle lines of arm and horn end; the arm's begins on the spindle.
    arm_outline_mm, horn_outline_mm : ndarray, shape (n, 3)
        Points whose convex outline is a suggested shape of arm and horn.
    arm_tip_mm, horn_tip_mm : ndarray, shape (3,)
        The two holes that carry the rod.
    section_mm : ndarray, shape (n, 3)
        Closed outline of the surface; the last point is the trailing edge.
    """

    word: str
    order: int
    label: str
    shaft_rad: float
    surface_rad: float
    arm_holes_mm: Floats
    arm_end_mm: Floats
    arm_outline_mm: Floats
    arm_tip_mm: Floats
    horn_holes_mm: Floats
    horn_end_mm: Floats
    horn_foot_mm: Floats
    horn_outline_mm: Floats
    horn_tip_mm: Floats
    section_mm: Floats


@dataclass(frozen=True, eq=False)
class Scene:
    """A linkage in place, neutral and at its throws.

    Attributes
    ----------
    poses : tuple of Pose
        Neutral first, then the throws that the linkage can give.
    missing : tuple of str
        Direction words of the throws that it cannot give.
    spindle_mm, axis : ndarray, shape (3,)
        Middle of the servo's shaft in the plane of the arm's holes; out of the servo.
    square_mm : ndarray, shape (3,)
        Where the arm's hole would stand without lean; nan where there is no such place.
    lean_deg : float
        As planned, positive ahead.
    rod_mm, set_back_mm : float
    case_mm : ndarray, shape (8, 3)
        Corners of a suggested servo case.
    fixed_mm : ndarray, shape (n, 3)
        Open outline of the fixed part ahead of the hinge line, a suggestion.
    along_hinge, across, along_spindle : View
        Along the hinge line; at right angles to that; along the spindle, looking at the arm.
    planar : bool
        Whether arm, rod and horn all move in the plane of the page of ``along_hinge``.
    """

    poses: tuple[Pose, ...]
    missing: tuple[str, ...]
    spindle_mm: Floats
    axis: Floats
    square_mm: Floats
    lean_deg: float
    rod_mm: float
    set_back_mm: float
    case_mm: Floats
    fixed_mm: Floats
    along_hinge: View
    across: View
    along_spindle: View
    planar: bool


def scene(
    surface: Surface, servo: Servo, linkage: Linkage, turns_deg: Mapping[str, float | None]
) -> Scene:
    """Work out what to draw of a surface's linkage.

    Parameters
    ----------
    surface, servo : Surface, Servo
        As in the model file, with both holes chosen.
    linkage : Linkage
        Of that surface.
    turns_deg : mapping of str to float or None
        Shaft angle for each direction word, counter-clockwise positive looking at the arm;
        None for a throw that cannot be reached.

    Returns
    -------
    Scene

    Raises
    ------
    LinkageError
        When the linkage does not close with the servo at its centre.
    """
    shaft_limits(linkage)
    poses, missing = [_pose(surface, linkage, "neutral", 0, 0.0)], []
    for order, word in enumerate(words.directions(surface), start=1):
        turn_deg = turns_deg[word]
        shaft = math.nan if turn_deg is None else math.radians(turn_deg)
        if math.isnan(float(surface_angle(linkage, shaft))):
            missing.append(word)
        else:
            poses.append(_pose(surface, linkage, word, order, shaft))
    arm, horn = linkage.arm, linkage.horn
    mounting = mounting_of(surface)
    square, _ = arm_tips(mounting, horn.tip_mm, arm.radius_mm, 0.0)
    along_hinge = _along_hinge(surface)
    shift = (horn.tip_mm - arm.tip_mm) @ HINGE_AXIS
    return Scene(
        poses=tuple(poses),
        missing=tuple(missing),
        spindle_mm=arm.centre_mm,
        axis=arm.axis,
        square_mm=square,
        lean_deg=lean_deg(surface, servo),
        rod_mm=linkage.length_mm,
        set_back_mm=float(horn.tip_mm[0]),
        case_mm=outlines.case(surface, arm, horn.tip_mm),
        fixed_mm=outlines.fixed(surface),
        along_hinge=along_hinge,
        across=_across(surface),
        along_spindle=_along_spindle(arm.axis, along_hinge),
        planar=bool(abs(arm.axis @ HINGE_AXIS) > SAME and abs(shift) < 1e-6),
    )


def _pose(surface: Surface, linkage: Linkage, word: str, order: int, shaft_rad: float) -> Pose:
    arm, horn = linkage.arm, linkage.horn
    surface_rad = float(surface_angle(linkage, shaft_rad))
    arm_tip = arm.tip_at(shaft_rad)
    out = (arm_tip - arm.centre_mm) / arm.radius_mm
    arm_radii = np.array(surface.arm.holes_mm, dtype=np.float64)
    # The hole that carries the rod is where the linkage has it; the others are in line with it.
    used_mm = float(surface.horn.holes_mm[(surface.horn.hole or 1) - 1])
    heights = np.array(surface.horn.holes_mm, dtype=np.float64) - used_mm
    end = horn.tip_mm + OFF * (heights.max() + outlines.BEYOND_MM)
    foot = horn.tip_mm - OFF * (horn.tip_mm[2] - outlines.half_thickness(surface))
    last = arm.centre_mm + arm_radii.max() * out
    label = words.say(surface, math.degrees(surface_rad))
    if word == "neutral" and label != "neutral":
        label = f"servo at centre: {label}"
    return Pose(
        word=word,
        order=order,
        label=label,
        shaft_rad=shaft_rad,
        surface_rad=surface_rad,
        arm_holes_mm=arm.centre_mm + arm_radii[:, np.newaxis] * out,
        arm_end_mm=last + outlines.BEYOND_MM * out,
        arm_outline_mm=outlines.arm(arm, last, float(arm_radii.min())),
        arm_tip_mm=arm_tip,
        horn_holes_mm=_about_hinge(horn.tip_mm + np.outer(heights, OFF), surface_rad),
        horn_end_mm=_about_hinge(end, surface_rad),
        horn_foot_mm=_about_hinge(foot, surface_rad),
        horn_outline_mm=_about_hinge(outlines.horn(foot, end), surface_rad),
        horn_tip_mm=horn.tip_at(surface_rad),
        section_mm=_about_hinge(outlines.section(surface), surface_rad),
    )


def _turning_left(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Keep of sorted points those of a chain that only turns left (A. M. Andrew, 1979)."""
    chain: list[tuple[float, float]] = []
    for x, y in points:
        while len(chain) > 1:
            (x0, y0), (x1, y1) = chain[-2:]
            if (x1 - x0) * (y - y0) > (y1 - y0) * (x - x0):
                break
            chain.pop()
        chain.append((x, y))
    return chain


def _about_hinge(points_mm: Floats, angle_rad: float) -> Floats:
    """Turn points about the hinge line, the trailing edge away from the horn."""
    cos, sin = math.cos(angle_rad), math.sin(angle_rad)
    turn = np.array([[cos, 0.0, sin], [0.0, 1.0, 0.0], [-sin, 0.0, cos]])
    turned: Floats = points_mm @ turn.T
    return turned


_FROM_LEFT = ("Side view", "seen from the model's left, nose to the left")
_FROM_ABOVE = ("Plan view", "seen from above, nose to the left, the model's right at the top")


def _along_hinge(surface: Surface) -> View:
    rudder = surface.kind == "rudder"
    horn_is_up = surface.horn.side in ("top", "right")
    return View(
        *(_FROM_ABOVE if rudder else _FROM_LEFT),
        right=AFT,
        up=OFF if horn_is_up else -OFF,
        right_words=("aft", "ahead"),
        up_words=("right", "left") if rudder else ("up", "down"),
    )


def _across(surface: Surface) -> View:
    rudder = surface.kind == "rudder"
    y_is_up = surface.horn.side in ("top", "left")  # to the model's right, or up its fin
    return View(
        *(_FROM_LEFT if rudder else _FROM_ABOVE),
        right=AFT,
        up=HINGE_AXIS if y_is_up else -HINGE_AXIS,
        right_words=("aft", "ahead"),
        up_words=("up", "down") if rudder else ("right", "left"),
    )


def _along_spindle(axis: Floats, along_hinge: View) -> View:
    # Aft to the right where the spindle allows, otherwise what is up in the first view.
    wanted = AFT if abs(axis @ AFT) < 0.7 else along_hinge.up
    right = wanted - axis * (axis @ wanted)
    right = right / np.linalg.norm(right)
    return View(
        "Servo end",
        "looking at the arm",
        right=right,
        up=np.cross(axis, right),
        right_words=("", ""),
        up_words=("", ""),
    )
