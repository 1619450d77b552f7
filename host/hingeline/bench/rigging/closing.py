"""What ends a rig: pairs compared, limits kept, screws, and a name under it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from hingeline import units
from hingeline.bench.choices import Choice
from hingeline.bench.procedures.pairing import Mismatch
from hingeline.bench.rigging.context import Result, Rig, about
from hingeline.bench.rigging.throwing import read_with
from hingeline.model.schema import Pair
from hingeline.model.words import directions
from hingeline.rigging.judging_throws import points_of
from hingeline.rigging.limits import limits_of
from hingeline.rigging.steps import Item, pair_name

#: The points at which two sides are compared, as their throws were taken; neutral once.
SHARES = (1.0, 0.5, 0.0, -0.5, -1.0)


def pair(rig: Rig, item: Item) -> Result:
    """Compare the two sides point by point, from what was measured."""
    found = next(one for one in rig.model.pairs if pair_name(one) == item.subject)
    sides = {name: rig.throws_found(name) for name in (found.left, found.right)}
    missing = [name for name, figures in sides.items() if figures is None]
    if missing:
        return Result("failed", f"the throws of {' and '.join(missing)} were not measured")
    left, right = (_by_share(figures["points"]) for figures in sides.values() if figures)
    compared = [(share, Mismatch(share, left[share], right[share])) for share in SHARES]
    worst = max((one for _, one in compared), key=lambda one: abs(one.difference_deg))
    passed = abs(worst.difference_deg) <= rig.tolerance_deg
    figures: dict[str, Any] = {
        "moves": found.moves,
        "mismatch_deg": [
            {"share": share, "left_less_right_deg": one.difference_deg} for share, one in compared
        ],
        "worst_deg": abs(worst.difference_deg),
        "worst_share": worst.stick,
        "tolerance_deg": rig.tolerance_deg,
        "pass": passed,
    }
    text = (
        f"worst difference {units.deg(abs(worst.difference_deg))} at "
        f"{_share_words(rig, found, worst.stick)}; {units.deg(rig.tolerance_deg)} may remain"
    )
    if passed:
        return Result("done", text, figures)
    rig.prompter.tell(
        "The side whose own throws miss more is the one to mend: redo throws and its name."
    )
    return Result("failed", text, figures)


def _by_share(rows: Sequence[dict[str, Any]]) -> dict[float, float]:
    """Return what was measured at each share; neutral as the middle of both ways to it."""
    by_share: dict[float, list[float]] = {}
    for row in rows:
        by_share.setdefault(row["share"], []).append(row["measured_deg"])
    return {share: sum(values) / len(values) for share, values in by_share.items()}


def _share_words(rig: Rig, found: Pair, share: float) -> str:
    if not share:
        return "neutral"
    word = directions(rig.planned(found.left))[0 if share > 0 else 1]
    return f"{abs(share):.0%} {word}"


def limits(rig: Rig, item: Item) -> Result:
    """Work out centre and ends from what was measured, show them, and keep them."""
    name = item.subject
    throws = rig.throws_found(name)
    if throws is None:
        return Result("failed", "the throws were not measured, so there are no limits")
    setting = rig.setting(name)
    surface = setting.surface
    found = limits_of(setting, points_of(surface, throws["points"]))
    words = directions(surface)
    play = rig.found("slop", name)
    # As it was when the points were read, which may have been in another sitting.
    sitting = {key: throws.get(key, now) for key, now in read_with(rig, name).items()}
    figures: dict[str, Any] = {
        "surface": name,
        "servo": surface.servo,
        "channel": surface.channel,
        "kind": surface.kind,
        "words": list(words),
        "centre_us": found.centre_us,
        "ends_us": dict(found.ends_us),
        "wanted_deg": {word: _wanted(throws, place) for place, word in enumerate(words)},
        "points": throws["points"],
        **sitting,
        "chord_mm": float(surface.chord_mm),
        "slop_deg": None if play is None else play["figures"].get("slop_deg"),
        "rising_pulse": found.rising,
        "rate_deg_per_us": setting.curve.rate_deg_per_us,
        "boards": list(rig.boards),
        "pass": bool(throws["pass"]),
    }
    rig.keeper.finding("rigged", name, figures)
    ends = ", ".join(f"{word} {us:.0f} us" for word, us in found.ends_us.items())
    notes = (note.rstrip(".") for note in found.notes)
    text = "; ".join([f"centre {found.centre_us:.0f} us, {ends}", *notes])
    return Result("done", text, {"centre_us": found.centre_us, "ends_us": dict(found.ends_us)})


def _wanted(throws: Mapping[str, Any], place: int) -> float:
    share = 1.0 if place == 0 else -1.0
    points = throws["points"]
    return abs(float(next(one["wanted_deg"] for one in points if one["share"] == share)))


def screws(rig: Rig, item: Item) -> Result:
    """Have everything fixed that must not come loose."""
    del item
    rig.prompter.tell(
        "No servo has pulses now. Arm screws in; keepers on the clevises; thread lock where metal "
        "meets metal, none on plastic; leads clear of arms and rods (common practice). Glue and "
        "solder need fresh air."
    )
    rig.prompter.pick(
        Choice(
            "When all of this is done, type done",
            rig.surfaces[0].channel,
            ("done",),
            topic="screws",
        )
    )
    return Result("done", "screws and keepers are in")


def signoff(rig: Rig, item: Item) -> Result:
    """Show what failed and what was left out, and have the rig signed by name."""
    open_ = unfinished(rig, item)
    for line in open_:
        rig.prompter.tell(line)
    if not open_:
        rig.prompter.tell("Every step is done.")
    rig.prompter.tell(
        "Signing says that you have looked yourself. It does not replace your club's rules nor "
        "the eyes of an instructor before the first flight."
    )
    name = rig.prompter.pick(
        Choice(
            "Who has checked this model (a name)",
            rig.surfaces[0].channel,
            (),
            topic="signoff",
        )
    )
    return Result("done", f"signed by {name}", {"name": name, "remaining": open_})


def unfinished(rig: Rig, item: Item) -> list[str]:
    """Return a line for each step that failed or was skipped."""
    lines = []
    for other in rig.progress.items:
        state = rig.progress.state(other)
        if other is item or state not in ("failed", "skipped"):
            continue
        last = rig.progress.last(other)
        why = f": {last['text']}" if last and last["text"] else ""
        lines.append(f"{state}: {about(other)}{why}")
    return lines
