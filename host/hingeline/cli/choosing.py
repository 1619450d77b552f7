"""Choices of holes and teeth, laid out for people and as figures."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import msgspec

from hingeline import units
from hingeline.cli.output import table, wrapped
from hingeline.errors import LinkageError, ModelError
from hingeline.linkage.aero import Airload
from hingeline.linkage.choice import Judged, judge, whole_space
from hingeline.linkage.explain import what_would_help, why
from hingeline.linkage.load import DERATING
from hingeline.linkage.mounting import lean_deg
from hingeline.linkage.option import Option, Space
from hingeline.linkage.plan import lean_size
from hingeline.linkage.spline import finest_deg, position
from hingeline.model.rewriting import Build
from hingeline.model.schema import Direction, Offset, Servo, Surface
from hingeline.model.throws import signed_deg
from hingeline.model.words import directions

#: How many fit choices, and how many near misses, are shown.
SHOWN, MISSES_SHOWN = 6, 3


@dataclass(frozen=True)
class Choice:
    """The judged choices of one surface.

    Attributes
    ----------
    surface, servo : Surface, Servo
        From the model file.
    judged : Judged
        All combinations.
    advice : list of str
        What would help, when none is fit.
    """

    surface: Surface
    servo: Servo
    judged: Judged
    advice: list[str]

    @property
    def best(self) -> Option | None:
        """The best fit combination, None when there is none."""
        found = self.judged.best(1)
        return found[0] if found else None


def choose(
    surface: Surface,
    servo: Servo,
    travel_deg: tuple[float, float],
    set_backs_mm: Sequence[float] = (),
    *,
    other_side: bool = False,
    air: Airload | None = None,
) -> Choice:
    """Judge everything that may be chosen for a surface.

    With ``other_side`` the rod is on the side of the arm opposite to that of the file. With
    ``air`` and a stall torque, a servo that is too weak makes a choice unfit.
    """
    if other_side:
        surface = _turned_about(surface)
    space = whole_space(surface, servo, set_backs_mm=set_backs_mm or None)
    stall, hinge_nm = servo.stall_torque_nm, None
    if air is not None:
        hinge_nm = {
            word: abs(float(air.upper_nm(math.radians(signed_deg(surface, word)))))
            for word in directions(surface)
        }
    judged = judge(
        surface,
        servo,
        travel_deg,
        space,
        hinge_nm=hinge_nm,
        servo_nm=None if stall is None else DERATING * stall,
    )
    advice = [] if judged.fit_count else what_would_help(surface, servo, travel_deg, judged)
    return Choice(surface, servo, judged, advice)


def _turned_about(surface: Surface) -> Surface:
    points = surface.mount.arm_points
    turned = Direction(-points.ahead, -points.off, -points.along)
    mount = msgspec.structs.replace(surface.mount, arm_points=turned)
    return msgspec.structs.replace(surface, mount=mount)


def completed(surface: Surface, servo: Servo, travel_deg: tuple[float, float]) -> Surface:
    """Return a surface with the holes that its file leaves out filled in by the best choice.

    The lean and set-back of the file are kept, and so is a hole that it does choose.

    Raises
    ------
    LinkageError
        When no combination is fit, saying what would help.
    """
    arm, horn = surface.arm.hole, surface.horn.hole
    if arm is not None and horn is not None:
        return surface
    whole = whole_space(surface, servo)
    space = Space(
        (arm,) if arm else whole.arm_holes,
        (horn,) if horn else whole.horn_holes,
        (round(lean_deg(surface, servo) / finest_deg(servo)),),
        whole.set_backs_mm,
    )
    judged = judge(surface, servo, travel_deg, space)
    best = judged.best(1)
    if not best:
        advice = what_would_help(surface, servo, travel_deg, judged)
        raise LinkageError(
            f"{surface.name}: no choice of the holes left open gives the throws wanted.",
            cause=why(judged.nearest_misses(1)[0], judged, None),
            mend=f"What would help: {'; or '.join(advice)}." if advice else "Ask for less throw.",
        )
    return with_option(surface, servo, best[0])


def with_option(surface: Surface, servo: Servo, option: Option) -> Surface:
    """Return a surface with a combination built in."""
    build = build_of(servo, option)
    replace = msgspec.structs.replace
    return replace(
        surface,
        arm=replace(
            surface.arm,
            hole=build.arm_hole,
            teeth_lean=build.teeth_lean,
            part_arm=build.part_arm,
        ),
        horn=replace(surface.horn, hole=build.horn_hole, set_back_mm=Offset(build.set_back_mm)),
    )


def build_of(servo: Servo, option: Option) -> Build:
    """Return a combination as it stands in a model file."""
    place = position(servo, option.step)
    return Build(
        option.arm_hole, option.horn_hole, place.teeth, place.arm, float(option.set_back_mm)
    )


def named_holes(choice: Choice, arm_hole: int, horn_hole: int) -> list[Option]:
    """Return all leans and set-backs of one pair of holes, the best first.

    Raises
    ------
    ModelError
        For a hole that the surface does not have.
    """
    space = choice.judged.space
    for part, hole, holes in (
        ("arm", arm_hole, space.arm_holes),
        ("horn", horn_hole, space.horn_holes),
    ):
        if hole not in holes:
            raise ModelError(
                f"{choice.surface.name}: there is no {part} hole {hole}.",
                mend=f"Its {part} has the holes 1 to {len(holes)}.",
            )
    return choice.judged.matching(arm_hole, horn_hole)


def choice_figures(choice: Choice) -> dict[str, Any]:
    """Return the choices of a surface as plain figures."""
    judged, best = choice.judged, choice.best
    return {
        "combinations": judged.space.size,
        "fit": judged.fit_count,
        "choices": [option_figures(choice, option, best) for option in judged.best(SHOWN)],
        "rejected": [
            option_figures(choice, option, best) for option in judged.nearest_misses(MISSES_SHOWN)
        ],
        "would_help": choice.advice,
    }


def option_figures(choice: Choice, option: Option, best: Option | None) -> dict[str, Any]:
    """Return one combination as plain figures, with its reason."""
    build = build_of(choice.servo, option)
    return {
        "arm_hole": option.arm_hole,
        "arm_hole_mm": option.arm_mm,
        "horn_hole": option.horn_hole,
        "horn_hole_mm": option.horn_mm,
        "teeth_lean": build.teeth_lean,
        "part_arm": build.part_arm,
        "lean_deg": option.lean_deg,
        "set_back_mm": option.set_back_mm,
        "rod_length_mm": option.rod_mm,
        "servo_deg": option.turn_deg,
        "reach_deg": option.reach_deg,
        "equal_turns_deg": option.even_deg,
        "travel_used": option.use,
        "least_rod_angle_deg": option.least_angle_deg,
        "rod_end_angle_deg": option.end_angle_deg,
        "half_way_uneven_deg": option.middle_deg,
        "ratio_at_neutral": option.ratio,
        "servo_margin": option.margin,
        "slop_deg": option.slop_deg,
        "fit": not option.misses,
        "why": why(option, choice.judged, best),
    }


def choice_text(choice: Choice) -> Iterator[str]:
    """Lay the choices of a surface out for people."""
    judged, best = choice.judged, choice.best
    yield f"Choices for {choice.surface.name}: {judged.fit_count} of {judged.space.size} are fit"
    if judged.fit_count:
        yield from option_rows(choice, judged.best(SHOWN), best)
    else:
        yield "  None gives the throws wanted. What would help, one thing at a time:"
        yield from (wrapped(f"    - {line}") for line in choice.advice)
    misses = judged.nearest_misses(MISSES_SHOWN)
    if misses:
        yield "  Not fit, the nearest miss first:"
        yield from option_rows(choice, misses, best)


def option_rows(choice: Choice, options: Sequence[Option], best: Option | None) -> Iterator[str]:
    """Lay combinations out as a table, and say why each stands where it does."""
    first, second = choice.judged.wanted_deg
    with_set_back = len(choice.judged.space.set_backs_mm) > 1
    rows = []
    for number, option in enumerate(options, start=1):
        row = [
            str(number),
            f"{option.arm_hole} ({option.arm_mm:.1f})",
            f"{option.horn_hole} ({option.horn_mm:.1f})",
            _lean_text(choice.servo, option),
            f"{100 * option.use:.0f} %",
            units.deg(option.even_deg[first]),
            units.deg(option.even_deg[second]),
            units.deg(option.slop_deg),
        ]
        if with_set_back:
            row.insert(4, units.mm(option.set_back_mm))
        rows.append(row)
    headings = ["", "arm hole", "horn hole", "lean", ">travel used"]
    headings += [f">{first}", f">{second}", ">rod slop"]
    if with_set_back:
        headings.insert(4, ">set-back")
    yield from (f"  {line}" for line in table(headings, rows).splitlines())
    for number, option in enumerate(options, start=1):
        yield wrapped(f"  {number}: {why(option, choice.judged, best)}")


def _lean_text(servo: Servo, option: Option) -> str:
    if option.step == 0:
        return "square"
    way = "away" if option.lean_deg > 0 else "towards"
    place = position(servo, option.step)
    part = f", arm {place.arm}" if servo.arm_count > 1 else ""
    return f"{lean_size(option.lean_deg, servo)} {way}{part}"
