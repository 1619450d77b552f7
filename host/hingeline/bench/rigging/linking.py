"""Rods connected, and surfaces brought to neutral."""

from __future__ import annotations

import math
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
from hingeline.model.schema import Surface
from hingeline.model.throws import signed_deg
from hingeline.model.words import directions, say, sign_of
from hingeline.rigging.mends import neutral_named, slop_limit_deg
from hingeline.rigging.naming import Named, mend
from hingeline.rigging.steps import Item
from hingeline.travel.reading import Approach
from hingeline.travel.setting import Setting

#: Neutral is come to from so much of a throw the second way, so that play lies on a known side.
RUN_UP = 0.25
#: A ruler at the horn.
RULER = Gauge("drop", 0.5)
_MOST_SET_BACK_MM = 30.0
#: A horn so far from its planned place is named. Our own choice: what a ruler shows for certain.
SET_BACK_MM = 1.0
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
    holes = {} if picked == "fitted" else _asked_holes(rig, item)
    set_back = _asked_set_back(rig, item)
    aft = set_back - float(horn.set_back_mm)
    figures: dict[str, Any] = {"rod_mm": length, "set_back_mm": set_back, "holes": holes}
    if abs(aft) > SET_BACK_MM:
        result = settle(rig, item, _set_back(surface, set_back, aft), figures)
        if "mend" in result.figures:
            return result
        # Left so, it is reckoned with as it is.
        kept = {**result.figures, "holes": {**holes, "set_back_mm": set_back}}
        return replace(result, figures=kept)
    if not holes:
        return Result("done", "as planned", figures)
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


def _set_back(surface: Surface, set_back_mm: float, aft_mm: float) -> Named:
    """Name a horn that stands elsewhere than planned."""
    way = "ahead" if aft_mm > 0 else "aft"
    return Named(
        "set-back",
        f"{surface.name}: the horn's hole stands {_set_back_words(set_back_mm)} the hinge line; "
        f"planned is {_set_back_words(float(surface.horn.set_back_mm))} it. The throws come out "
        "less even for it.",
        (
            replace(
                mend(
                    "set-back",
                    f"move the horn {abs(aft_mm):.1f} mm {way}",
                    "throws as planned",
                    move_mm=-aft_mm,
                ),
                reopens=("rod",),
            ),
        ),
    )


def _asked_holes(rig: Rig, item: Item) -> dict[str, float]:
    """Have the holes said as they are."""
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
    return found


def _asked_set_back(rig: Rig, item: Item) -> float:
    """Have the horn's set-back read."""
    surface = rig.surface(item.subject)
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
        float(surface.horn.set_back_mm),
        lambda made: made.value,
        lambda size: f"{size:.1f} mm",
    )
    return answer.value


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
    seen, expected, approach = _read_neutral(rig, setting, pulse, directions(setting.surface)[1])
    first = sign_of(setting.surface, directions(setting.surface)[0])
    figures: dict[str, Any] = {
        "pulse_us": pulse,
        "approach": approach,
        "measured_deg": first * seen,
        "predicted_deg": first * expected,
    }
    off, u = seen - expected, rig.u_deg(name)
    named = neutral_named(setting, off, u)
    if named is not None:
        # Free play shows on one side alone: only the middle of both is the rod's doing.
        rig.prompter.tell(
            "It is read once more, come to from the other side: free play would show on one side "
            "alone."
        )
        seen, off, other = _both_sides(rig, setting, pulse, seen, expected, u)
        figures |= {"measured_deg": first * seen, "from_first_deg": first * other}
        u /= math.sqrt(2.0)
        named = neutral_named(setting, off, u)
    figures["off_deg"] = first * off
    if named is None:
        read_to = units.deg(rig.u_deg(name))
        text = f"stands {say(setting.surface, seen)} at {pulse} us, read to {read_to}"
        return Result("done", text, figures)
    return settle(rig, item, named, figures)


def _both_sides(
    rig: Rig, setting: Setting, pulse_us: int, seen: float, expected: float, u_deg: float
) -> tuple[float, float, float]:
    """Read neutral from the first side, too; both anew where free play does not explain them.

    Returns
    -------
    seen, off, other : float
        Coming from the second side; off neutral in the middle of both; coming from the first.
    """
    first, second = directions(setting.surface)
    most = slop_limit_deg(setting) + 2.0 * math.sqrt(2.0) * u_deg
    other, its, _ = _read_neutral(rig, setting, pulse_us, first)
    apart = (seen - expected) - (other - its)
    if abs(apart) > most:
        rig.prompter.tell(
            f"Come to from {second} it was {say(setting.surface, seen)}, from {first} "
            f"{say(setting.surface, other)}: further apart than the {units.deg(most)} that free "
            "play and gauge may make. Something moves between the two, or one was misread: both "
            "are read again."
        )
        seen, expected, _ = _read_neutral(rig, setting, pulse_us, second)
        other, its, _ = _read_neutral(rig, setting, pulse_us, first)
    return seen, ((seen - expected) + (other - its)) / 2.0, other


def _read_neutral(
    rig: Rig, setting: Setting, pulse_us: int, come_from: str
) -> tuple[float, float, Approach]:
    """Come to neutral from one side; return what was read, what was expected, the approach."""
    with rig.live([setting.surface.name]):
        approach = come_to_neutral(rig, setting, pulse_us, come_from)
        expected = setting.predicted_deg(pulse_us, approach)
        seen = read_surface(
            rig, setting, pulse_us, approach, topic="neutral", share=0.0, expected_deg=expected
        )
    return seen, expected, approach


def come_to_neutral(
    rig: Rig, setting: Setting, pulse_us: int, come_from: str | None = None
) -> Approach:
    """Send a surface to neutral from a little to one side; return the pulse's approach.

    Without ``come_from`` from its second direction.
    """
    name = setting.surface.name
    side = come_from or directions(setting.surface)[1]
    aside = setting.pulse_us(RUN_UP * signed_deg(setting.surface, side))
    for pulse in (pulse_us, aside, pulse_us):
        rig.go({name: pulse})
    return "rising" if aside < pulse_us else "falling"


def _set_back_words(set_back_mm: float) -> str:
    if not set_back_mm:
        return "over"
    return f"{abs(set_back_mm):g} mm {'aft of' if set_back_mm > 0 else 'ahead of'}"
