"""Where the records are, and what is said when nothing is there."""

from __future__ import annotations

from pathlib import Path

import click

from hingeline.errors import RecordsError
from hingeline.records.store import Records

#: A session's number, or how many are meant; SQLite knows none that are higher.
NUMBER = click.IntRange(1, 2**63 - 1)


def place(path: Path | None) -> Path:
    """Return the records file that is meant: the one named, or the user's own."""
    if path is not None:
        return path
    from platformdirs import user_data_path

    return user_data_path("hingeline", appauthor=False) / "records.sqlite"


def existing(path: Path | None) -> Records:
    """Open the records; looking into them makes no file.

    Raises
    ------
    RecordsError
        When there are none.
    """
    path = place(path)
    if not path.exists():
        raise RecordsError(
            f"{path}: nothing is on record there yet.",
            mend="Measure something first, or name another file with --records.",
        )
    return Records(path)


def day(stamp: str) -> str:
    """Return the date of a time as it is kept."""
    return stamp[:10]


def bench_words(simulated: bool) -> str:
    """Return which sort of bench it is, for people."""
    return "simulated" if simulated else "real"
