"""``hingeline records forget``."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timezone
from pathlib import Path

import click

from hingeline.cli import options
from hingeline.cli.output import tell
from hingeline.cli.records.place import NUMBER, bench_words, day, existing, place
from hingeline.errors import Stopped
from hingeline.records.store import Records, Row


@click.command("forget", short_help="Remove sessions for good.")
@click.argument("sessions", nargs=-1, required=True, type=NUMBER, metavar="SESSION...")
@click.option("--yes", is_flag=True, help="Do not ask.")
@options.records_option
def command(sessions: tuple[int, ...], yes: bool, records_path: Path | None) -> None:
    """Remove sessions for good: those under a wrong label, of a servo that is gone, of trials.

    With the first session of a rig its later ones go. What goes, and which curves servos have
    afterwards, is shown first; the whole file is copied beside itself before.

    \b
    Example:
      hingeline records forget 12 13
    """
    path = place(records_path)
    with existing(path) as records:
        going = records.going(sessions)
        for line in _going(records, going):
            tell(line)
        if not yes:
            _ask(len(going))
        moment = datetime.now(timezone.utc).strftime("%Y-%m-%d-%H%M%S")
        copy = path.with_name(f"{path.stem}-before-{moment}{path.suffix}")
        records.back_up(copy)
        gone = records.forget(going)
    tell(f"Forgotten: {_count(len(gone))}. As it was before: {copy}")


def _ask(count: int) -> None:
    """Have what is about to happen typed."""
    words = f"forget {count}"
    typed = click.prompt(
        f"To remove them, type: {words}", err=True, default="", show_default=False
    )
    if " ".join(typed.split()).lower() != words:
        raise Stopped("nothing was removed.")


def _going(records: Records, numbers: list[int]) -> Iterator[str]:
    yield f"{_count(len(numbers))} will go:"
    for number in numbers:
        row = records.session(number)
        parts = [
            _count(len(row[table]), table[:-1])
            for table in ("readings", "curves", "findings", "steps")
            if row[table]
        ]
        yield (
            f"  {number}: {row['command']}, {row['model'] or 'no model'}, {day(row['started'])}, "
            f"{row['bench']}; {', '.join(parts) or 'nothing was noted in it'}"
        )
    for one in records.servos_of(numbers):
        yield f"  {_afterwards(records, one, numbers)}"


def _afterwards(records: Records, one: Row, numbers: list[int]) -> str:
    curves = records.curve_history(one["servo"], simulated=one["simulated"])
    left = [row for row in curves if row["session_id"] not in numbers]
    who = f"Servo {one['servo']} ({bench_words(one['simulated'])} bench)"
    if not left:
        return f"{who} then has no curve: it is to be calibrated again."
    if left[0] is curves[0]:
        return f"{who} keeps its newest curve, of session {left[0]['session_id']}."
    return (
        f"{who} then has the curve of session {left[0]['session_id']}, "
        f"{day(left[0]['noted'])}, again."
    )


def _count(number: int, what: str = "session") -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
