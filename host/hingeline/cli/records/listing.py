"""``hingeline records list``."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import click

from hingeline.cli import options
from hingeline.cli.output import emit, table
from hingeline.cli.records.place import NUMBER, existing, place
from hingeline.records.store import Row

#: So many sessions are shown unless more are asked for.
USUAL = 20


@click.command("list", short_help="List the sessions, the newest first.")
@click.option("--model", default=None, metavar="NAME", help="Only those of this model.")
@click.option("--servo", default=None, metavar="LABEL", help="Only those with this servo.")
@click.option("--command", "of", default=None, metavar="NAME", help="Only those of this command.")
@click.option(
    "--limit",
    type=NUMBER,
    default=USUAL,
    show_default=True,
    metavar="N",
    help="So many at most.",
)
@click.option("--all", "every", is_flag=True, help="All of them.")
@options.records_option
@options.json_option
def command(
    model: str | None,
    servo: str | None,
    of: str | None,
    limit: int,
    every: bool,
    records_path: Path | None,
    as_json: bool,
) -> None:
    """List the sessions, the newest first.

    \b
    Examples:
      hingeline records list
      hingeline records list --command calibrate --servo A1 --all
    """
    path = place(records_path)
    with existing(path) as records:
        sessions = records.sessions(
            model=model, servo=servo, command=of, limit=None if every else limit
        )
        count = records.count()
    chosen = not (model is servo is of is None)
    figures = {"records": str(path), "count": count, "sessions": sessions}
    emit(figures, as_json=as_json, text=_listed(sessions, count, every or chosen))


def _listed(sessions: list[Row], count: int, chosen: bool) -> Iterator[str]:
    if not sessions:
        yield "No session is like that." if count else "Nothing is on record yet."
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
    if not chosen and len(sessions) < count:
        yield f"and {count - len(sessions)} older, with --all"
