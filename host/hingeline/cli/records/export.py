"""``hingeline records export``."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import click

from hingeline.cli import options
from hingeline.cli.output import tell
from hingeline.cli.records.place import NUMBER, existing
from hingeline.cli.records.wording import understood_in
from hingeline.errors import RecordsError
from hingeline.newfile import write_new
from hingeline.records.store import Row

#: Columns of the CSV export: the readings as typed, what was understood, what was said of it.
#: "value" has the linkage's sign, positive when the rod pushes; "understood" has the word for it.
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
    "understood",
    "remarks",
)


@click.command("export", short_help="Write sessions to a file, as JSON or CSV.")
@click.argument("sessions", nargs=-1, type=NUMBER, metavar="[SESSION]...")
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
def command(
    sessions: tuple[int, ...], form: str, target: Path | None, records_path: Path | None
) -> None:
    """Write sessions to a file, as JSON or CSV; all of them when none is named.

    JSON can be taken in elsewhere with "records import"; what belongs to a session, such as the
    rest of its rig, goes with it.

    \b
    Examples:
      hingeline records export --to all.json
      hingeline records export 3 --as csv --to readings.csv
    """
    with existing(records_path) as records:
        if not sessions:
            chosen = sorted(row["id"] for row in records.sessions())
        elif form == "csv":
            chosen = list(sessions)
        else:
            chosen = records.belonging(sessions)
        whole = records.exported(chosen)
    if more := [number for number in chosen if sessions and number not in sessions]:
        tell(f"With them goes what belongs to them: {_named(more)}.")
    # A screen may not know every letter; a file is UTF-8.
    text = _as_csv(whole) if form == "csv" else _as_json(whole, ascii_only=target is None)
    if target is None:
        click.echo(text, nl=False)
        return
    write_new(target, text, RecordsError)
    tell(f"Written: {target}, {len(chosen)} session{'' if len(chosen) == 1 else 's'}.")


def _named(numbers: list[int]) -> str:
    return f"session{'' if len(numbers) == 1 else 's'} {', '.join(map(str, numbers))}"


def _as_json(whole: Row, *, ascii_only: bool) -> str:
    return json.dumps(whole, ensure_ascii=ascii_only, indent=1, allow_nan=False) + "\n"


def _as_csv(whole: Row) -> str:
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    for session in whole["sessions"]:
        said: dict[int, list[str]] = {}
        for remark in session["remarks"]:
            if remark["reading_id"] is not None:
                said.setdefault(remark["reading_id"], []).append(_brief(remark))
        understood = understood_in(session)
        for reading in session["readings"]:
            told = "; ".join(said.get(reading["id"], []))
            writer.writerow({**reading, "understood": understood(reading), "remarks": told})
    return out.getvalue()


def _brief(remark: Row) -> str:
    text = f": {remark['text']}" if remark["text"] else ""
    return f"{remark['kind']}{text}"
