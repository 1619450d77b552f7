"""Servos brought to their centre, arms off; then arms fitted where they are planned."""

from __future__ import annotations

import math
from typing import Any

from hingeline import units
from hingeline.bench.asking import Gauge, lean_question
from hingeline.bench.choices import Choice
from hingeline.bench.rigging.context import Result, Rig
from hingeline.bench.rigging.mending import left_in_place, settle
from hingeline.bench.rigging.reading import plain_keep, questioned
from hingeline.bench.rigging.rods import on_again, take_off
from hingeline.linkage.mounting import lean_deg
from hingeline.rigging.mends import leads_named
from hingeline.rigging.naming import Named
from hingeline.rigging.seating import seat_of
from hingeline.rigging.steps import Item
from hingeline.travel.nominal import nominal
from hingeline.travel.reading import resolution_u

#: How far a bare shaft is wagged about its centre, in us, and how often. Our own choice: about
#: five degrees of a common servo, which is plain to see and meets no stop.
WAG_US, WAGS = 60, 2
#: So often nothing may move before the step is given up.
TRIES = 3
NONE = "none"
#: What an arm's lean is read with.
ARM_GAUGE = Gauge("arm", 0.5)


def centre(rig: Rig, item: Item) -> Result:
    """Start a servo without its arm, and have it said which one moves."""
    surface = rig.planned(item.subject)
    _arms_off(rig)
    centre_us = rig.model.servo_of(surface).centre_us
    labels = tuple(dict.fromkeys(one.servo for one in rig.model.surfaces))
    for _ in range(TRIES):
        with rig.live([item.subject]):
            rig.go({item.subject: centre_us})
            for _ in range(WAGS):
                for way in (WAG_US, -WAG_US):
                    rig.go({item.subject: centre_us + way})
            rig.go({item.subject: centre_us})
            with rig.board.attended():
                seen = rig.prompter.pick(
                    Choice(
                        f"channel {surface.channel} has just wagged a little: which servo moved",
                        surface.channel,
                        (*labels, NONE),
                        help="Look at the labels on the servos; none: nothing moved.",
                        topic="which servo",
                        detail={"channel": surface.channel, "surface": surface.name},
                    )
                )
        if seen == surface.servo:
            text = f"{seen} on channel {surface.channel}"
            return Result("done", text, {"servo": seen}, on_again(rig, item.subject))
        if (other := _seen_on(rig, seen)) is not None:
            rig.prompter.tell(
                f"{seen} was seen to move on channel {other}, and one servo hangs on one channel: "
                f"look again. Channel {surface.channel} is wagged once more."
            )
            continue
        if seen != NONE:
            return _swapped(rig, item, seen)
        rig.prompter.tell(
            f"Nothing moved on channel {surface.channel}: look at its plug, at the lead and at "
            "the servos' supply. It is wagged once more."
        )
    text = f"{surface.name}: channel {surface.channel} was not seen to move its own servo."
    named = Named("unknown", text, ())
    return settle(rig, item, named, {"servo": NONE})


def _seen_on(rig: Rig, servo: str) -> int | None:
    """Return the channel on which a servo was seen to move already; None: on none."""
    for other in rig.surfaces:
        row = rig.found("centre", other.name)
        if row is not None and row["outcome"] == "done" and row["figures"].get("servo") == servo:
            return other.channel
    return None


def _arms_off(rig: Rig) -> None:
    """Have the arms taken off before a servo gets its first pulse."""
    if rig.arms_off:
        return
    rig.prompter.pick(
        Choice(
            "Take the arms off the servos that are to be centred: an arm may jump at its first "
            "pulse. Propeller off, fingers clear. When they are off, type off",
            rig.surfaces[0].channel,
            ("off",),
            topic="arms off",
        )
    )
    rig.arms_off = True


