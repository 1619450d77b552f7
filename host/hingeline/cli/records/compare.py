"""``hingeline records compare``."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from hingeline.cli import options
from hingeline.cli.output import emit, table, wrapped
from hingeline.cli.records.place import NUMBER, day, existing
from hingeline.errors import RecordsError
from hingeline.kinds import RIGGED
from hingeline.records.store import Records, Row

if TYPE_CHECKING:
    from hingeline.travel.comparing import Change, Comparison

#: Chance that a surface that has not changed shows a change anywhere. Our own choice.
FALSE_ALARM = 0.05
_PLACES = {"us": 0, "deg": 1, "deg/us": 4}


@click.command("compare", short_help="Compare two sessions: what changed beyond uncertainty.")
@click.argument("then", type=NUMBER, metavar="SESSION")
@click.argument("now", type=NUMBER, metavar="SESSION")
@options.records_option
@options.json_option
def command(then: int, now: int, records_path: Path | None, as_json: bool) -> None:
    """Compare two calibrations of a servo, or two rigs of a model: what changed, and what did not.

    A rig is named by the session with which it began. The first is taken as then, the second
    as now.

    \b
    Example:
      hingeline records compare 3 17
    """
    with existing(records_path) as records:
        sides = [_side(records, number) for number in (then, now)]
    servos = [label for label in sides[0]["curves"] if label in sides[1]["curves"]]
    surfaces = [name for name in sides[0]["rigged"] if name in sides[1]["rigged"]]
    if not servos and not surfaces:
        raise RecordsError(
            f"sessions {then} and {now} have no servo's curve and no rigged surface in common.",
            cause=f"In {then}: {_holds(sides[0])}. In {now}: {_holds(sides[1])}.",
            mend="Name two calibrations of one servo, or the first sessions of two rigs. See: "
            "hingeline records list",
        )
    curves = {label: _compared(label, *sides) for label in servos}
    found = {
        name: compare_surfaces(*(side["rigged"][name] for side in sides)) for name in surfaces
    }
    emit(
        {
            "sessions": [then, now],
            "servos": {label: _curve_figures(*one) for label, one in curves.items()},
            "surfaces": found,
        },
        as_json=as_json,
        text=_text(sides, curves, found),
    )


def _side(records: Records, number: int) -> Row:
    """Return what one session holds that can be compared; of a rig's first one, all of the rig."""
    whole = records.session(number)
    sessions = [whole]
    if whole["rig"] == number:
        rest = [one for one in records.belonging([number]) if one != number]
        sessions += [one for one in map(records.session, rest) if one["rig"] == number]
    curves: dict[str, Any] = {}
    rigged: dict[str, Any] = {}
    # What was noted last is what holds.
    for session in sorted(sessions, key=lambda one: (one["started"], one["id"])):
        curves.update({row["servo"]: row["curve"] for row in session["curves"]})
        for row in session["findings"]:
            if row["kind"] == RIGGED:
                rigged[row["subject"]] = row["figures"]
    return {**whole, "curves": curves, "rigged": rigged, "sessions": sessions}


def _holds(side: Row) -> str:
    parts = [f"servo {label}" for label in side["curves"]]
    return ", ".join([*parts, *side["rigged"]]) or "none"


def _compared(label: str, then: Row, now: Row) -> tuple[Comparison, int | None]:
    from hingeline.travel.comparing import compare
    from hingeline.travel.curve import TravelCurve

    teeth = _teeth(now, label)
    old, new = (TravelCurve.from_dict(side["curves"][label]) for side in (then, now))
    return compare(old, new, teeth=teeth), teeth


def _teeth(side: Row, label: str) -> int | None:
    """Return the teeth of a servo's spline by the model file of the session, None without one."""
    if side["model_text"] is None:
        return None
    from hingeline.errors import ModelError
    from hingeline.model.reading import parse_model

    try:
        model = parse_model(side["model_text"], source=side["model"])
    except ModelError:  # of an older form
        return None
    servo = model.servos.get(label)
    return None if servo is None else servo.spline_teeth


