"""Linkages that many tests build: planar four-bars, level servo linkages, random ones."""

from __future__ import annotations

import numpy as np
from hypothesis import assume
from hypothesis import strategies as st

from hingeline.linkage.closure import Crank, Linkage

HINGE = (0.0, 1.0, 0.0)


def level_linkage(
    arm_mm: float,
    horn_mm: float,
    apart_mm: float,
    *,
    lean_deg: float = 0.0,
    rod_mm: float | None = None,
) -> Linkage:
    """Servo ahead of the hinge, arm and horn on the same side, rod parallel to the surface.

    Lean is positive when the tip of the arm is moved ahead, away from the hinge; the spindle
    then stands so that the rod is still level.
    """
    lean = np.radians(lean_deg)
    spindle = np.array([-apart_mm, 0.0, horn_mm - arm_mm * np.cos(lean)])
    tip = spindle + arm_mm * np.array([-np.sin(lean), 0.0, np.cos(lean)])
    arm, horn = Crank(spindle, HINGE, tip), Crank((0, 0, 0), HINGE, (0, 0, horn_mm))
    return Linkage(arm, horn, rod_mm)


def four_bar(
    a: float, b: float, c: float, d: float, *, crossed: bool = False, offset: float = 0.0
) -> Linkage:
    """Text-book four-bar: a input, b coupler, c output, d ground along x, angles from x.

    At rest the input lies along x and the output stands at `rest_deg`, on the side of the
    wanted branch; the coupler is given, not made to fit, so nothing of the answer goes in.
    `offset` moves the output's plane along the axis.
    """
    side = -1.0 if crossed else 1.0
    arm = Crank((0, 0, 0), (0, 0, 1), (a, 0, 0))
    horn = Crank((d, 0, 0), (0, 0, 1), (d, side * c, offset))
    return Linkage(arm, horn, b)


def rest_deg(*, crossed: bool = False) -> float:
    """Text-book angle of the output of `four_bar` when its surface angle is zero."""
    return -90.0 if crossed else 90.0


def _numbers(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_subnormal=False)


@st.composite
def spatial_linkages(draw: st.DrawFn, *, fitted: bool = True) -> Linkage:
    """Servo linkages at any attitude, no nearer than about 10 deg to a dead centre at rest."""

    def vector(low: float, high: float) -> np.ndarray:
        return np.array([draw(_numbers(low, high)) for _ in range(3)])

    def crank(pivot: np.ndarray, radius: float) -> Crank:
        axis, out = vector(-1, 1), vector(-1, 1)
        assume(np.linalg.norm(axis) > 0.1)
        axis = axis / np.linalg.norm(axis)
        square = np.cross(axis, out)
        assume(np.linalg.norm(square) > 0.1)
        return Crank(pivot, axis, pivot + radius * square / np.linalg.norm(square))

    arm = crank(
        np.array([-draw(_numbers(40, 200)), 0.0, 0.0]) + vector(-10, 10), draw(_numbers(4, 25))
    )
    horn = crank(np.zeros(3), draw(_numbers(6, 30)))
    rod = horn.tip_mm - arm.tip_mm
    for part in (arm, horn):
        pull = np.dot(rod, np.cross(part.axis, part.tip_mm - part.centre_mm))
        assume(abs(pull) > 0.17 * np.linalg.norm(rod) * part.radius_mm)
    stretch = 1.0 if fitted else draw(_numbers(0.97, 1.03))
    return Linkage(arm, horn, None if fitted else float(np.linalg.norm(rod)) * stretch)
