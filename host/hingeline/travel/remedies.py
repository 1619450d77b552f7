"""What another hole or tooth would do for two sides that the radio cannot make alike."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from hingeline.errors import HingelineError
from hingeline.linkage.choice import judge
from hingeline.linkage.mounting import lean_deg, mounted
from hingeline.linkage.option import Limits, Option, Space
from hingeline.linkage.spline import finest_deg, position, steps_per_tooth
from hingeline.model.rebuilding import rebuilt
from hingeline.model.schema import Servo, Surface
from hingeline.travel.matching import Match, match
from hingeline.travel.sides import SurfaceSide

#: Worst mismatches this near to each other count as equal: the fewest changes decide.
ALIKE_DEG = 0.1


@dataclass(frozen=True)
class Remedy:
    """One side built a little differently.

    Attributes
    ----------
    side : {"left", "right"}
        Which.
    surface : Surface
        As it would be built; its rod is then made to fit.
    lean_deg, rod_mm : float
        Its lean from square, and the rod from hole to hole.
    changes : int
        How many of arm hole, horn hole and lean are changed.
    match : Match
        What the pair then does, both sides set to their throws.
    """

    side: Literal["left", "right"]
    surface: Surface
    lean_deg: float
    rod_mm: float
    changes: int
    match: Match


def remedies(
    left: SurfaceSide,
    right: SurfaceSide,
    wanted_deg: tuple[tuple[float, float], tuple[float, float]],
    now: Match,
) -> list[Remedy]:
    """Try the neighbouring holes and teeth of either side, one side at a time.

    Parameters
    ----------
    left, right : SurfaceSide
        As they are built.
    wanted_deg : tuple of two tuples of float
        Throws of left and right.
    now : Match
        What they do as they are.

    Returns
    -------
    list of Remedy
        Those that are fit to fly and better than now by more than `ALIKE_DEG`, the best
        first: all throws within reach, then the least worst mismatch, then fewest changes.
    """
    found: list[Remedy] = []
    sides: tuple[tuple[Literal["left", "right"], SurfaceSide], ...]
    sides = (("left", left), ("right", right))
    for name, side in sides:
        for surface, changes in _neighbours(side, now.tolerance_deg):
            built = _built(side, surface)
            pair = (built, right) if name == "left" else (left, built)
            try:
                tried = match(
                    *pair,
                    wanted_deg,
                    points=len(now.ways),
                    tolerance_deg=now.tolerance_deg,
                )
            except HingelineError:
                continue  # a linkage that cannot be set is no remedy
            lean = lean_deg(surface, side.setting.servo)
            rod = built.setting.linkage.length_mm
            found.append(Remedy(name, surface, lean, rod, changes, tried))
    better = [
        item
        for item in found
        if (item.match.short, item.match.worst_deg + ALIKE_DEG) < (now.short, now.worst_deg)
    ]
    return sorted(better, key=_rank)


def _rank(item: Remedy) -> tuple[bool, int, int, float]:
    worst = item.match.worst_deg
    return item.match.short, round(worst / ALIKE_DEG), item.changes, worst


def _neighbours(side: SurfaceSide, tolerance_deg: float) -> list[tuple[Surface, int]]:
    """List the fit builds next to a side's own, and how many changes each takes."""
    surface, servo = side.setting.surface, side.setting.servo
    step = round(lean_deg(surface, servo) / finest_deg(servo))
    tooth = steps_per_tooth(servo)
    arm, horn = surface.arm.hole or 1, surface.horn.hole or 1
    space = Space(
        _beside(arm, len(surface.arm.holes_mm)),
        _beside(horn, len(surface.horn.holes_mm)),
        tuple(range(step - tooth, step + tooth + 1)),
        (float(surface.horn.set_back_mm),),
    )
    limits = Limits(tolerance_deg=tolerance_deg)
    judged = judge(surface, servo, side.curve.reach_deg(), space, limits)
    built = []
    for option in judged.best(judged.fit_count):
        changes = sum((option.arm_hole != arm, option.horn_hole != horn, option.step != step))
        if changes:
            built.append((_with(surface, servo, option), changes))
    return built


def _beside(hole: int, count: int) -> tuple[int, ...]:
    return tuple(number for number in range(hole - 1, hole + 2) if 1 <= number <= count)


def _with(surface: Surface, servo: Servo, option: Option) -> Surface:
    place = position(servo, option.step)
    return rebuilt(
        surface,
        arm_hole=option.arm_hole,
        horn_hole=option.horn_hole,
        teeth_lean=place.teeth,
        part_arm=place.arm,
    )


def _built(side: SurfaceSide, surface: Surface) -> SurfaceSide:
    linkage = mounted(surface, side.setting.servo)
    return replace(side, setting=replace(side.setting, surface=surface, linkage=linkage))
