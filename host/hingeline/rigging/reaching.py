"""How far a servo can bring its surface, with these holes and with others."""

from __future__ import annotations

from dataclasses import replace

import msgspec
import numpy as np

from hingeline.errors import HingelineError
from hingeline.linkage.closure import surface_angle
from hingeline.linkage.limits import shaft_limits
from hingeline.linkage.mounting import mounted
from hingeline.model.throws import throw_deg
from hingeline.model.words import directions, sign_of
from hingeline.travel.setting import Setting

_SHORT_OF = 1.0 - 1e-9


def reach_deg(setting: Setting, word: str) -> float:
    """Return how far servo and linkage bring the surface in a direction, without sign.

    The surface's own free travel is left out: what it stops at is no fault of the servo.
    """
    sign = sign_of(setting.surface, word)
    ends = np.radians([float(setting.curve.angle_deg(us)) for us in setting.curve.limits_us])
    locks = shaft_limits(setting.linkage)
    # Just short of where it locks: at the very place rounding may leave no solution.
    inside = np.clip(ends, locks.low_rad * _SHORT_OF, locks.high_rad * _SHORT_OF)
    there = np.degrees(surface_angle(setting.linkage, inside))
    return max(0.0, float(np.max(sign * there)))


def other_holes(setting: Setting) -> list[tuple[str, int, dict[str, float]]]:
    """List single changes of hole with which the servo has both throws, gentlest first.

    Returns
    -------
    list of (str, int, dict)
        "arm" or "horn", the hole counted from 1, and the reach by direction word.
    """
    surface, found = setting.surface, []
    for part, table in (("arm", surface.arm), ("horn", surface.horn)):
        for hole in range(1, len(table.holes_mm) + 1):
            if hole == table.hole:
                continue
            changed = msgspec.structs.replace(
                surface, **{part: msgspec.structs.replace(table, hole=hole)}
            )
            try:
                other = replace(setting, surface=changed, linkage=mounted(changed, setting.servo))
            except HingelineError:
                continue
            reaches = {word: reach_deg(other, word) for word in directions(changed)}
            if all(size >= throw_deg(changed, word) for word, size in reaches.items()):
                found.append((part, hole, reaches))
    return sorted(found, key=lambda one: min(one[2].values()))
