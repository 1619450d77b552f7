"""The records file itself: opened, brought up to date, written in whole transactions."""

from __future__ import annotations

import contextlib
import json
import sqlite3
from collections.abc import Callable, Iterator
from datetime import datetime, timezone
from pathlib import Path
from typing import Any, TypeVar

from hingeline.errors import RecordsError
from hingeline.records.migrations import migrate

#: How long one program waits for another that is writing.
_BUSY_S = 5.0
Row = dict[str, Any]
_Opened = TypeVar("_Opened", bound="RecordsFile")


def _utc_now() -> datetime:
    return datetime.now(timezone.utc)


class RecordsFile:
    """One records file. Use as a context manager, or call :meth:`close`.

    Parameters
    ----------
    path : pathlib.Path
        The file; it and its folder are made when missing.
    now : callable
        Gives the time that is written beside each row.

    Raises
    ------
    RecordsError
        When the file cannot be opened, is no records file, or is newer than this program.
    """

    def __init__(self, path: Path, now: Callable[[], datetime] = _utc_now) -> None:
        self.path = path
        self._now = now
        with self._said("opened"):
            path.parent.mkdir(parents=True, exist_ok=True)
            self._db = sqlite3.connect(path, timeout=_BUSY_S, isolation_level=None)
            try:
                self._db.row_factory = sqlite3.Row
                self._db.execute("PRAGMA journal_mode = WAL")
                self._db.execute("PRAGMA synchronous = FULL")
                self._db.execute("PRAGMA foreign_keys = ON")
                migrate(self._db)
            except BaseException:
                self._db.close()
                raise

    def __enter__(self: _Opened) -> _Opened:
        return self

    def __exit__(self, *_exc: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self._db.close()

    def _insert(self, table: str, **values: Any) -> int:
        columns = ", ".join(values)
        marks = ", ".join("?" * len(values))
        # Table and columns are this module's own words, never the user's.
        cursor = self._db.execute(
            f"INSERT INTO {table} ({columns}) VALUES ({marks})",  # noqa: S608
            tuple(values.values()),
        )
        assert cursor.lastrowid is not None  # noqa: S101  (every insert gives one)
        return cursor.lastrowid

    def _next_number(self) -> int:
        """Return the number of the next session; that of a forgotten one is not given again."""
        (newest,) = self._db.execute(
            "SELECT max(ifnull((SELECT max(id) FROM sessions), 0),"
            " ifnull((SELECT max(id) FROM forgotten), 0))"
        ).fetchone()
        return int(newest) + 1

    def _rows(self, query: str, values: tuple[Any, ...] = ()) -> list[Row]:
        with self._said("read"):
            return [dict(row) for row in self._db.execute(query, values)]

    def _stamp(self) -> str:
        return self._now().astimezone(timezone.utc).isoformat(timespec="seconds")

    @contextlib.contextmanager
    def _transaction(self) -> Iterator[None]:
        self._db.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            self._db.execute("ROLLBACK")
            raise
        self._db.execute("COMMIT")

    @contextlib.contextmanager
    def _said(self, done: str) -> Iterator[None]:
        """Turn what SQLite and the file system report into one error with its mend."""
        try:
            yield
        except (sqlite3.Error, OSError) as error:
            raise RecordsError(
                f"{self.path}: the records cannot be {done} ({error}).",
                mend="Check the disk and the file, or name another file with --records.",
            ) from error


def dumps(figures: Row) -> str:
    """Return figures as the text in which they are kept; nan and infinities are refused."""
    return json.dumps(figures, ensure_ascii=False, sort_keys=True, allow_nan=False)
