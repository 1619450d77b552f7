"""Keeping the records in order: a copy of the file, and what is to be forgotten."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from pathlib import Path

from hingeline.errors import RecordsError
from hingeline.records.file import Row
from hingeline.records.looking import Looking

# In an order in which none is left that another rests on.
_TABLES = ("remarks", "steps", "servos", "findings", "curves", "readings")


class Upkeep(Looking):
    """Copying the file, and removing from it."""

    def back_up(self, to: Path) -> None:
        """Write a copy of the whole file, as it is at this moment, to a new file.

        Raises
        ------
        RecordsError
            When there is such a file, or it cannot be written.
        """
        try:
            to.touch(exist_ok=False)
        except FileExistsError:
            raise RecordsError(
                f"{to}: there is such a file already; it was left as it is.",
                mend="Choose another name.",
            ) from None
        except OSError as failure:
            raise RecordsError(
                f"{to}: cannot be written ({failure.strerror}).",
                mend="Check that the folder exists and may be written.",
            ) from None
        try:
            copy = sqlite3.connect(to)
            try:
                self._db.backup(copy)
                # A copy is one file: no second one beside it may be forgotten when it is moved.
                copy.execute("PRAGMA journal_mode = DELETE")
                (sound,) = copy.execute("PRAGMA quick_check").fetchone()
            finally:
                copy.close()
            if sound != "ok":
                raise sqlite3.DatabaseError(str(sound))
        except (sqlite3.Error, OSError) as failure:
            to.unlink(missing_ok=True)
            raise RecordsError(
                f"{to}: the copy cannot be written ({failure}).",
                mend="Check the disk, or copy to another place.",
            ) from failure

    def going(self, numbers: Sequence[int]) -> list[int]:
        """Return which sessions are forgotten when these are, by number.

        With the first session of a rig its later ones go; with one whose readings another
        session replaced, took back or said something of, goes that.

        Raises
        ------
        RecordsError
            When there is no such session, or it is a later one of a rig that would stay: the
            rig's steps would rest on nothing.
        """

        def onward(number: int) -> list[Row]:
            self.header(number)  # an unknown one is named
            return self._rows(
                "SELECT id AS number FROM sessions WHERE rig = ?"
                " UNION SELECT remarks.session_id FROM readings JOIN remarks"
                " ON remarks.reading_id = readings.id WHERE readings.session_id = ?",
                (number, number),
            )

        found = self._reached(numbers, onward)
        marks = ", ".join("?" * len(found))
        for row in self._rows(
            f"SELECT id, rig FROM sessions WHERE id IN ({marks}) ORDER BY id",  # noqa: S608
            tuple(found),
        ):
            if row["rig"] is not None and row["rig"] not in found:
                raise RecordsError(
                    f"session {row['id']} belongs to the rig that began with session "
                    f"{row['rig']}; it was left.",
                    cause="What was found later in that rig rests on it.",
                    mend=f"Do its step again in the rig (redo), or forget the rig whole: "
                    f"hingeline records forget {row['rig']}",
                )
        return sorted(found)

    def forget(self, numbers: Sequence[int]) -> list[int]:
        """Remove sessions with all that was noted in them; return which, as :meth:`going` does.

        Their numbers are not given again. Versions of model files that no session has any
        longer go, too.

        Raises
        ------
        RecordsError
            As for :meth:`going`; nothing is removed then.
        """
        with self._said("written"), self._transaction():
            found = self.going(numbers)
            marks = ", ".join("?" * len(found))
            guards = self._rows("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
            for guard in guards:
                self._db.execute(f"DROP TRIGGER {guard['name']}")
            stamp = self._stamp()
            for number in found:
                (uid,) = self._db.execute(
                    "SELECT uid FROM sessions WHERE id = ?", (number,)
                ).fetchone()
                self._insert("forgotten", id=number, uid=uid, noted=stamp)
            for table in _TABLES:
                self._db.execute(
                    f"DELETE FROM {table} WHERE session_id IN ({marks})",  # noqa: S608
                    found,
                )
            self._db.execute(
                f"DELETE FROM sessions WHERE id IN ({marks})",  # noqa: S608
                found,
            )
            self._db.execute(
                "DELETE FROM models WHERE id NOT IN"
                " (SELECT model_id FROM sessions WHERE model_id IS NOT NULL)"
            )
            for guard in guards:
                self._db.execute(guard["sql"])
            return found

    def servos_of(self, numbers: Sequence[int]) -> list[Row]:
        """Return the servos of which sessions hold curves: ``servo`` and ``simulated``."""
        marks = ", ".join("?" * len(numbers))
        rows = self._rows(
            "SELECT DISTINCT servo, bench = 'simulated' AS simulated FROM curves"  # noqa: S608
            f" JOIN sessions ON sessions.id = session_id WHERE session_id IN ({marks})"
            " ORDER BY servo",
            tuple(numbers),
        )
        return [{**row, "simulated": bool(row["simulated"])} for row in rows]
