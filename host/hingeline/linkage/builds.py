"""Linkages as they come out on the bench: the drawn one, each time with errors of its own."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from hingeline.errors import LinkageError
from hingeline.linkage.closure import Floats, Linkage
from hingeline.linkage.loop import closure_matrix


@dataclass(frozen=True)
class Errors:
    """One standard deviation of each thing that a builder gets slightly wrong.

    All defaults are our own choice, for careful work with a rule and a square.

    Attributes
    ----------
    arm_hole_mm : float
        Hole in the servo arm, outwards.
    horn_hole_mm : float
        Hole in the horn, off the surface.
    set_back_mm : float
        Hole in the horn, aft of the hinge line.
    lean_deg : float
        Arm away from its planned lean, the tip ahead.
    hinge_mm : float
        Hinge line, with surface and horn, off the surface's plane, towards the horn's side,
        as seen from the servo; the servo's own height comes to the same.
    rod_mm : float
        Rod too long.
    """

    arm_hole_mm: float = 0.1
    horn_hole_mm: float = 0.2
    set_back_mm: float = 0.3
    lean_deg: float = 1.0
    hinge_mm: float = 0.5
    rod_mm: float = 0.2

    def __post_init__(self) -> None:
        for name, size in zip(FACTORS, self.sizes(), strict=True):
            if not 0.0 <= size < np.inf:
                raise LinkageError(
                    f"a standard deviation of {size:g} for {name} is not 0 or more.",
                    mend="Give how far off it commonly comes out; 0 leaves it out.",
                )

    def sizes(self) -> tuple[float, ...]:
        """Return the standard deviations in the order of `FACTORS`."""
        return tuple(float(getattr(self, name)) for name in FACTORS)


#: Names of the six errors, with their units, in the order of the rows of `built`.
FACTORS = tuple(field.name for field in fields(Errors))

_OFF, _AFT = np.array([0.0, 0.0, 1.0]), np.array([1.0, 0.0, 0.0])


def built(linkage: Linkage, errors: Floats, *, fitted: bool) -> Floats:
    """Build the closure matrices of linkages with errors.

    Parameters
    ----------
    linkage : Linkage
        The drawn one, in the hinge frame (x aft, y along the hinge line, z off the surface).
    errors : ndarray, shape (6, n)
        One row for each of `FACTORS`, in its unit.
    fitted : bool
        True: each rod is adjusted on the model until the surface is where it is drawn with
        the shaft at zero, and only then is off by its error. False: made to its length
        beforehand.

    Returns
    -------
    ndarray, shape (n, 3, 3)
        Laid out so that the n run fastest in memory, for
        `hingeline.linkage.stacks.solve_stack`.
    """
    arm_hole, horn_hole, set_back, lean_deg, hinge, rod = errors
    arm, horn = linkage.arm, linkage.horn
    out = (arm.tip_mm - arm.centre_mm) / arm.radius_mm
    across = np.cross(arm.axis, out)
    # A turn that takes the tip away from the horn is a lean ahead.
    ahead = -np.sign(np.dot(across, horn.tip_mm - arm.tip_mm))
    lean = ahead * np.radians(lean_deg)
    ways = np.cos(lean)[:, np.newaxis] * out + np.sin(lean)[:, np.newaxis] * across
    arm_tips = arm.centre_mm + (arm.radius_mm + arm_hole)[:, np.newaxis] * ways
    raised = hinge[:, np.newaxis] * _OFF
    holes = horn_hole[:, np.newaxis] * _OFF + set_back[:, np.newaxis] * _AFT
    horn_tips = horn.tip_mm + raised + holes
    lengths = linkage.length_mm + rod
    if fitted:
        # The same rod error as drawn, on top of what brings this one's surface into line.
        drawn = linkage.length_mm - linkage.rest_distance_mm
        lengths = np.linalg.norm(horn_tips - arm_tips, axis=-1) + drawn + rod
    matrices = closure_matrix(
        arm.pivot_mm, arm.axis, arm_tips, horn.pivot_mm + raised, horn.axis, horn_tips, lengths
    )
    return np.moveaxis(np.ascontiguousarray(np.moveaxis(matrices, 0, -1)), -1, 0)
