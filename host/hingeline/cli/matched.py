"""A matched pair: worked out, as figures, and laid out for people."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from hingeline import units
from hingeline.cli.output import table, wrapped
from hingeline.linkage.plan import lean_in_words
from hingeline.model import words
from hingeline.model.schema import Surface
from hingeline.model.throws import throw_deg
from hingeline.travel.matching import Match, Set, match
from hingeline.travel.remedies import Remedy, remedies
from hingeline.travel.sides import SurfaceSide
from hingeline.travel.trim import Trim, trim_of

Moves = Literal["opposite", "together"]


@dataclass(frozen=True)
class Worked:
    """A pair, matched as far as it goes.

    Attributes
    ----------
    left, right : SurfaceSide
    moves : {"opposite", "together"}
    match : Match
    trims : tuple of (Trim or None)
        Of left and right.
    remedies : list of Remedy
        What another hole or tooth would do; empty when the radio is enough.
    """

    left: SurfaceSide
    right: SurfaceSide
    moves: Moves
    match: Match
    trims: tuple[Trim | None, Trim | None]
    remedies: list[Remedy]

    @property
    def sides(self) -> tuple[tuple[SurfaceSide, Set, Trim | None], ...]:
        """Left and right, each with its setting and its trim."""
        return (
            (self.left, self.match.left, self.trims[0]),
            (self.right, self.match.right, self.trims[1]),
        )

    @property
    def words(self) -> tuple[str, str]:
        """The pair's direction words."""
        return words.directions(self.left.setting.surface)

    @property
    def one_reversed(self) -> bool:
        """Whether one of the two channels must be reversed against the other."""
        same_pulse = self.match.left.radio.first_rises == self.match.right.radio.first_rises
        return same_pulse == (self.moves == "opposite")


def work_out(
    left: SurfaceSide, right: SurfaceSide, moves: Moves, points: int, tolerance_deg: float
) -> Worked:
    """Match a pair to the throws of its model file, and look for remedies where that fails."""
    wanted = (_wanted(left), _wanted(right))
    found = match(left, right, wanted, points=points, tolerance_deg=tolerance_deg)
    # Throws that the file itself asks to differ are mended in the file.
    mend = not found.passed and found.asked_apart_deg <= tolerance_deg
    return Worked(
        left,
        right,
        moves,
        found,
        (trim_of(left.setting.servo, left.curve), trim_of(right.setting.servo, right.curve)),
        remedies(left, right, wanted, found) if mend else [],
    )


def _wanted(side: SurfaceSide) -> tuple[float, float]:
    surface = side.setting.surface
    first, second = words.directions(surface)
    return throw_deg(surface, first), throw_deg(surface, second)


def match_figures(worked: Worked) -> dict[str, Any]:
    """Return a matched pair as plain figures, positive in the first direction."""
    found, names = worked.match, worked.words
    return {
        "left": worked.left.name,
        "right": worked.right.name,
        "moves": worked.moves,
        "positive": names[0],
        "sides": [_side_figures(side, is_set, trim, names) for side, is_set, trim in worked.sides],
        "one_channel_reversed": worked.one_reversed,
        "points": [
            {
                "stick": way,
                "left_deg": left,
                "right_deg": right,
                "left_less_right_deg": left - right,
                "interval95_deg": half,
            }
            for way, left, right, half in zip(
                found.ways,
                found.left.deflection_deg,
                found.right.deflection_deg,
                found.interval_deg,
                strict=True,
            )
        ],
        "worst_mismatch_deg": found.worst_deg,
        "worst_at_stick": found.ways[found.worst],
        "worst_with_exact_throws_deg": found.plain_worst_deg,
        "tolerance_deg": found.tolerance_deg,
        "remedies": [_remedy_figures(item) for item in worked.remedies[:3]],
        "sure": found.sure,
        "pass": found.passed,
    }


