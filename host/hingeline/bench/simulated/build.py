"""How a surface's linkage is really built, where that differs from its plan."""

from __future__ import annotations

from dataclasses import dataclass

import msgspec

from hingeline.linkage.closure import Linkage
from hingeline.linkage.mounting import lean_deg, mounted
from hingeline.model.schema import Direction, Offset, Servo, Surface


@dataclass(frozen=True)
class Build:
    """What was built otherwise than planned.

    Attributes
    ----------
    lean_deg : float
        By how much the arm leans further ahead than planned, with the servo where its plan
        has it at centre.
    part_arm : int or None
        The arm of the part that is used; None: the one planned.
    other_side : bool
        Whether the rod is at the other end of a two-sided arm.
    arm_hole, horn_hole : int or None
        The holes really used; None: those planned.
    set_back_mm : float
        How much further aft the horn's hole stands.
    rod_mm : float
        How much too long the rod is; 0 puts the surface at neutral when the arm leans as planned.
    play_mm : float or None
        The whole play of the rod's ends; None: as in the model file.
    """

    lean_deg: float = 0.0
    part_arm: int | None = None
    other_side: bool = False
    arm_hole: int | None = None
    horn_hole: int | None = None
    set_back_mm: float = 0.0
    rod_mm: float = 0.0
    play_mm: float | None = None

    def surface(self, planned: Surface) -> Surface:
        """Return the surface with holes, set-back and side as they are."""
        arm, horn, mount = planned.arm, planned.horn, planned.mount
        if self.arm_hole is not None:
            arm = msgspec.structs.replace(arm, hole=self.arm_hole)
        if self.horn_hole is not None:
            horn = msgspec.structs.replace(horn, hole=self.horn_hole)
        if self.set_back_mm:
            aft = Offset(horn.set_back_mm + self.set_back_mm)
            horn = msgspec.structs.replace(horn, set_back_mm=aft)
        if self.other_side:
            way = mount.arm_points
            there = Direction(-way.ahead, -way.off, -way.along)
            mount = msgspec.structs.replace(mount, arm_points=there)
        return msgspec.structs.replace(planned, arm=arm, horn=horn, mount=mount)

    def linkage(self, planned: Surface, servo: Servo, rod_error_mm: float) -> Linkage:
        """Build the linkage; the rod was made to fit its holes, the arm as planned."""
        # One end of a straight arm leans ahead as far as the other leans aft.
        turned = -2.0 * lean_deg(planned, servo) if self.other_side else 0.0
        fits = mounted(self.surface(planned), servo, off_lean_deg=turned)
        return Linkage(fits.arm, fits.horn, fits.length_mm + self.rod_mm + rod_error_mm)
