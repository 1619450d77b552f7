"""Judged choices in sentences: why one stands where it does, and what would help."""

from __future__ import annotations

import math
from dataclasses import dataclass

import msgspec
import numpy as np

from hingeline.linkage.choice import Judged, judge
from hingeline.linkage.option import Limits, Option, Space
from hingeline.linkage.plan import lean_size
from hingeline.linkage.spline import finest_deg, position
from hingeline.model.schema import Length, Servo, Surface

#: Differences smaller than these are not worth a word in a comparison.
_WORTH_USE, _WORTH_BIAS_DEG, _WORTH_SLOP_DEG, _WORTH_ANGLE_DEG = 0.05, 0.4, 0.05, 4.0


def why(option: Option, judged: Judged, best: Option | None) -> str:
    """Say in one sentence why a combination stands where it does.

    Parameters
    ----------
    option : Option
        The combination.
    judged : Judged
        The judgement that it comes from.
    best : Option or None
        The best fit one, to compare with; None when there is none.
    """
    if option.misses:
        return "; ".join(option.misses) + "."
    if best is None or option == best:
        return (
            f"uses {100 * option.use:.0f} % of the servo's travel, {_bias_words(option, judged)}, "
            f"and keeps the rod {option.least_angle_deg:.0f} deg or more from being in line."
        )
    points = []
    if option.use < best.use - _WORTH_USE:
        points.append(
            f"uses {100 * option.use:.0f} % of the servo's travel instead of "
            f"{100 * best.use:.0f} %, so every error of the servo shows more"
        )
    elif option.use > best.use + _WORTH_USE:
        points.append(f"uses more of the servo's travel ({100 * option.use:.0f} %)")
    if option.bias_error_deg > best.bias_error_deg + _WORTH_BIAS_DEG:
        points.append(_bias_words(option, judged))
    elif option.bias_error_deg < best.bias_error_deg - _WORTH_BIAS_DEG:
        points.append("comes nearer to the wanted difference, " + _bias_words(option, judged))
    if option.slop_deg > best.slop_deg + _WORTH_SLOP_DEG:
        points.append(f"more slop ({option.slop_deg:.1f} deg)")
    if option.least_angle_deg < best.least_angle_deg - _WORTH_ANGLE_DEG:
        points.append(f"the rod comes within {option.least_angle_deg:.0f} deg of being in line")
    if not points:
        points.append("as good in all but small things")
    return "; ".join(points) + "."


def _bias_words(option: Option, judged: Judged) -> str:
    first, second = judged.wanted_deg
    even = option.even_deg
    if option.bias_error_deg <= _WORTH_BIAS_DEG:
        return f"gives {first} {even[first]:.1f} and {second} {even[second]:.1f} deg by itself"
    return (
        f"gives {first} {even[first]:.1f} and {second} {even[second]:.1f} deg by itself, so the "
        f"radio's end points must make up {option.bias_error_deg:.1f} deg"
    )


@dataclass(frozen=True)
class Lean:
    """One buildable lean of the holes that are chosen.

    Attributes
    ----------
    step : int
        In finest steps, positive ahead.
    lean_deg : float
        From square.
    arm, teeth : int
        Arm of the part, and teeth from square, counted as in :mod:`~.spline`.
    even_deg : dict of str to float
        Throws for equal turns of the servo.
    differential_percent : float
        100 (1 - second / first), in degrees: by how much the second throw is smaller.
    """

    step: int
    lean_deg: float
    arm: int
    teeth: int
    even_deg: dict[str, float]
    differential_percent: float


def leans(surface: Surface, servo: Servo, travel_deg: tuple[float, float]) -> list[Lean]:
    """List the buildable leans of the chosen holes that can give the throws, and what each does.

    Raises
    ------
    ModelError
        When the mounting contradicts itself.
    """
    reach = math.floor(Limits().lean_deg / finest_deg(servo))
    space = Space(
        (surface.arm.hole or 1,),
        (surface.horn.hole or 1,),
        tuple(range(-reach, reach + 1)),
        (float(surface.horn.set_back_mm),),
    )
    judged = judge(surface, servo, travel_deg, space, Limits())
    found = []
    for flat, step in enumerate(space.steps):
        option = judged.option(flat)
        even = option.even_deg
        if any(map(math.isnan, [*even.values(), *option.turn_deg.values()])):
            continue  # with this lean a wanted throw cannot be had at all
        place = position(servo, step)
        first, second = even.values()
        found.append(
            Lean(
                step,
                option.lean_deg,
                place.arm,
                place.teeth,
                even,
                100.0 * (1.0 - second / first),
            )
        )
    return found