def compare_surfaces(then: Row, now: Row) -> Row:
    """Compare a surface as it was rigged twice, point by point.

    Parameters
    ----------
    then, now : dict
        Two findings of the kind "rigged" of one surface.

    Returns
    -------
    dict
        Keys ``points`` (each with ``share``, ``from``, ``then_deg``, ``now_deg``,
        ``difference_deg``, ``limit_deg``, ``beyond``), ``changed``, ``centre_us`` and
        ``ends_us`` (then and now), ``slop_deg`` (likewise), ``reversed``. Degrees are positive in
        the first direction, of which both must say the same.
    """
    from statistics import NormalDist

    if then["words"] != now["words"]:
        raise RecordsError(
            f"{now['surface']} was rigged as {' / '.join(then['words'])} then, as "
            f"{' / '.join(now['words'])} now: they cannot be compared.",
            mend="Compare two rigs of the same kind of surface.",
        )
    old, new = _by_place(then), _by_place(now)
    both = [place for place in old if place in new]
    u = (then["u_deg"] ** 2 + now["u_deg"] ** 2) ** 0.5
    # Each point could give a false alarm.
    limit = u * NormalDist().inv_cdf(1.0 - FALSE_ALARM / (2 * max(len(both), 1)))
    points = [
        {
            "share": place[0],
            "from": place[1],
            "then_deg": old[place],
            "now_deg": new[place],
            "difference_deg": new[place] - old[place],
            "limit_deg": limit,
            "beyond": abs(new[place] - old[place]) > limit,
        }
        for place in both
    ]
    return {
        "words": now["words"],
        "points": points,
        "changed": any(point["beyond"] for point in points),
        "servo": [then["servo"], now["servo"]],
        "centre_us": [then["centre_us"], now["centre_us"]],
        "ends_us": [then["ends_us"], now["ends_us"]],
        "slop_deg": [then["slop_deg"], now["slop_deg"]],
        "reversed": then["rising_pulse"] != now["rising_pulse"],
    }


def _by_place(figures: Row) -> dict[tuple[float, str], float]:
    return {
        (float(point["share"]), str(point.get("from", "neutral"))): float(point["measured_deg"])
        for point in figures["points"]
    }


def _curve_figures(found: Comparison, teeth: int | None) -> Row:
    return {
        "changed": found.changed,
        "spline_teeth": teeth,
        "at_us": found.at_us,
        "angle": _change(found.curve),
        "changes": [_change(one) for one in found.changes],
        "words": list(found.words),
    }


def _change(change: Change) -> Row:
    return {
        "name": change.name,
        "unit": change.unit,
        "then": change.old,
        "now": change.new,
        "difference": change.difference,
        "difference_u": change.u,
        "limit": change.half_width,
        "beyond": change.beyond,
    }


def _text(
    sides: list[Row],
    curves: dict[str, tuple[Comparison, int | None]],
    surfaces: dict[str, Row],
) -> Iterator[str]:
    then, now = (f"session {side['id']}, {day(side['started'])}" for side in sides)
    yield f"Then: {then}. Now: {now}."
    for label, (found, _) in curves.items():
        yield f"Servo {label}"
        yield from (f"  {line}" for line in _curve_table(found))
        if not found.changed:
            yield "  Nothing changed beyond uncertainty, arm and gauge put on as before."
        for words in found.words:
            yield wrapped(f"  CHANGED: {words}")
    for name, surface in surfaces.items():
        yield f"Surface {name}"
        yield from (f"  {line}" for line in _surface_lines(surface))


def _curve_table(found: Comparison) -> list[str]:
    rows = []
    for change in (*found.changes, found.curve):
        places = _PLACES.get(change.unit, 2)
        name = change.name if change is not found.curve else f"angle at {found.at_us:.0f} us"
        limit = "-" if change.half_width is None else f"{change.half_width:.{places}f}"
        rows.append(
            (
                f"{name}, {change.unit}",
                f"{change.old:.{places}f}",
                f"{change.new:.{places}f}",
                f"{change.difference:+.{places}f}",
                limit,
                "CHANGED" if change.beyond else "",
            )
        )
    return table(["", ">then", ">now", ">difference", ">by chance", ""], rows).splitlines()


def _surface_lines(surface: Row) -> Iterator[str]:
    first, second = surface["words"]
    rows = []
    for point in surface["points"]:
        share = point["share"]
        place = f"{abs(share):.0%} {first if share > 0 else second}" if share else "neutral"
        if point["from"] == "first":
            place += f", from {first}"
        rows.append(
            (
                place,
                f"{point['then_deg']:+.1f}",
                f"{point['now_deg']:+.1f}",
                f"{point['difference_deg']:+.1f}",
                f"{point['limit_deg']:.1f}",
                "CHANGED" if point["beyond"] else "",
            )
        )
    headings = [f"deg, + is {first}", ">then", ">now", ">difference", ">by chance", ""]
    yield from table(headings, rows).splitlines()
    if not surface["changed"]:
        yield "Nothing changed beyond uncertainty."
    if surface["reversed"]:
        yield "REVERSED: a rising pulse moves it the other way than then."
    for words, key, unit in (("Centre", "centre_us", "us"), ("Free play", "slop_deg", "deg")):
        old, new = surface[key]
        if old is not None and new is not None:
            places = _PLACES[unit]
            yield f"{words}: {old:.{places}f} {unit} then, {new:.{places}f} {unit} now"
    if surface["servo"][0] != surface["servo"][1]:
        yield "Another servo: {} then, {} now".format(*surface["servo"])
