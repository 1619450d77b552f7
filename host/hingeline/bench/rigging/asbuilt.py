"""What the rows of a rig say of how a surface is built by now, where its file says otherwise."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import msgspec

from hingeline.model.schema import Offset, Surface, Throw
from hingeline.travel.curve import TravelCurve
from hingeline.travel.nominal import NominalCurve

#: Mends after which pulses that were aimed at the surface as it was built no longer hold.
_REBUILT = frozenset({"refit", "hole", "set-back", "rod", "rod side", "swap leads", "servo"})


@dataclass(frozen=True)
class AsBuilt:
    """What was found or done at one surface besides what its file says.

    Attributes
    ----------
    free_deg : mapping of str to float
        Free travel of the bare surface as measured, by direction word.
    holes : mapping of str to float
        arm_hole, horn_hole, set_back_mm, as the builder says that they are.
    trim_us : float
        By how much the pulse at neutral was trimmed.
    aimed : bool
        Whether pulses are taken from what was measured, since the last change of the build.
    void : frozenset of int
        Numbers of curves that belong to a servo that is no longer fitted.
    part_arm : int or None
        The arm of the part to which a refit has moved the rod; None: the one planned.
    """

    free_deg: Mapping[str, float] = field(default_factory=dict)
    holes: Mapping[str, float] = field(default_factory=dict)
    trim_us: float = 0.0
    aimed: bool = False
    void: frozenset[int] = frozenset()
    part_arm: int | None = None

    def surface(self, planned: Surface) -> Surface:
        """Return the surface with what is known of it now."""
        free = {
            word: Throw(self.free_deg[word], "deg") if word in self.free_deg else throw
            for word, throw in planned.free_travel.items()
        }
        arm, horn = planned.arm, planned.horn
        if "arm_hole" in self.holes:
            arm = msgspec.structs.replace(arm, hole=int(self.holes["arm_hole"]))
        if "horn_hole" in self.holes:
            horn = msgspec.structs.replace(horn, hole=int(self.holes["horn_hole"]))
        if "set_back_mm" in self.holes:
            horn = msgspec.structs.replace(horn, set_back_mm=Offset(self.holes["set_back_mm"]))
        return msgspec.structs.replace(planned, free_travel=free, arm=arm, horn=horn)


def as_built(subject: str, rows: Iterable[Mapping[str, Any]]) -> AsBuilt:
    """Follow the rows of a rig in their order.

    Parameters
    ----------
    subject : str
        Name of the surface.
    rows : iterable of mappings
        As `Records.rig_steps` gives them.
    """
    found = AsBuilt()
    for row in rows:
        if row["surface"] != subject:
            continue
        figures = row["figures"]
        if row["step"] == "bare" and "free_deg" in figures:
            found = replace(found, free_deg=figures["free_deg"])
        if row["step"] == "rod" and "holes" in figures:
            found = replace(found, holes={**found.holes, **figures["holes"]})
        if "mend" in figures:
            found = _mended(found, figures["mend"], figures.get("void"))
    return found


def _mended(found: AsBuilt, mend: Mapping[str, Any], void: int | None) -> AsBuilt:
    name = mend["name"]
    if name in _REBUILT:
        found = replace(found, aimed=False)
    if name == "aim":
        return replace(found, aimed=True)
    if name == "trim" and "at_seat" not in mend:
        return replace(found, trim_us=found.trim_us + mend["trim_us"])
    if name == "refit" and mend.get("part_arm") is not None:
        found = replace(found, part_arm=int(mend["part_arm"]))
    if name in ("refit", "swap leads"):
        return replace(found, trim_us=0.0)
    if name == "servo":
        gone = found.void if void is None else found.void | {void}
        return replace(found, trim_us=0.0, void=gone)
    if name == "hole":
        return replace(found, holes={**found.holes, f"{mend['part']}_hole": mend["hole"]})
    return found


def trimmed(curve: TravelCurve | NominalCurve, trim_us: float) -> TravelCurve | NominalCurve:
    """Return a curve whose neutral lies at another pulse, the arm being turned by that much."""
    if not trim_us or curve.centre_us is None:
        return curve
    centre = curve.centre_us + trim_us
    if isinstance(curve, NominalCurve):
        return replace(curve, centre_us=centre)
    from hingeline.travel.seated import seated

    return seated(curve, 0.0, centre, 0.0)
