"""The records file itself: opened, brought up to date, written in whole transactions."""

from __future__ import annotations

import contextlib
import json
import re
import sqlite3
import time
from collections.abc import Callable, Iterator
from datetime import datetime, timezone
from pathlib import Path
from typing import Any, TypeVar

from hingeline.errors import RecordsError
from hingeline.records.migrations import migrate

#: How long one program waits for another that is writing.
_BUSY_S = 5.0
Row = dict[str, Any]
_HALF = re.compile("[\ud800-\udfff]")
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
                self._log_ahead()
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

    def _log_ahead(self) -> None:
        """Keep a log beside the file, by which readers and a writer do not wait for each other.

        Where two programs make the file at once, SQLite refuses this to one without any wait.
        """
        end_s = time.monotonic() + _BUSY_S
        while True:
            try:
                self._db.execute("PRAGMA journal_mode = WAL")
            except sqlite3.OperationalError as error:
                if "locked" not in str(error) or time.monotonic() > end_s:
                    raise
                time.sleep(0.01)
            else:
                return

    def _insert(self, table: str, **values: Any) -> int:
        columns = ", ".join(values)
        marks = ", ".join("?" * len(values))
        # Table and columns are this module's own words, never the user's.
        cursor = self._db.execute(
            f"INSERT INTO {table} ({columns}) VALUES ({marks})",  # noqa: S608
            _kept(*values.values()),
        )
        assert cursor.lastrowid is not None  # noqa: S101  (every insert gives one)
        return cursor.lastrowid

    def _model_id(self, name: str, text: str, first_used: str) -> int:
        import hashlib  # here, as looking things up needs none, and it is slow to come

        digest = hashlib.sha256(text.encode("utf-8")).hexdigest()
        found = self._db.execute("SELECT id FROM models WHERE sha256 = ?", (digest,)).fetchone()
        if found is not None:
            return int(found[0])
        return self._insert("models", name=name, sha256=digest, text=text, first_used=first_used)

    def _highest(self, table: str) -> int:
        """Return the highest number in a table; 0 when it is empty."""
        query = f"SELECT ifnull(max(id), 0) FROM {table}"  # noqa: S608  (our own word)
        return int(self._db.execute(query).fetchone()[0])

    def _next_number(self) -> int:
        """Return the number of the next session; that of a forgotten one is not given again."""
        return max(self._highest("sessions"), self._highest("forgotten")) + 1

    def _rows(self, query: str, values: tuple[Any, ...] = ()) -> list[Row]:
        with self._said("read"):
            return [dict(row) for row in self._db.execute(query, _kept(*values))]

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
    text = json.dumps(figures, ensure_ascii=False, sort_keys=True, allow_nan=False)
    return whole(text, r"\\u{:04x}")


def _kept(*values: Any) -> tuple[Any, ...]:
    return tuple(whole(value) if isinstance(value, str) else value for value in values)


def whole(text: str, form: str = r"\u{:04x}") -> str:
    """Write out what is no whole letter: a key that the terminal sent in another encoding.

    It is kept as it can be seen, and can be written to a file; in JSON with two backslashes, or
    it would be such a half letter again when it is read.
    """
    return _HALF.sub(lambda found: form.format(ord(found[0])), text)