def _side_figures(
    side: SurfaceSide, is_set: Set, trim: Trim | None, names: tuple[str, str]
) -> dict[str, Any]:
    radio = is_set.radio
    return {
        "surface": side.name,
        "servo": side.setting.surface.servo,
        "centre_us": radio.centre_us,
        "end_us": dict(zip(names, radio.ends_us, strict=True)),
        "rising_pulse": names[0] if radio.first_rises else names[1],
        "wanted_deg": dict(zip(names, is_set.wanted_deg, strict=True)),
        "throw_deg": dict(zip(names, is_set.throws_deg, strict=True)),
        "reach_deg": dict(zip(names, is_set.reach_deg, strict=True)),
        "trim": None
        if trim is None
        else {
            "by_us": trim.by_us,
            "arm_off_deg": trim.off_deg,
            "arm_off_deg_u": trim.off_u_deg,
            "travel_lost_deg": trim.lost_deg,
            "travel_lost_percent": trim.lost_percent,
            "lost_towards": _lost_word(radio.first_rises, trim, names),
            "refit_teeth": trim.refit.teeth if trim.refit else None,
            "refit_arm": trim.refit.arm if trim.refit else None,
            "refit_leaves_deg": trim.refit.off_deg if trim.refit else None,
        },
    }


def _lost_word(first_rises: bool, trim: Trim, names: tuple[str, str]) -> str:
    return names[0] if trim.rises == first_rises else names[1]


def _remedy_figures(item: Remedy) -> dict[str, Any]:
    arm, horn = item.surface.arm, item.surface.horn
    return {
        "side": item.side,
        "surface": item.surface.name,
        "arm_hole": arm.hole,
        "horn_hole": horn.hole,
        "teeth_lean": arm.teeth_lean,
        "part_arm": arm.part_arm,
        "lean_deg": item.lean_deg,
        "rod_length_mm": item.rod_mm,
        "worst_mismatch_deg": item.match.worst_deg,
        "pass": item.match.passed,
    }


def match_text(worked: Worked, noted: Mapping[str, str], one_surface: bool) -> Iterator[str]:
    """Lay a matched pair out for people."""
    names = worked.words
    servos = ", ".join(f"{label} of {day[:10]}" for label, day in noted.items())
    yield f"{worked.left.name} and {worked.right.name}, by the curves of {servos}"
    rows = [
        (
            side.name,
            units.us(is_set.radio.centre_us),
            *(_end(is_set, place) for place in (0, 1)),
            names[0] if is_set.radio.first_rises else names[1],
        )
        for side, is_set, _ in worked.sides
    ]
    headings = ["", ">centre", *(f">full {word}" for word in names), "rising pulse"]
    yield from (f"  {row}" for row in table(headings, rows).splitlines())
    if worked.one_reversed:
        yield wrapped(
            f"  One of the two channels must be reversed for a pair that moves "
            f"{_how(worked.moves)}: in the radio, or by the other side of the arm; never by "
            "swapping a servo's wires."
        )
    else:
        yield wrapped(
            f"  Both channels the same way round make this pair move {_how(worked.moves)}."
        )
    yield ""
    yield from _points_text(worked)
    for side, is_set, trim in worked.sides:
        yield from _trim_text(side, is_set, trim, names)
    for _, is_set, _ in worked.sides:
        for word, short, reach in zip(names, is_set.short_deg, is_set.reach_deg, strict=True):
            if short > 0:
                yield wrapped(
                    f"SHORT: {is_set.name} reaches only {word} {units.deg(reach)}, "
                    f"{units.deg(short)} less than wanted; both sides were set to no more."
                )
    yield from _verdict(worked)
    if one_surface:
        yield from _one_surface_text(worked)


def _end(is_set: Set, place: int) -> str:
    return f"{units.us(is_set.radio.ends_us[place])}, {units.deg(is_set.throws_deg[place])}"


def _how(moves: Moves) -> str:
    return "opposite ways" if moves == "opposite" else "together"


def _points_text(worked: Worked) -> Iterator[str]:
    found, names = worked.match, worked.words
    rows = [
        (
            f"{names[0 if way > 0 else 1]} {abs(100 * way):.0f} %" if way else "neutral",
            *(_stands(value, names) for value in (left, right)),
            f"{round(left - right, 1) + 0.0:+.1f}  (+/- {units.rounded_up(half, 1)})",
            "<- worst" if place == found.worst else "",
        )
        for place, (way, left, right, half) in reversed(
            list(
                enumerate(
                    zip(
                        found.ways,
                        found.left.deflection_deg,
                        found.right.deflection_deg,
                        found.interval_deg,
                        strict=True,
                    )
                )
            )
        )
    ]
    headings = ["stick", f">{worked.left.name}", f">{worked.right.name}", ">mismatch, deg", ""]
    yield from (f"  {row}" for row in table(headings, rows).splitlines())
    yield wrapped(
        f"  Both sides at the stick that asks them for the same. Mismatch: how much further "
        f"{names[0]} {worked.left.name} stands; +/-: 95 % interval, from the two curves alone."
    )