def _swapped(rig: Rig, item: Item, seen: str) -> Result:
    surface = rig.planned(item.subject)
    other = next(one for one in rig.model.surfaces if one.servo == seen)
    rigged = {one.name for one in rig.surfaces}
    also = ((other.name, "centre"),) if other.name in rigged else ()
    return settle(rig, item, leads_named(surface, other), {"servo": seen}, also)


def seat(rig: Rig, item: Item) -> Result:
    """Hold all at centre while an arm is fitted, and have its lean read."""
    surface = rig.surface(item.subject)
    servo = rig.model.servo_of(surface)
    rod_off, rod = take_off(rig, item.subject)
    rig.arms_off = False  # from here on an arm may be on
    for line in _place(rig, item.subject):
        rig.prompter.tell(line)
    question = lean_question(surface, ARM_GAUGE)
    planned = lean_deg(surface, servo)
    holding = _to_be_seated(rig, item)
    with rig.live(holding):
        # One after another: several that start at once may pull a weak supply down.
        for name in holding:
            rig.go({name: rig.model.servo_of(rig.planned(name)).centre_us})
        rig.prompter.tell(
            "The servos hold their centres. Fit this arm without turning the shaft, and keep "
            "fingers off the others."
        )
        with rig.board.attended():
            answer = questioned(
                rig.prompter,
                question,
                plain_keep(rig, item.subject, item.step.name, question),
                planned,
                lambda made: made.value,
                lean_words,
            )
    curve = rig.curve(item.subject) or nominal(servo)
    found = seat_of(
        surface,
        servo,
        answer.value,
        rate_deg_per_us=curve.rate_deg_per_us,
        part_arm=rig.built(item.subject).part_arm,
    )
    figures: dict[str, Any] = {
        **rod_off,
        "lean_deg": answer.value,
        "planned_lean_deg": planned,
        "arm_deg": found.arm_deg,
        "pulse_us": servo.centre_us,
        "curve": rig.keeper.curve_number(surface.servo),  # the one that this seat moves
        "u_deg": math.hypot(resolution_u(ARM_GAUGE.resolution), 0.3),
    }
    rig.keeper.finding("seat", surface.servo, figures)
    named = found.named
    if named is None:
        counted = "" if found.off_deg == 0 else "; counted in from here on"
        return Result("done", f"{found.text}{counted}", figures, rod)
    return left_in_place(settle(rig, item, named, figures, rod), found.text)


def _to_be_seated(rig: Rig, item: Item) -> list[str]:
    """Name this surface and those whose arms are still to be fitted."""
    return [
        one.subject
        for one in rig.progress.items
        if one.step.name == "seat"
        and (one.subject == item.subject or rig.progress.state(one) in ("open", "again"))
        and not rig.progress.waits_for(one.step, one.subject)
    ]


def lean_words(size_deg: float) -> str:
    """Say how an arm leans: "square", "ahead 14.4 deg"."""
    if round(abs(size_deg), 1) == 0:
        return "square"
    return f"{'ahead' if size_deg > 0 else 'aft'} {units.deg(abs(size_deg))}"


def _place(rig: Rig, name: str) -> list[str]:
    """Say where an arm belongs."""
    surface = rig.surface(name)
    servo = rig.model.servo_of(surface)
    lean, teeth = lean_deg(surface, servo), surface.arm.teeth_lean
    where = "square to the rod"
    if teeth or surface.arm.part_arm > 1:
        way = "ahead" if teeth > 0 else "aft"
        count = f"{abs(teeth)} {'tooth' if abs(teeth) == 1 else 'teeth'} {way} of square"
        where = f"{lean_words(lean)} of square to the rod ({count if teeth else 'no tooth'}"
        if servo.arm_count > 1:
            where += f", arm {surface.arm.part_arm} of the part"
        where += ")"
    hole = surface.arm.hole
    lines = [f"Servo {surface.servo}: the arm belongs {where}."]
    if hole is not None:
        size = surface.arm.holes_mm[hole - 1]
        lines.append(f"The rod will go to arm hole {hole}, {size:g} mm from the shaft.")
    return lines
