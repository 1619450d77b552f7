"""Rods connected, and surfaces brought to neutral."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from hingeline import units
from hingeline.bench.asking import Gauge, Question
from hingeline.bench.choices import Choice
from hingeline.bench.rigging.context import Result, Rig
from hingeline.bench.rigging.mending import settle
from hingeline.bench.rigging.reading import plain_keep, questioned, read_surface
from hingeline.errors import HingelineError
from hingeline.linkage.mounting import mounted
from hingeline.model.throws import signed_deg
from hingeline.model.words import directions, say
from hingeline.rigging.mends import neutral_named
from hingeline.rigging.naming import Named, mend
from hingeline.rigging.steps import Item
from hingeline.travel.reading import Approach
from hingeline.travel.setting import Setting

#: Neutral is come to from so much of a throw the second way, so that play lies on a known side.
RUN_UP = 0.25
#: A ruler at the horn.
RULER = Gauge("drop", 0.5)
_MOST_SET_BACK_MM = 30.0
#: Aft counts positive at the horn.
SET_BACK_SIGNS = {"aft": 1, "ahead": -1}


def rod(rig: Rig, item: Item) -> Result:
    """Say how the rod belongs, and have it said how it is fitted."""
    surface = rig.surface(item.subject)
    servo = rig.model.servo_of(surface)
    length = mounted(surface, servo).length_mm
    arm, horn = surface.arm, surface.horn
    planned = {
        "arm_hole": arm.hole,
        "horn_hole": horn.hole,
        "rod_mm": round(length, 2),
        "set_back_mm": float(horn.set_back_mm),
    }
    ask = rig.prompter
    ask.tell("No servo has pulses now; glue and solder need fresh air.")
    ask.tell(
        f"Arm hole {arm.hole}, {arm.holes_mm[(arm.hole or 1) - 1]:g} mm from the shaft; horn hole "
        f"{horn.hole}, {horn.holes_mm[(horn.hole or 1) - 1]:g} mm from the hinge line, its hole "
        f"{_set_back_words(float(horn.set_back_mm))} the hinge line; rod {length:.1f} mm from "
        "hole to hole, so that the surface stands at neutral."
    )
    picked = ask.pick(
        Choice(
            f"{surface.name}: is the rod fitted so, or different",
            surface.channel,
            ("fitted", "different"),
            help="Count the holes once more: at the arm from the shaft, at the horn from the "
            "hinge line. different: you are asked what it is.",
            topic="holes",
            detail={"surface": surface.name, **planned},
        )
    )
    if picked == "fitted":
        return Result("done", "as planned", {"rod_mm": length})
    holes = _asked(rig, item)
    figures: dict[str, Any] = {"holes": holes}
    built = rig.built(item.subject)
    changed = replace(built, holes={**built.holes, **holes}).surface(rig.planned(item.subject))
    curve = rig.setting(item.subject).curve
    short = _short(Setting(changed, servo, mounted(changed, servo), curve))
    if short:
        named = Named(
            "hole",
            f"With these holes {surface.name} cannot have its throws: {short}",
            (
                mend("hole", f"put the rod into arm hole {arm.hole}", part="arm", hole=arm.hole),
                mend(
                    "hole", f"put the rod into horn hole {horn.hole}", part="horn", hole=horn.hole
                ),
            ),
        )
        return settle(rig, item, named, figures)
    return Result("done", "fitted otherwise than planned", figures)


def _asked(rig: Rig, item: Item) -> dict[str, float]:
    """Have the holes and the set-back said as they are."""
    surface = rig.surface(item.subject)
    found: dict[str, float] = {}
    for part, holes in (("arm", surface.arm.holes_mm), ("horn", surface.horn.holes_mm)):
        numbers = tuple(str(number) for number in range(1, len(holes) + 1))
        sizes = ", ".join(
            f"{number}: {mm:g} mm" for number, mm in zip(numbers, holes, strict=True)
        )
        rig.prompter.tell(f"{part}: {sizes}")
        found[f"{part}_hole"] = int(
            rig.prompter.pick(
                Choice(
                    f"{surface.name}: which hole of the {part}",
                    surface.channel,
                    numbers,
                    topic=f"{part} hole",
                    detail={"surface": surface.name},
                )
            )
        )
    question = Question(
        f"{surface.name}: how far does the horn's hole stand aft of the hinge line, or ahead, "
        "in mm",
        surface.channel,
        RULER,
        SET_BACK_SIGNS,
        most=_MOST_SET_BACK_MM,
        help="Seen from the side, square to the surface: aft 1.5, ahead 2, or 0.",
        topic="set-back",
        detail={"surface": surface.name},
    )
    answer = questioned(
        rig.prompter,
        question,
        plain_keep(rig, item.subject, item.step.name, question),
        0.0,
        lambda made: made.value,
        lambda size: f"{size:.1f} mm",
    )
    found["set_back_mm"] = answer.value
    return found


def _short(setting: Setting) -> str:
    """Say which throw cannot be had; empty when all can."""
    for word in directions(setting.surface):
        try:
            setting.pulse_us(signed_deg(setting.surface, word))
        except HingelineError as error:
            return f"{error}"
    return ""


def neutral(rig: Rig, item: Item) -> Result:
    """Bring a surface to neutral, and have it read where it really stands."""
    name = item.subject
    setting = rig.setting(name)
    pulse = round(setting.centre_us)
    with rig.live([name]):
        approach = come_to_neutral(rig, setting, pulse)
        expected = setting.predicted_deg(pulse, approach)
        seen = read_surface(
            rig, setting, pulse, approach, topic="neutral", share=0.0, expected_deg=expected
        )
    off = seen - expected
    first = 1 if say(setting.surface, 1.0).startswith(directions(setting.surface)[0]) else -1
    figures: dict[str, Any] = {
        "pulse_us": pulse,
        "approach": approach,
        "measured_deg": first * seen,
        "predicted_deg": first * expected,
        "off_deg": first * off,
    }
    named = neutral_named(setting, off, rig.u_deg)
    if named is None:
        text = f"stands {say(setting.surface, seen)} at {pulse} us, read to {units.deg(rig.u_deg)}"
        return Result("done", text, figures)
    return settle(rig, item, named, figures)


def come_to_neutral(rig: Rig, setting: Setting, pulse_us: int) -> Approach:
    """Send a surface to neutral from a little the second way; return the pulse's approach."""
    name = setting.surface.name
    second = directions(setting.surface)[1]
    aside = setting.pulse_us(RUN_UP * signed_deg(setting.surface, second))
    for pulse in (pulse_us, aside, pulse_us):
        rig.go({name: pulse})
    return "rising" if aside < pulse_us else "falling"


def _set_back_words(set_back_mm: float) -> str:
    if not set_back_mm:
        return "over"
    return f"{abs(set_back_mm):g} mm {'aft of' if set_back_mm > 0 else 'ahead of'}"
