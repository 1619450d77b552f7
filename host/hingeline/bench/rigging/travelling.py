"""The servos' travel: measured now, or taken from the record."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from hingeline import units
from hingeline.bench.choices import Choice
from hingeline.bench.rigging.centring import lean_words
from hingeline.bench.rigging.context import Result, Rig
from hingeline.bench.rigging.mending import left_in_place, settle
from hingeline.bench.rigging.prompting import Within
from hingeline.bench.rigging.rods import take_off
from hingeline.errors import TravelError, UnfitError
from hingeline.linkage.mounting import ahead_sense, lean_deg, mounted
from hingeline.rigging.mends import travel_named
from hingeline.rigging.naming import Named, mend
from hingeline.rigging.seating import seat_of
from hingeline.rigging.steps import Item

#: Two readings of one arm that differ by more than this contradict each other, whatever the
#: gauges are. Our own choice: far less than a tooth, more than a servo's play.
APART_DEG = 4.0
#: Text of a step that was opened again by whoever is at the bench.
REDO = "redo"
RECORD, KINDS = "record", ("quick", "usual", "thorough")


def travel(rig: Rig, item: Item) -> Result:
    """Calibrate a servo, or take its curve from the record, and see whether it goes far enough."""
    name = item.subject
    kind = _kind(rig)
    figures: dict[str, Any] = {"asked": kind, "calibration": kind}
    rod_off: tuple[tuple[str, str], ...] = ()
    reseated = _reseated(rig, name)
    if rig.curve(name) is None or not (kind == RECORD or reseated):
        figures["calibration"] = kind if kind in KINDS else "usual"
        said, rod_off = take_off(rig, name)
        figures |= said
        if (wrong := _measured(rig, item, figures, rod_off)) is not None:
            return wrong
    elif kind != RECORD:
        figures["calibration"] = "as before, what it drives built otherwise"
    setting = rig.setting(name)
    low, high = setting.curve.limits_us
    rate = setting.curve.rate_deg_per_us
    figures |= {"rate_deg_per_us": rate, "limits_us": [low, high], "centre_us": setting.centre_us}
    named = travel_named(setting, rig.built(name).free_deg)
    if named is not None:
        return settle(rig, item, named, figures, rod_off)
    how = figures["calibration"]
    if how == RECORD:
        how = f"{RECORD}: {rig.keeper.curve_from(setting.surface.servo)}"
    text = f"{abs(rate):.4f} deg/us, centre {setting.centre_us:.0f} us ({how})"
    return Result("done", text, figures, rod_off)


def _measured(
    rig: Rig, item: Item, figures: dict[str, Any], rod_off: tuple[tuple[str, str], ...]
) -> Result | None:
    """Measure a servo; return how the step ends when that showed a fault, None when not."""
    name = item.subject
    rig.prompter.tell(
        f"Servo {rig.planned(name).servo} is stepped through its range, its rod off. "
        "Set the protractor to zero at the arm's planned place, fingers clear of the arm."
    )
    unfit = _calibrated(rig, name, figures)
    if unfit:
        return settle(rig, item, _unfit(name, " ".join(unfit)), figures, rod_off)
    if (elsewhere := _against_seat(rig, name)) is None:
        return None
    named, text = elsewhere
    return left_in_place(settle(rig, item, named, figures, rod_off), text)


def _calibrated(rig: Rig, name: str, figures: dict[str, Any]) -> tuple[str, ...]:
    """Calibrate, once more and more closely where readings contradict each other.

    Returns
    -------
    tuple of str
        Why the servo is unfit for a control surface; empty when it is fit.
    """
    while True:
        kind = figures["calibration"]
        try:
            with rig.live([name]):
                asker = Within(rig.prompter)
                return rig.keeper.calibrate(rig.board, asker, rig.setting(name), kind)
        except UnfitError as error:
            return (f"no travel curve: {error}",)
        except TravelError as error:
            if kind == KINDS[-1]:
                return (f"no travel curve: {error}",)
            figures["calibration"] = KINDS[KINDS.index(kind) + 1]
            rig.prompter.tell(f"{error} It is measured anew, with more readings.")


def _kind(rig: Rig) -> str:
    """Settle once for all how the servos are calibrated."""
    if rig.calibration:
        return rig.calibration
    for row in reversed(rig.rows):  # settled in an earlier sitting
        kind = row["figures"].get("asked") if row["step"] == "travel" else None
        if kind in (RECORD, *KINDS):
            rig.calibration = kind
            return str(kind)
    names = [one.name for one in rig.surfaces]
    all_known = all(rig.curve(name) is not None for name in names)
    if all_known:  # a label is the same whatever the model: it is seen whether the servo is, too
        for label in dict.fromkeys(rig.planned(name).servo for name in names):
            rig.prompter.tell(f"on record for {label}: {rig.keeper.curve_from(label)}")
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
    """Tell whether this servo was measured in this rig, and only what it drives has changed."""
    own = [row for row in rig.rows if (row["surface"], row["step"]) == (name, "travel")]
    measured = [row for row in own if row["outcome"] in ("done", "failed")]
    if not measured or any(row["text"] == REDO for row in own[own.index(measured[-1]) :]):
        return False
    figures = measured[-1]["figures"]
    mended = figures.get("mend", {}).get("name")
    judged = "rate_deg_per_us" in figures and mended is None  # its curve stood; it went too short
    return bool(measured[-1]["outcome"] == "done" or mended == "refit" or judged)


def _against_seat(rig: Rig, name: str) -> tuple[Named, str] | None:
    """Say that the arm stands elsewhere than its lean was read; None when both agree.

    A seat that was read before the servo was measured does not move its curve: the curve
    alone says where the arm stood, by the protractor's zero at its planned place.
    """
    row, curve = rig.found("seat", name), rig.curve(name)
    # A seat that was left out after a fault says nothing of how the arm sits now.
    if row is None or curve is None or "arm_deg" not in row["figures"]:
        return None
    surface, figures = rig.surface(name), row["figures"]
    servo = rig.model.servo_of(surface)
    stands = float(curve.angle_deg(servo.centre_us))
    doubt = 2.0 * math.hypot(figures["u_deg"], float(curve.angle_u_deg(servo.centre_us)))
    if abs(stands - figures["arm_deg"]) <= max(doubt, APART_DEG):
        return None
    lean = lean_deg(surface, servo) + ahead_sense(mounted(surface, servo)) * stands
    found = seat_of(surface, servo, lean, rate_deg_per_us=curve.rate_deg_per_us)
    said = (
        f"{name}: the protractor shows the arm {units.deg(abs(stands))} from its planned place at "
        f"{servo.centre_us} us, but its lean was read as {lean_words(figures['lean_deg'])}. "
        "If the lean was read wrongly, redo seat."
    )
    if found.named is None:
        mends = (mend("trim", "leave the arm where it is", trim_us=round(found.trim_us)),)
        return Named("lean", said, mends), found.text
    named = replace(found.named, text=f"{said} {found.named.text}")
    return named, found.text


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
