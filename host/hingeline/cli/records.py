"""``hingeline records``."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from hingeline.cli import options
from hingeline.cli.benchwork import default_records
from hingeline.cli.output import emit, table, tell
from hingeline.errors import RecordsError
from hingeline.newfile import write_new
from hingeline.records.store import Records, Row

#: Columns of the CSV export: the readings as typed, and what was understood.
COLUMNS = (
    "session_id",
    "noted",
    "servo",
    "surface",
    "pulse_us",
    "approach",
    "gauge",
    "resolution",
    "typed",
    "value",
    "unit",
)


@click.group("records", short_help="List, show, draw and export what was measured.")
def command() -> None:
    """List, show, draw and export what was measured.

    \b
    Example:
      hingeline records list
    """


@command.command("list", short_help="List the sessions, the newest first.")
@options.records_option
@options.json_option
def list_sessions(records_path: Path | None, as_json: bool) -> None:
    """List the sessions, the newest first.

    \b
    Example:
      hingeline records list
    """
    path = records_path or default_records()
    with _existing(path) as records:
        sessions = records.sessions()
    emit({"records": str(path), "sessions": sessions}, as_json=as_json, text=_listed(sessions))


def _listed(sessions: list[Row]) -> Iterator[str]:
    if not sessions:
        yield "Nothing is on record yet."
        return
    rows = [
        (
            str(row["id"]),
            row["started"].replace("T", " ").removesuffix("+00:00"),
            row["command"],
            row["model"] or "-",
            row["bench"],
            str(row["readings"]),
            row["outcome"] or "not ended",
        )
        for row in sessions
    ]
    headings = [">no.", "started (UTC)", "command", "model", "bench", ">readings", "outcome"]
    yield from table(headings, rows).splitlines()


@command.command("show", short_help="Show one session whole.")
@click.argument("session", type=click.IntRange(1))
@options.records_option
@options.json_option
def show(session: int, records_path: Path | None, as_json: bool) -> None:
    """Show one session whole: what was typed, and what was made of it.

    \b
    Example:
      hingeline records show 3
    """
    with _existing(records_path or default_records()) as records:
        whole = records.session(session)
    emit(whole, as_json=as_json, text=_shown(whole))


def _shown(whole: Row) -> Iterator[str]:
    yield f"Session {whole['id']}: {whole['command']}, {whole['model'] or 'no model'}"
    yield f"  started {whole['started']}, ended {whole['ended'] or '-'}"
    yield f"  outcome: {whole['outcome'] or 'not ended'}"
    board = f", board {whole['board']}, firmware {whole['firmware']}" if whole["board"] else ""
    yield f"  bench: {whole['bench']}{board}"
    if whole["readings"]:
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
                f"{row['value']:g} {row['unit']}",
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
    for row in whole["curves"]:
        curve = row["curve"]
        yield f"Curve of {row['servo']}: {_brief(curve)}"
    for row in whole["findings"]:
        yield f"{row['kind'].capitalize()} of {row['subject']}:"
        yield from (f"  {line}" for line in json.dumps(row["figures"], indent=2).splitlines())


def _brief_remark(remark: Row) -> str:
    if remark["kind"] == "replaced":
        return f"replaced by {remark['figures']['by']}"
    return str(remark["kind"])


def _said(remark: Row) -> str:
    """Say what kind of remark it is, and where it was made."""
    figures = remark["figures"]
    if remark["reading_id"] is not None:
        return f"Reading {remark['reading_id']} {remark['kind']}:"
    place = []
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
    centre = curve["centre_us"]
    at = "no centre within reach" if centre is None else f"centre {centre:.0f} us"
    return f"{at}, {curve['rate_deg_per_us']:.4f} deg/us, {len(curve['suspects'])} suspects"


@command.command("draw", short_help="Draw the travel curves of a session.")
@click.argument("session", type=click.IntRange(1))
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@options.records_option
def draw(session: int, folder: Path, records_path: Path | None) -> None:
    """Draw the travel curves of a session with their readings, as SVG and PNG.

    \b
    Example:
      hingeline records draw 3 drawings
    """
    from hingeline.cli.drawing import draw_curves
    from hingeline.travel.curve import TravelCurve

    with _existing(records_path or default_records()) as records:
        whole = records.session(session)
    if not whole["curves"]:
        raise RecordsError(
            f"session {session} has no travel curve to draw.",
            mend="Name a finished calibration. See: hingeline records list",
        )
    curves = {row["servo"]: TravelCurve.from_dict(row["curve"]) for row in whole["curves"]}
    draw_curves(folder, curves)


@command.command("export", short_help="Write sessions to a file, as JSON or CSV.")
@click.argument("sessions", nargs=-1, type=click.IntRange(1), metavar="[SESSION]...")
@click.option(
    "--as",
    "form",
    type=click.Choice(["json", "csv"]),
    default="json",
    show_default=True,
    help="json: everything; csv: the readings, a line each.",
)
@click.option(
    "--to",
    "target",
    type=click.Path(path_type=Path, dir_okay=False),
    default=None,
    help="File to write; default: the screen. An existing file is left alone.",
)
@options.records_option
def export(
    sessions: tuple[int, ...], form: str, target: Path | None, records_path: Path | None
) -> None:
    """Write sessions to a file, as JSON or CSV; all of them when none is named.

    \b
    Examples:
      hingeline records export --to all.json
      hingeline records export 3 --as csv --to readings.csv
    """
    with _existing(records_path or default_records()) as records:
        chosen = sessions or [row["id"] for row in reversed(records.sessions())]
        whole = [records.session(number) for number in chosen]
    # A screen may not know every letter; a file is UTF-8.
    text = _as_csv(whole) if form == "csv" else _as_json(whole, ascii_only=target is None)
    if target is None:
        click.echo(text, nl=False)
        return
    write_new(target, text, RecordsError)
    tell(f"Written: {target}, {len(whole)} session{'' if len(whole) == 1 else 's'}.")


def _as_json(whole: list[Row], *, ascii_only: bool) -> str:
    figures = {"sessions": whole}
    return json.dumps(figures, ensure_ascii=ascii_only, indent=2, allow_nan=False) + "\n"


def _as_csv(whole: list[Row]) -> str:
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    for session in whole:
        writer.writerows(session["readings"])
    return out.getvalue()


def _existing(path: Path) -> Records:
    if not path.exists():
        raise RecordsError(
            f"{path}: nothing is on record there yet.",
            mend="Measure something first, or name another file with --records.",
        )
    return Records(path)
