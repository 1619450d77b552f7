"""The servos on the shelf, compared: as figures, and laid out for people."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from hingeline.cli.curves import is_void
from hingeline.cli.output import table, wrapped
from hingeline.cli.verdicts import found_unfit
from hingeline.errors import RecordsError, TravelError
from hingeline.records.store import Records
from hingeline.travel.curve import TravelCurve
from hingeline.travel.shelf import Shelf

#: So many pairs are listed; JSON has all.
SHOWN = 15

Noted = tuple[TravelCurve, str]


def on_record(
    path: Path, labels: Sequence[str], simulated: bool
) -> tuple[dict[str, Noted], dict[str, str]]:
    """Return the newest curve of each servo that can be used, and why others are left out.

    Raises
    ------
    RecordsError
        When nothing is on record, or a servo that is named has no curve.
    """
    if not path.exists():
        raise RecordsError(
            f"{path}: nothing is on record there yet.",
            mend="Calibrate servos first, or name another file with --records.",
        )
    with Records(path) as records:
        rows = {row["servo"]: row for row in records.latest_curves(simulated=simulated)}
        unfit = {label: found_unfit(records, label, simulated=simulated) for label in rows}
        void = {
            label
            for label, row in rows.items()
            if is_void(records, label, row, simulated=simulated)
        }
    for label in labels:
        if label not in rows:
            known = ", ".join(rows) or "none"
            raise RecordsError(
                f"{path}: there is no curve of a servo {label!r}.",
                mend=f"Calibrate it first. On record: {known}.",
            )
    found: dict[str, Noted] = {}
    left_out: dict[str, str] = {}
    for label in dict.fromkeys(labels) or rows:
        row = rows[label]
        if label in void:
            left_out[label] = "another servo was fitted in its place since, and not calibrated"
            continue
        if (why := unfit[label]) is not None:
            reasons = why.reasons.rstrip(".")
            left_out[label] = f"it was found unfit for a control surface: {reasons}"
            continue
        try:
            found[label] = (TravelCurve.from_dict(row["curve"]), row["noted"])
        except TravelError as error:
            left_out[label] = f"its curve cannot be used: {error.message.rstrip('.')}"
    return found, left_out


def shelf_figures(shelf: Shelf, noted: Mapping[str, Noted]) -> dict[str, Any]:
    """Return the comparison as plain figures, the best pair first."""
    best = shelf.pairs[0]
    return {
        "arm_deg": shelf.arm_deg,
        "servos": {
            label: {
                "noted": when,
                "centre_us": curve.centre_us,
                "rate_deg_per_us": curve.rate_deg_per_us,
                "hysteresis_deg": curve.hysteresis_deg,
            }
            for label, (curve, when) in noted.items()
        },
        "left_out": shelf.left_out,
        "pairs": [
            {
                "servos": [pair.first, pair.second],
                "worst_mismatch_deg": pair.worst_deg,
                "interval95_deg": pair.interval_deg,
                "same_way_deg": pair.alike.worst_deg,
                "mirrored_deg": pair.mirrored.worst_deg,
                "told_from_best": pair.told_from(best),
            }
            for pair in shelf.pairs
        ],
    }


def shelf_text(shelf: Shelf, noted: Mapping[str, Noted]) -> Iterator[str]:
    """Lay the comparison out for people."""
    best = shelf.pairs[0]
    yield f"Servos compared in pairs, {shelf.arm_deg:g} deg of arm each way from centre"
    rows = [
        (
            f"{pair.first} + {pair.second}",
            f"{pair.worst_deg:.1f}  (+/- {pair.interval_deg:.1f})",
            f"{pair.alike.worst_deg:.1f}",
            f"{pair.mirrored.worst_deg:.1f}",
            _gaps(noted[pair.first][0], noted[pair.second][0]),
            "" if pair is best else ("worse" if pair.told_from(best) else "as good"),
        )
        for pair in shelf.pairs[:SHOWN]
    ]
    headings = ["pair", ">worst, deg", ">same way", ">mirrored", ">gaps, deg", ""]
    yield from (f"  {row}" for row in table(headings, rows).splitlines())
    if len(shelf.pairs) > SHOWN:
        yield f"  and {len(shelf.pairs) - SHOWN} more, with --json"
    yield wrapped(
        "  Worst: how far the two arms differ at the worst point, with the best centre and ends "
        "for the pair; +/-: 95 % interval. Same way: both turn alike, as two halves that are "
        "moved from one side. Mirrored: one turns as the mirror image, as in two wings. "
        "Gaps: each one's up/down difference. As good: not told from the best by the intervals."
    )
    for label, why in shelf.left_out.items():
        yield wrapped(f"  LEFT OUT: {label}, as {why}.")


def _gaps(first: TravelCurve, second: TravelCurve) -> str:
    said = (
        "-" if c.hysteresis_deg is None else f"{c.hysteresis_deg:.1f}" for c in (first, second)
    )
    return " / ".join(said)
