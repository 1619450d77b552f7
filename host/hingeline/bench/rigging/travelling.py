"""The servos' travel: measured now, or taken from the record."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from hingeline.bench.choices import Choice
from hingeline.bench.rigging.context import Result, Rig
from hingeline.bench.rigging.mending import settle
from hingeline.errors import TravelError
from hingeline.rigging.mends import travel_named
from hingeline.rigging.naming import Named, mend
from hingeline.rigging.steps import Item

RECORD, KINDS = "record", ("quick", "usual", "thorough")


def travel(rig: Rig, item: Item) -> Result:
    """Calibrate a servo, or take its curve from the record, and see whether it goes far enough."""
    name = item.subject
    kind = _kind(rig)
    figures: dict[str, Any] = {"calibration": kind}
    again = _reseated(rig, name)
    rod_off: tuple[tuple[str, str], ...] = ()
    if rig.curve(name) is None or not (kind == RECORD or again):
        measured = kind if kind in KINDS else "usual"
        figures["calibration"] = measured
        rod_off = rig.rod_off_again(name)
        rig.prompter.tell(
            f"Servo {rig.planned(name).servo} is stepped through its range: its rod must be off. "
            "Set the protractor to zero at the arm's planned place, fingers clear of the arm."
        )
        try:
            with rig.live([name]):
                unfit = rig.keeper.calibrate(
                    rig.board, rig.prompter.asker, rig.setting(name), measured
                )
        except TravelError as error:
            why = f"no travel curve: {error}"
            return settle(rig, item, _unfit(name, why), figures, rod_off)
        if unfit:
            return settle(rig, item, _unfit(name, " ".join(unfit)), figures, rod_off)
    elif again and kind != RECORD:
        figures["calibration"] = "as before, its arm put on elsewhere"
    setting = rig.setting(name)
    low, high = setting.curve.limits_us
    rate = setting.curve.rate_deg_per_us
    figures |= {"rate_deg_per_us": rate, "limits_us": [low, high], "centre_us": setting.centre_us}
    named = travel_named(setting, rig.built(name).free_deg)
    if named is not None:
        return settle(rig, item, named, figures, rod_off)
    text = f"{abs(rate):.4f} deg/us, centre {setting.centre_us:.0f} us ({figures['calibration']})"
    return Result("done", text, figures, rod_off)


def _kind(rig: Rig) -> str:
    """Settle once for all how the servos are calibrated."""
    if rig.calibration:
        return rig.calibration
    for row in reversed(rig.rows):  # settled in an earlier sitting
        kind = row["figures"].get("calibration") if row["step"] == "travel" else None
        if kind in (RECORD, *KINDS):
            rig.calibration = kind
            return str(kind)
    names = [one.name for one in rig.surfaces]
    all_known = all(rig.curve(name) is not None for name in names)
    rig.calibration = rig.prompter.pick(
        Choice(
            "How are the servos' travel curves to be had, for all of them",
            rig.surfaces[0].channel,
            (*((RECORD,) if all_known else ()), *KINDS),
            help=f"{RECORD}: each servo's newest curve on record, where all have one. quick, "
            "usual, thorough: measure now, with ever more readings.",
            topic="travel",
            detail={"servos": [rig.planned(name).servo for name in names]},
        )
    )
    return rig.calibration


def _reseated(rig: Rig, name: str) -> bool:
    """Tell whether this servo was measured in this rig, and only its arm sits elsewhere since."""
    own = [row for row in rig.rows if (row["surface"], row["step"]) == (name, "travel")]
    return bool(own) and own[-1]["outcome"] == "done"


def _unfit(name: str, why: str) -> Named:
    return Named(
        "unknown",
        f"{name}: its servo is unfit for a control surface: {why}",
        (
            mend("servo", "fit another servo"),
            replace(
                mend("free", "free what holds the arm, then measure again"), reopens=("travel",)
            ),
        ),
    )
