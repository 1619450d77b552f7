"""A check of a model: as figures, and laid out for people."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from hingeline import units
from hingeline.cli.output import table, wrapped
from hingeline.model.schema import Pair, Surface
from hingeline.model.words import directions

if TYPE_CHECKING:
    from hingeline.rigging.recheck import Recheck


@dataclass(frozen=True)
class Sides:
    """How far the two sides of a pair differ, at the three points.

    Attributes
    ----------
    pair : Pair
    then_deg, now_deg : tuple of float
        How much further left stood in the first direction.
    u_deg : float
        Standard uncertainty of how much that changed.
    limit : float
        Chi-square of no change, where it becomes one.
    tolerance_deg : float
    either_changed : bool
        Whether one of the sides has changed for itself.
    """

    pair: Pair
    then_deg: tuple[float, ...]
    now_deg: tuple[float, ...]
    u_deg: float
    limit: float
    tolerance_deg: float
    either_changed: bool

    @property
    def worst_deg(self) -> float:
        """The greatest difference now, without sign."""
        return max(map(abs, self.now_deg))

    @property
    def changed(self) -> bool:
        """Whether the difference changed by more than is uncertain."""
        pairs = zip(self.then_deg, self.now_deg, strict=True)
        chi_square = sum(((now - then) / self.u_deg) ** 2 for then, now in pairs)
        return self.either_changed or chi_square > self.limit

    @property
    def passed(self) -> bool:
        """Whether it may stay so; what was so when it was signed, may."""
        allowed = max(self.tolerance_deg, *map(abs, self.then_deg))
        return not self.changed or self.worst_deg <= allowed


def sides_of(pair: Pair, found: Mapping[str, Recheck], tolerance_deg: float) -> Sides | None:
    """Compare the sides of a pair; None when not both were checked."""
    left, right = found.get(pair.left), found.get(pair.right)
    if left is None or right is None:
        return None

    def apart(one: Sequence[float], other: Sequence[float]) -> tuple[float, ...]:
        return tuple(a - b for a, b in zip(one, other, strict=True))

    return Sides(
        pair,
        apart(left.then_deg, right.then_deg),
        apart(left.now_deg, right.now_deg),
        math.hypot(left.u_deg, right.u_deg),
        left.limit,
        tolerance_deg,
        left.changed or right.changed,
    )


def surface_figures(surface: Surface, found: Recheck, noted: str) -> dict[str, Any]:
    """Return the check of a surface as plain figures, positive in its first direction."""
    names = _points(surface)
    return {
        "surface": surface.name,
        "servo": surface.servo,
        "positive": directions(surface)[0],
        "rigged": noted,
        "points": [
            {"point": name, "then_deg": then, "now_deg": now}
            for name, then, now in zip(names, found.then_deg, found.now_deg, strict=True)
        ],
        "change_deg_u": found.u_deg,
        "chi_square": found.chi_square,
        "chi_square_limit": found.limit,
        "changed": found.changed,
        "worst_change_deg": found.worst_deg,
        "tolerance_deg": found.tolerance_deg,
        "causes": [
            {"name": one.name, "size": one.size, "size_u": one.u, "text": one.text}
            for one in found.stories
        ],
        "explained": found.explained,
        "free_play_deg": None
        if found.play is None
        else {
            "then": found.play.then_deg,
            "now": found.play.now_deg,
            "grown": found.play.grown,
        },
        "pass": found.passed,
    }


def sides_figures(sides: Sides) -> dict[str, Any]:
    """Return how far two sides differ as plain figures."""
    return {
        "left": sides.pair.left,
        "right": sides.pair.right,
        "left_less_right_then_deg": list(sides.then_deg),
        "left_less_right_now_deg": list(sides.now_deg),
        "worst_deg": sides.worst_deg,
        "changed": sides.changed,
        "tolerance_deg": sides.tolerance_deg,
        "pass": sides.passed,
    }


def text(
    rows: Sequence[tuple[Surface, Recheck, str]], sides: Sequence[Sides], left_out: Sequence[str]
) -> Iterator[str]:
    """Lay a check out for people."""
    lines = []
    for surface, found, _ in rows:
        for name, then, now in zip(_points(surface), found.then_deg, found.now_deg, strict=True):
            lines.append((surface.name, name, _said(surface, then), _said(surface, now)))
        if found.play is not None:
            play = units.deg(found.play.then_deg), units.deg(found.play.now_deg)
            lines.append((surface.name, "free play", *play))
    yield from table(["surface", "point", ">on record", ">now"], lines).splitlines()
    for surface, found, noted in rows:
        yield from map(wrapped, _verdict(surface, found, noted))
    for one in sides:
        yield wrapped(
            f"{'pass' if one.passed else 'FAIL'}: {one.pair.left} and {one.pair.right} differ by "
            f"{units.deg(one.worst_deg)} at most; {units.deg(max(map(abs, one.then_deg)))} when "
            "they were rigged."
        )
    for name in left_out:
        yield f"not checked: {name}"


def _verdict(surface: Surface, found: Recheck, noted: str) -> Iterator[str]:
    play = found.play
    if play is not None and play.grown:
        yield (
            f"FAIL: {surface.name} has {units.deg(play.now_deg)} of free play, "
            f"{units.deg(play.then_deg)} on {noted[:10]}: look at clevis, keeper, holes, hinge, "
            "arm screw and gears. Free play may let a surface flutter."
        )
    if not found.changed:
        yield f"pass: {surface.name} is as on {noted[:10]}, as far as the gauge tells."
        return
    size = units.deg(found.worst_deg)
    if found.passed:
        yield (
            f"pass: {surface.name} has changed by {size} at most since {noted[:10]}, within "
            f"{units.deg(found.tolerance_deg)}."
        )
    else:
        yield f"FAIL: {surface.name} has changed by {size} at most since {noted[:10]}."
    for place, one in enumerate(found.stories):
        yield f"  {'or ' if place else ''}{one.text}."
    if not found.explained:
        yield (
            "  No single cause explains it: look at arm, rod, horn and hinge, then rig it anew "
            f'with: hingeline rig MODEL "{surface.name}"'
        )


def _points(surface: Surface) -> tuple[str, str, str]:
    first, second = directions(surface)
    return f"full {first}", f"neutral, from {first}", f"full {second}"


def _said(surface: Surface, value: float) -> str:
    first, second = directions(surface)
    size = round(abs(value), 1)
    return f"{first if value > 0 else second} {size:.1f} deg" if size else "neutral"
