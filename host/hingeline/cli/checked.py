"""A check of a model: as figures, and laid out for people."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from hingeline import units
from hingeline.cli.output import table, wrapped
from hingeline.model.schema import Pair, Surface
from hingeline.model.words import directions
from hingeline.rigging.remaining import sentences

if TYPE_CHECKING:
    from hingeline.cli.onrecord import OnRecord
    from hingeline.cli.rigstate import RigState
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
        """Whether it may stay so, whatever it was when it was rigged."""
        return round(self.worst_deg, 6) <= self.tolerance_deg


@dataclass(frozen=True)
class Checked:
    """A surface that was checked.

    Attributes
    ----------
    surface : Surface
        As its file says now.
    found : Recheck
        What its readings say beside the record.
    record : OnRecord
        The record.
    """

    surface: Surface
    found: Recheck
    record: OnRecord

    @property
    def passed(self) -> bool:
        """Whether it stands as it should: unchanged, and by a record that is as wanted."""
        record = self.record
        return self.found.passed and not (record.wrong or record.altered or record.newer)


def sides_of(pair: Pair, found: Mapping[str, Recheck], tolerance_deg: float) -> Sides | None:
    """Compare the sides of a pair; None when not both were checked at all points."""
    left, right = found.get(pair.left), found.get(pair.right)
    if left is None or right is None or left.broken_off or right.broken_off:
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


def surface_figures(one: Checked) -> dict[str, Any]:
    """Return the check of a surface as plain figures, positive in its first direction."""
    surface, found, play = one.surface, one.found, one.found.play
    return {
        "surface": surface.name,
        "servo": surface.servo,
        "positive": directions(surface)[0],
        "rigged": one.record.noted,
        "record_pass": not one.record.wrong,
        "record_wrong": list(one.record.wrong),
        "file_changed_in": list(one.record.altered),
        "record_newer": list(one.record.newer),
        "points": [
            {"point": name, "then_deg": then, "now_deg": now}
            for name, then, now in _read(surface, found)
        ],
        "broken_off": found.broken_off,
        "change_deg_u": found.u_deg,
        "chi_square": found.chi_square,
        "chi_square_limit": found.limit,
        "changed": found.changed,
        "worst_change_deg": found.worst_deg,
        "tolerance_deg": found.tolerance_deg,
        "causes": [
            {
                "name": cause.name,
                "size": cause.size,
                "size_u": cause.u,
                "text": cause.text,
            }
            for cause in found.causes
        ],
        "explained": found.explained,
        "free_play_deg": None if play is None else {"then": play.then_deg, "now": play.now_deg},
        "free_play_grown": None if play is None else play.grown,
        "pass": one.passed,
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


def rig_figures(rig: RigState) -> dict[str, Any]:
    """Return how a rig stands that was the last about what was checked, as plain figures."""
    return {
        "rig": rig.number,
        "begun": rig.begun,
        "signed": rig.signed,
        "signature_stands": rig.stands,
        "left_of_model": sentences(rig.left_of_model, rig.changed_of_model),
    }


def text(
    rows: Sequence[Checked],
    sides: Sequence[Sides],
    rigs: Sequence[RigState],
    left_out: Mapping[str, str],
) -> Iterator[str]:
    """Lay a check out for people; of what was left out, say why."""
    lines = []
    for row in rows:
        surface, play = row.surface, row.found.play
        for name, then, now in _read(surface, row.found):
            lines.append((surface.name, name, _said(surface, then), _said(surface, now)))
        if play is not None:
            read = units.deg(play.then_deg), units.deg(play.now_deg)
            lines.append((surface.name, "free play", *read))
    if lines:
        yield from table(["surface", "point", ">on record", ">now"], lines).splitlines()
    for row in rows:
        yield from map(wrapped, _verdict(row))
    for one in sides:
        yield wrapped(
            f"{'pass' if one.passed else 'FAIL'}: {one.pair.left} and {one.pair.right} differ by "
            f"{units.deg(one.worst_deg)} at most, {units.deg(max(map(abs, one.then_deg)))} when "
            f"they were rigged; {units.deg(one.tolerance_deg)} may remain."
        )
    for rig in rigs:
        yield from map(wrapped, _unsigned(rig))
    for name, why in left_out.items():
        yield wrapped(f"not checked: {name}{f': {why}' if why else ''}")


def _unsigned(rig: RigState) -> Iterator[str]:
    """Say of a rig that it was not ended, or not signed after that."""
    if rig.unsigned:
        yield (
            f"FAIL: the rig that was begun on {rig.begun[:10]} {rig.unsigned} It goes on with: "
            "hingeline rig"
        )
    for said in sentences(rig.left_of_model, rig.changed_of_model):
        yield f"FAIL: for the whole model: {said}"


def _verdict(row: Checked) -> Iterator[str]:
    """Say in one verdict what is wrong with a surface, what is behind it, and what helps."""
    found = row.found
    reasons = list(_reasons(row))
    for place, reason in enumerate(reasons):
        yield f"{'  ' if place else 'FAIL: '}{reason}"
    if not reasons:
        yield f"pass: {_as_it_is(row)}"
    elif not found.changed:
        yield f"  {_as_it_is(row)}"
    if not found.changed:
        return
    if not found.explained or not found.causes:
        yield (
            "  The readings do not tell what happened: look at arm, rod, horn and hinge, then rig "
            f"it anew: {row.record.again}"
        )
        return
    for place, one in enumerate(found.causes):
        yield f"  {'or ' if place else ''}{one.text}."


def _as_it_is(row: Checked) -> str:
    found, date, name = row.found, row.record.noted[:10], row.surface.name
    play, less = found.play, ""
    # The free play of then and of now the other way round: has it grown backwards in time?
    if play and replace(play, then_deg=play.now_deg, now_deg=play.then_deg).grown:
        less = (
            f" It has less free play than then: {units.deg(play.now_deg)}, "
            f"{units.deg(play.then_deg)} on record."
        )
    if not found.changed:
        as_then = "'s throws are" if less or (play and play.grown) else " is"
        return f"{name}{as_then} as on {date}, as far as the gauge tells.{less}"
    return (
        f"{name} has changed by {units.deg(found.worst_deg)} at most since {date}, within "
        f"{units.deg(found.tolerance_deg)}.{less}"
    )


def _reasons(row: Checked) -> Iterator[str]:
    """Say why a surface does not pass: first what was wrong before anything was read."""
    found, record, name = row.found, row.record, row.surface.name
    date, play = record.noted[:10], row.found.play
    if record.wrong:
        yield (
            f"{name} ({'; '.join(record.wrong)}): the record itself was not as wanted: rig it: "
            f"{record.again}"
        )
    if record.newer:
        newer = "; ".join(said.rstrip(".") for said in record.newer)
        yield f"{name}: {newer}; go on with that: {record.again}"
    if record.altered:
        yield (
            f"{name}: the model file has changed since {date}, in {', '.join(record.altered)}; "
            f"rig it to that: {record.again}"
        )
    if found.broken_off:
        yield (
            f"{name} stands {units.deg(found.worst_deg)} from its record of {date}, so far that "
            "it was not driven to the other end."
        )
    elif not found.within:
        yield f"{name} has changed by {units.deg(found.worst_deg)} at most since {date}."
    elif found.changed and (record.wrong or record.altered or record.newer):
        yield _as_it_is(row)
    if play is not None and play.grown:
        yield (
            f"{name} has {units.deg(play.now_deg)} of free play, {units.deg(play.then_deg)} on "
            f"{date}: look at clevis, keeper, holes, hinge, arm screw and gears. Free play may "
            "let a surface flutter."
        )
        if found.changed and found.within:
            yield _as_it_is(row)


def _read(surface: Surface, found: Recheck) -> Iterator[tuple[str, float, float]]:
    """Go through what was read: the point's name, then and now."""
    for (name, then), now in zip(
        zip(_points(surface), found.then_deg, strict=False), found.now_deg, strict=True
    ):
        yield name, then, now


def _points(surface: Surface) -> tuple[str, str, str]:
    first, second = directions(surface)
    return f"full {first}", f"neutral, from {first}", f"full {second}"


def _said(surface: Surface, value: float) -> str:
    first, second = directions(surface)
    size = round(abs(value), 1)
    return f"{first if value > 0 else second} {size:.1f} deg" if size else "neutral"
