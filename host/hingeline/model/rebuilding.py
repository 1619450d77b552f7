"""A surface with other holes and another lean."""

from __future__ import annotations

import msgspec

from hingeline.model.schema import Surface


def rebuilt(
    surface: Surface, *, arm_hole: int, horn_hole: int, teeth_lean: int, part_arm: int
) -> Surface:
    """Return a surface as it would be with other holes, tooth and arm of the part.

    Its rod loses its fixed length: another hole or tooth takes another rod, or another turn
    of its fitting.
    """
    replace = msgspec.structs.replace
    return replace(
        surface,
        arm=replace(surface.arm, hole=arm_hole, teeth_lean=teeth_lean, part_arm=part_arm),
        horn=replace(surface.horn, hole=horn_hole),
        rod=replace(surface.rod, length_mm=None),
    )
