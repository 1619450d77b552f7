"""``hingeline records show``."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from hingeline.cli import options
from hingeline.cli.output import emit, table
from hingeline.cli.records.laying import laid
from hingeline.cli.records.place import NUMBER, existing
from hingeline.cli.records.wording import understood_in
from hingeline.records.store import Row


@click.command("show", short_help="Show one session whole.")
@click.argument("session", type=NUMBER)
@options.records_option
@options.json_option
def command(session: int, records_path: Path | None, as_json: bool) -> None:
    """Show one session whole: what was typed, and what was made of it.

    \b
    Example:
      hingeline records show 3
    """
    with existing(records_path) as records:
        whole = records.session(session)
    emit(whole, as_json=as_json, text=_shown(whole))


def _shown(whole: Row) -> Iterator[str]:
    yield f"Session {whole['id']}: {whole['command']}, {whole['model'] or 'no model'}"
    yield f"  started {whole['started']}, ended {whole['ended'] or '-'}"
    yield f"  outcome: {whole['outcome'] or 'not ended'}"
    board = f", board {whole['board']}, firmware {whole['firmware']}" if whole["board"] else ""
    yield f"  bench: {whole['bench']}{board}"
    if whole["rig"] is not None:
        own = whole["rig"] == whole["id"]
        words = "it began a rig" if own else f"it belongs to the rig of session {whole['rig']}"
        yield f"  rig: {words}"
    if whole["readings"]:
        understood = understood_in(whole)
        said: dict[int, list[str]] = {}
        for remark in whole["remarks"]:
            said.setdefault(remark["reading_id"], []).append(_brief_remark(remark))
        rows = [
            (
                str(row["id"]),
                row["servo"],
                row["surface"] or "-",
                f"{row['pulse_us']:.0f} us",
                row["approach"],
                row["gauge"],
                row["typed"],
                understood(row),
                ", ".join(said.get(row["id"], [])),
            )
            for row in whole["readings"]
        ]
        headings = [">no.", "servo", "surface", ">pulse", "approach", "gauge", "typed"]
        headings += [">understood", "remarks"]
        yield from table(headings, rows).splitlines()
    for remark in whole["remarks"]:
        if remark["kind"] == "questioned":
            yield f"{_said(remark)} {remark['text']}"
        elif remark["reading_id"] is None:
            yield f"{_said(remark)} {remark['text']}{_understood(remark)}".rstrip()
    if whole["steps"]:
        steps = [
            (row["surface"] or "-", row["step"], row["outcome"], row["text"])
            for row in whole["steps"]
        ]
        yield "Steps of the rig:"
        yield from table(["surface", "step", "outcome", "what came of it"], steps).splitlines()
    for row in whole["servos"]:
        yield f"By the model file, servo {row['label']}:"
        for lines in laid(row["figures"]):
            yield from (f"  {line}" for line in lines.splitlines())
    for row in whole["curves"]:
        curve = row["curve"]
        yield f"Curve of {row['servo']}: {_brief(curve)}"
    for row in whole["findings"]:
        yield f"{row['kind'].capitalize()} of {row['subject']}:"
        for lines in laid(row["figures"]):
            yield from (f"  {line}" for line in lines.splitlines())


def _brief_remark(remark: Row) -> str:
    if remark["kind"] == "replaced":
        return f"replaced by {remark['figures']['by']}"
    return str(remark["kind"])


def _said(remark: Row) -> str:
    """Say what kind of remark it is, and where it was made."""
    figures = remark["figures"]
    if remark["reading_id"] is not None:
        return f"Reading {remark['reading_id']} {remark['kind']}:"
    # In a guided run: whose answer it is, and to what.
    place = [str(figures[key]) for key in ("subject", "step") if figures.get(key)]
    if figures.get("topic") and figures["topic"] != figures.get("step"):
        place.append(str(figures["topic"]))
    if "pulse_us" in figures:
        place.append(f"At {figures['pulse_us']} us")
    if "approach" in figures:
        place.append(str(figures["approach"]))
    if "step_us" in figures:
        place.append(f"a step of {figures['step_us']:+d} us")
    if "rod_on" in figures:
        place.append("rod on" if figures["rod_on"] else "rod off")
    if figures.get("zero"):
        place.append("the level's zero")
    return f"{', '.join([*place, remark['kind']])}:"


def _understood(remark: Row) -> str:
    """Say what was understood by an answer, unless that is what was typed."""
    understood = remark["figures"].get("understood", "")
    text = f"{understood:g}" if isinstance(understood, float) else str(understood)
    return "" if text in ("", remark["text"].strip()) else f" ({text})"


def _brief(curve: dict[str, Any]) -> str:
    centre, rate = curve.get("centre_us"), curve.get("rate_deg_per_us")
    at = "no centre within reach" if centre is None else f"centre {centre:.0f} us"
    turns = "" if rate is None else f", {rate:.4f} deg/us"
    return f"{at}{turns}, {len(curve.get('suspects', ()))} suspects"
