"""What the rows of a rig say of how a surface is built by now, where its file says otherwise."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import msgspec

from hingeline.model.schema import Model, Offset, Surface, Throw
from hingeline.rigging.steps import Item, changed_parts, print_of, step_named
from hingeline.travel.curve import TravelCurve
from hingeline.travel.nominal import NominalCurve, turned
from hingeline.travel.seated import seated

#: Mends after which pulses that were aimed at the surface as it was built no longer hold.
_REBUILT = frozenset({"refit", "hole", "set-back", "rod", "rod side", "swap leads", "servo"})
#: The steps by whose parts of the model file it is seen whether what was found still holds.
RESTS_ON = ("bare", "centre", "rod")
#: What free travel rests on, and a trim besides the rod, as `changed_parts` calls them.
_FREE, _ITS = "free travel", ("servo", "servo's centre")


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
    prints : mapping of str to str
        For each of `RESTS_ON`, what tells whether the parts of the model file have changed
        that it took for granted.
    """

    free_deg: Mapping[str, float] = field(default_factory=dict)
    holes: Mapping[str, float] = field(default_factory=dict)
    trim_us: float = 0.0
    aimed: bool = False
    void: frozenset[int] = frozenset()
    part_arm: int | None = None
    prints: Mapping[str, str] = field(default_factory=dict)

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


def as_built(
    subject: str, rows: Iterable[Mapping[str, Any]], before: AsBuilt | None = None
) -> AsBuilt:
    """Follow the rows of a rig in their order.

    Parameters
    ----------
    subject : str
        Name of the surface.
    rows : iterable of mappings
        As `Records.rig_steps` gives them.
    before : AsBuilt, optional
        What was known before this rig. It holds until this rig has found out for itself.
    """
    found = before or AsBuilt()
    rods = 0
    for row in rows:
        if row["surface"] != subject:
            continue
        figures, step = row["figures"], row["step"]
        if step == "bare" and "free_deg" in figures:
            found = replace(found, free_deg=figures["free_deg"])
        if step == "rod" and row["outcome"] in ("done", "failed"):
            if not rods:
                found = replace(found, holes={}, trim_us=0.0)
            rods += 1
            found = replace(found, holes={**found.holes, **figures.get("holes", {})})
        if step in RESTS_ON and "print" in figures:
            found = replace(found, prints={**found.prints, step: figures["print"]})
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


def built_figures(built: AsBuilt) -> dict[str, Any]:
    """Return what stays true of a surface when its rig is over, as plain figures."""
    return {
        "free_deg": dict(built.free_deg),
        "holes": dict(built.holes),
        "trim_us": built.trim_us,
        "prints": dict(built.prints),
    }


def built_of(figures: Mapping[str, Any]) -> AsBuilt:
    """Return what `built_figures` has made figures of."""
    return AsBuilt(
        figures["free_deg"], figures["holes"], figures["trim_us"], prints=figures["prints"]
    )


def still_holds(built: AsBuilt, model: Model, subject: str) -> tuple[AsBuilt, str]:
    """Leave out what no longer holds because the model file was changed since; say why.

    Free travel is a fact of the hinge: it holds until the file says another one.
    """
    changed = {
        step: changed_parts(built.prints.get(step, ""), print_of(model, Item(named, subject)))
        for step in RESTS_ON
        if (named := step_named(step)) and step in built.prints
    }
    told: list[str] = []
    if built.free_deg and _FREE in changed.get("bare", []):
        built = replace(built, free_deg={})
        told.append(_FREE)
    parts = changed.get("rod", [])
    if parts and (built.holes or built.trim_us):
        built = replace(built, holes={}, trim_us=0.0)
        told += parts
    elif built.trim_us and (own := [one for one in changed.get("centre", []) if one in _ITS]):
        built = replace(built, trim_us=0.0)
        told += own
    return built, ", ".join(dict.fromkeys(told))


def trimmed(curve: TravelCurve | NominalCurve, trim_us: float) -> TravelCurve | NominalCurve:
    """Return a curve whose neutral lies at another pulse, the arm being turned by that much."""
    if not trim_us or curve.centre_us is None:
        return curve
    centre = curve.centre_us + trim_us
    if isinstance(curve, NominalCurve):
        return turned(curve, 0.0, centre)
    return seated(curve, 0.0, centre, 0.0)
