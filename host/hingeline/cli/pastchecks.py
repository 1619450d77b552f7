"""What was found of a surface over time: when it was rigged, and whenever it was checked."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from hingeline.cli.output import plain, table
from hingeline.kinds import CHECKED, RIGGED
from hingeline.model.schema import Surface
from hingeline.model.words import directions
from hingeline.records.store import Records
from hingeline.rigging.threepoints import POINTS, of_record

#: More lines than this of one surface are too many to look at.
_MOST_ROWS = 12
#: How far the plot reaches to both sides, in degrees, and its columns there.
_REACH_DEG, _HALF = 3.0, 15


def over_time(
    records: Records, model: str, surface: Surface, *, simulated: bool
) -> list[dict[str, Any]]:
    """Return the newest that was kept of a surface, the oldest of that first.

    Angles are positive in the surface's first direction; a check that was broken off has two.
    """

    def kept(kind: str) -> list[dict[str, Any]]:
        return records.finding_history(
            kind, surface.name, simulated=simulated, limit=_MOST_ROWS, model=model
        )

    rows = []
    for row in kept(RIGGED):
        deg = list(of_record(row["figures"])[1])
        rows.append(
            _row(row, RIGGED, deg, [0.0] * len(deg), row["figures"].get("slop_deg"), causes=[])
        )
    for row in kept(CHECKED):
        points, play = row["figures"]["points"], row["figures"]["free_play_deg"]
        deg = [point["now_deg"] for point in points]
        changes = [point["now_deg"] - point["then_deg"] for point in points]
        explained = row["figures"].get("explained", True)
        causes = [cause["name"] for cause in row["figures"]["causes"] if explained]
        rows.append(
            _row(row, CHECKED, deg, changes, None if play is None else play["now"], causes)
        )
    return sorted(rows, key=lambda row: (row["noted"], row["session"]))[-_MOST_ROWS:]


def _row(
    found: dict[str, Any],
    kind: str,
    deg: Sequence[float],
    changes_deg: Sequence[float],
    play_deg: float | None,
    causes: list[str],
) -> dict[str, Any]:
    return {
        "noted": found["noted"],
        "session": found["session_id"],
        "kind": kind,
        "deg": list(deg),
        "change_deg": list(changes_deg),
        "free_play_deg": play_deg,
        "causes": causes,
        "pass": found["figures"]["pass"],
    }


def figures(surface: Surface, rows: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Return the history of a surface as plain figures."""
    return {"surface": surface.name, "positive": directions(surface)[0], "rows": list(rows)}


def text(surface: Surface, rows: Sequence[dict[str, Any]]) -> Iterator[str]:
    """Lay the history of a surface out, with a plot of the change since it was rigged."""
    first, second = directions(surface)
    yield f"{surface.name}, in deg:"
    lines = []
    for row in rows:
        play = "" if row["free_play_deg"] is None else f"{row['free_play_deg']:.1f}"
        verdict = row["kind"] if row["kind"] == RIGGED else ("pass" if row["pass"] else "FAIL")
        places = [_said(surface, value) for value in row["deg"]]
        places += ["-"] * (len(POINTS) - len(places))  # it was not driven to the other end
        lines.append((row["noted"][:10], *places, play, verdict))
    headings = ["date", f">full {first}", ">neutral", f">full {second}", ">play", ""]
    yield from table(headings, lines).splitlines()
    yield "Change since it was rigged:"
    if plain():
        yield from _told(surface, rows)
        return
    yield f"{first[0]} full {first}, 0 neutral, {second[0]} full {second}, * several of them"
    ends = f"{second} {_REACH_DEG:g}", f"{first} {_REACH_DEG:g}"
    yield f"{'':10} {ends[0]:<{_HALF}}0{ends[1]:>{_HALF}}"
    letters = (first[0], "0", second[0])
    for row in rows:
        likely = f"  {' or '.join(row['causes'])}" if row["causes"] else ""
        yield f"{row['noted'][:10]} {_strip(row['change_deg'], letters)}{likely}"


def _told(surface: Surface, rows: Sequence[dict[str, Any]]) -> Iterator[str]:
    """Say the changes instead of plotting them."""
    first, second = directions(surface)
    for row in rows:
        changes = "; ".join(
            f"{point}: {_said(surface, change)}"
            for point, change in zip(
                (f"full {first}", "neutral", f"full {second}"), row["change_deg"], strict=False
            )
        )
        likely = f"; likely {' or '.join(row['causes'])}" if row["causes"] else ""
        yield f"{row['noted'][:10]}: {changes}{likely}"


def _said(surface: Surface, value: float) -> str:
    first, second = directions(surface)
    size = round(abs(value), 1)
    return f"{first if value > 0 else second} {size:.1f}" if size else "0.0"


def _strip(changes_deg: Sequence[float], letters: Sequence[str]) -> str:
    """Put each change on a line; one that is beyond its ends is an arrow there."""
    cells = ["."] * (2 * _HALF + 1)
    cells[_HALF] = "|"
    for change, letter in zip(changes_deg, letters, strict=False):
        if abs(change) > _REACH_DEG:
            cells[-1 if change > 0 else 0] = ">" if change > 0 else "<"
            continue
        place = _HALF + round(change / _REACH_DEG * _HALF)
        cells[place] = letter if cells[place] in ".|" else "*"
    return "".join(cells)