def best_lean(found: list[Lean], wanted_deg: dict[str, float]) -> Lean:
    """Return the buildable lean whose throws differ most nearly as wanted."""
    first, second = wanted_deg
    bias = wanted_deg[first] - wanted_deg[second]
    return min(
        found,
        key=lambda lean: (
            round(abs(lean.even_deg[first] - lean.even_deg[second] - bias), 6),
            abs(lean.step),
        ),
    )


def lean_sentence(lean: Lean, servo: Servo) -> str:
    """Say how to build a lean and what it gives."""
    first, second = lean.even_deg
    gives = f"{first} {lean.even_deg[first]:.1f}, {second} {lean.even_deg[second]:.1f} deg"
    if lean.step == 0:
        return f"keep the arm square: {gives}"
    way = "AWAY from" if lean.lean_deg > 0 else "TOWARDS"
    part = f" (arm {lean.arm} of {servo.arm_count})" if servo.arm_count > 1 else ""
    size = lean_size(lean.lean_deg, servo)
    return f"lean the arm {size} {way} the hinge line{part}: {gives}"


def what_would_help(
    surface: Surface, servo: Servo, travel_deg: tuple[float, float], judged: Judged
) -> list[str]:
    """Say what would have to change, and by how much, when nothing is fit.

    One thing is changed at a time, for the combination that is nearest to being fit: the
    arm's hole, the horn's hole, the servo's travel, the throw.
    """
    nearest = judged.nearest_misses(1)[0]
    found = []
    arm = _needed(surface, servo, travel_deg, nearest, "arm")
    if arm is not None:
        found.append(
            f"an arm hole {arm:.1f} mm from the spindle, with horn hole {nearest.horn_hole}"
        )
    horn = _needed(surface, servo, travel_deg, nearest, "horn")
    if horn is not None:
        found.append(
            f"a horn hole {horn:.1f} mm from the hinge line, with arm hole {nearest.arm_hole}"
        )
    turns = [turn for turn in nearest.turn_deg.values() if not math.isnan(turn)]
    if len(turns) == 2 and max(turns) > judged.travel_deg:
        found.append(
            f"a servo travel of {max(turns):.0f} deg each way instead of "
            f"{judged.travel_deg:.0f}, with arm hole {nearest.arm_hole} and horn hole "
            f"{nearest.horn_hole}"
        )
    for name, wanted in judged.wanted_deg.items():
        reach = nearest.reach_deg[name]
        if not math.isnan(reach) and reach < wanted:
            found.append(f"a throw of {max(reach, 0):.1f} deg {name} instead of {wanted:.1f}")
    return found


def _needed(
    surface: Surface, servo: Servo, travel_deg: tuple[float, float], nearest: Option, part: str
) -> float | None:
    """Return the hole nearest to the present one that would be fit, in mm; None when none is."""
    now = nearest.arm_mm if part == "arm" else nearest.horn_mm
    holes = np.round(np.arange(2.0, 4.0 * now, 0.1), 1)
    table = [Length(hole) for hole in holes]
    if part == "arm":
        changed = _with_holes(surface, arm=table, horn=[Length(nearest.horn_mm)])
        space = Space(tuple(range(1, len(table) + 1)), (1,), (nearest.step,), _back(nearest))
    else:
        changed = _with_holes(surface, arm=[Length(nearest.arm_mm)], horn=table)
        space = Space((1,), tuple(range(1, len(table) + 1)), (nearest.step,), _back(nearest))
    judged = judge(changed, servo, travel_deg, space)
    fit = holes[(judged.arrays["shortfall"] == 0).ravel()]
    return float(fit[np.argmin(np.abs(fit - now))]) if fit.size else None


def _back(option: Option) -> tuple[float, ...]:
    return (option.set_back_mm,)


def _with_holes(surface: Surface, *, arm: list[Length], horn: list[Length]) -> Surface:

    return msgspec.structs.replace(
        surface,
        arm=msgspec.structs.replace(surface.arm, holes_mm=arm, hole=None),
        horn=msgspec.structs.replace(surface.horn, holes_mm=horn, hole=None),
    )