def _stands(value: float, names: tuple[str, str]) -> str:
    size = round(abs(value), 1)
    return f"{names[0] if value > 0 else names[1]} {size:.1f}" if size else "0.0"


def _trim_text(
    side: SurfaceSide, is_set: Set, trim: Trim | None, names: tuple[str, str]
) -> Iterator[str]:
    label = side.setting.surface.servo
    if trim is None or abs(trim.by_us) < 1.0:
        return
    lost = _lost_word(is_set.radio.first_rises, trim, names)
    yield wrapped(
        f"  Centre trim of {label}: {trim.by_us:+.0f} us, as its arm stands "
        f"{units.deg(trim.lost_deg)} off at {side.curve.nominal_centre_us:.0f} us. It takes as "
        f"much of the servo's travel towards {lost}: {trim.lost_percent:.0f} %."
    )
    if trim.refit is not None:
        teeth = trim.refit.teeth
        turned = (
            f"{abs(teeth)} {'tooth' if abs(teeth) == 1 else 'teeth'} "
            f"{'counter-clockwise' if teeth > 0 else 'clockwise'}"
        )
        arm = f", on its arm {trim.refit.arm}" if trim.refit.arm > 1 else ""
        how = f"turned {turned}{arm}" if teeth else f"used{arm}"
        yield wrapped(
            f"  The part {how} would leave {units.deg(abs(trim.refit.off_deg))}. Calibrate again "
            "after that."
        )


def _verdict(worked: Worked) -> Iterator[str]:
    found, names = worked.match, worked.words
    way = found.ways[found.worst]
    where = f"{names[0 if way > 0 else 1]} {abs(100 * way):.0f} %" if way else "neutral"
    if found.plain_worst_deg is not None:
        yield wrapped(
            f"  With both throws exact the worst was {units.deg(found.plain_worst_deg)}; the "
            "ends above give a little way for it."
        )
    yield wrapped(
        f"{'PASS' if found.passed else 'FAIL'}: the worst mismatch is "
        f"{found.worst_deg:.2f} deg at {where} stick; {found.tolerance_deg:g} deg may remain."
    )
    if not found.sure:
        yield wrapped(
            "NOTE: the curves are not known well enough to be sure of that. Calibrate both "
            "servos with more readings or a finer gauge, or see for yourself with: hingeline pair"
        )
    if found.passed:
        return
    if found.asked_apart_deg > found.tolerance_deg:
        yield wrapped(
            "NEXT: the model file asks the two sides for throws that differ by "
            f"{units.deg(found.asked_apart_deg)}. Write the same throws for both."
        )
        return
    yield from _remedy_text(worked)


def _remedy_text(worked: Worked) -> Iterator[str]:
    if not worked.remedies:
        yield wrapped(
            "NEXT: no neighbouring hole or tooth of either side makes it better. Use two servos "
            "that go better together (see: hingeline match --shelf), or ask for less throw."
        )
        return
    best = worked.remedies[0]
    side = worked.left if best.side == "left" else worked.right
    yield wrapped(
        f"NEXT: the radio cannot mend this. {best.surface.name}: "
        f"{_change(side.setting.surface, best.surface, side)}; rod {units.mm(best.rod_mm)} from "
        f"hole to hole. That leaves {best.match.worst_deg:.2f} deg{_still(best.match)}."
    )


def _still(found: Match) -> str:
    if found.passed:
        return ""
    return ", with a throw still short" if found.short else ", still more than may remain"


def _change(old: Surface, new: Surface, side: SurfaceSide) -> str:
    said = []
    for part, before, after in (("arm", old.arm, new.arm), ("horn", old.horn, new.horn)):
        if before.hole != after.hole:
            hole = after.hole or 1
            said.append(f"{part} hole {hole} ({units.mm(after.holes_mm[hole - 1])})")
    if (old.arm.teeth_lean, old.arm.part_arm) != (new.arm.teeth_lean, new.arm.part_arm):
        said.append(f"arm {lean_in_words(new, side.setting.servo)}")
    return ", ".join(said)


def _one_surface_text(worked: Worked) -> Iterator[str]:
    if not worked.match.passed:
        yield wrapped(
            f"ONE SURFACE: leave one rod off. With both on, {worked.left.name} and "
            f"{worked.right.name} would pull against each other all the time."
        )
        return
    yield wrapped(
        "ONE SURFACE: set both channels with one rod off. Go to each point of the table by hand: "
        "the free rod must drop into its hole without force. Only then put it on."
    )
