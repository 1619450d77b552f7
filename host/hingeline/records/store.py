"""The records file: open, note, look up, export."""

from __future__ import annotations

import contextlib
import hashlib
import json
import sqlite3
from collections.abc import Callable, Iterator
from datetime import datetime, timezone
from pathlib import Path
from typing import Any

from hingeline.errors import RecordsError
from hingeline.records.migrations import migrate

#: Command of a session that goes on from the unfinished calibration before it.
RESUMED = "calibrate, resumed"
#: Kinds of remarks by which a reading no longer counts; its row stays.
SET_ASIDE = ("undone", "replaced")
_BUSY_S = 5.0
Row = dict[str, Any]


def _utc_now() -> datetime:
    return datetime.now(timezone.utc)


class Records:
    """One records file. Use as a context manager, or call :meth:`close`.

    Every ``note_...`` call returns only after its row is on the disk: what has been
    acknowledged to the user survives a killed process and a flat battery.

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

    def __enter__(self) -> Records:
        return self

    def __exit__(self, *_exc: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self._db.close()

    # -- noting ------------------------------------------------------------------------

    def start_session(
        self,
        command: str,
        *,
        model_name: str | None = None,
        model_text: str | None = None,
        bench: str = "none",
        board: str | None = None,
        firmware: str | None = None,
        rig: int | None = None,
    ) -> int:
        """Begin a session and return its number.

        Parameters
        ----------
        command : str
            The command that was given, such as "calibrate".
        model_name, model_text : str, optional
            The model file as used; each version of it is kept once.
        bench : {"board", "simulated", "none"}
            What moved the servos. Curves of a simulated bench never serve a real one.
        board, firmware : str, optional
            The board's identity and firmware version.
        rig : int, optional
            Number of the session that began the guided run to which this one belongs; 0: this
            one begins it.
        """
        with self._said("written"), self._transaction():
            model_id = None
            if model_text is not None:
                model_id = self._model_id(model_name or "", model_text)
            number = self._insert(
                "sessions",
                command=command,
                started=self._stamp(),
                model_id=model_id,
                bench=bench,
                board=board,
                firmware=firmware,
                rig=rig or None,
            )
            if rig == 0:
                self._db.execute("UPDATE sessions SET rig = id WHERE id = ?", (number,))
            return number

    def end_session(self, session_id: int, outcome: str) -> None:
        """Note how a session ended, such as "done" or "stopped by the user"."""
        with self._said("written"):
            self._db.execute(
                "UPDATE sessions SET ended = ?, outcome = ? WHERE id = ?",
                (self._stamp(), outcome, session_id),
            )

    def note_reading(
        self,
        session_id: int,
        *,
        servo: str,
        pulse_us: float,
        approach: str,
        gauge: str,
        resolution: float,
        typed: str,
        value: float,
        unit: str,
        surface: str | None = None,
        replaces: int | None = None,
        because: str = "",
    ) -> int:
        """Keep one reading: what was typed, and what was understood by it.

        Parameters
        ----------
        session_id : int
            From :meth:`start_session`.
        servo, surface : str
            Label of the servo; name of the surface when the surface was read.
        pulse_us : float
            The pulse that was sent.
        approach : {"rising", "falling"}
            Whether the pulse was reached from below or from above.
        gauge : str
            What was read: "arm", "deg", "drop" or "straight".
        resolution : float
            The gauge's finest step, in ``unit``.
        typed : str
            The user's own keystrokes.
        value, unit : float, str
            What was understood, with sign.
        replaces : int, optional
            Number of an earlier reading that no longer counts because of this one. A remark
            on it says so; both are kept, or neither is.
        because : str
            What was typed to replace it, when that was not the reading itself: "yes".
        """
        with self._said("written"), self._transaction():
            number = self._insert(
                "readings",
                session_id=session_id,
                noted=self._stamp(),
                servo=servo,
                surface=surface,
                pulse_us=pulse_us,
                approach=approach,
                gauge=gauge,
                resolution=resolution,
                typed=typed,
                value=value,
                unit=unit,
            )
            if replaces is not None:
                self._remark(session_id, servo, "replaced", replaces, because, {"by": number})
            return number

    def note_remark(
        self,
        session_id: int,
        kind: str,
        *,
        servo: str | None = None,
        reading: int | None = None,
        text: str = "",
        figures: Row | None = None,
    ) -> int:
        """Keep what was said or done about a reading, or between two of them.

        Parameters
        ----------
        session_id : int
            From :meth:`start_session`.
        kind : str
            Such as "questioned", "kept", "undone", "skipped", "note". Those in
            :data:`SET_ASIDE` say that the reading no longer counts.
        servo : str, optional
            Label of the servo concerned.
        reading : int, optional
            Number of the reading concerned.
        text : str
            What was typed or said.
        figures : dict, optional
            What else belongs to it, as plain JSON types.
        """
        with self._said("written"):
            return self._remark(session_id, servo, kind, reading, text, figures or {})

    def note_curve(self, session_id: int, servo: str, curve: Row) -> int:
        """Keep a servo's fitted travel curve, as plain JSON types."""
        with self._said("written"):
            return self._insert(
                "curves",
                session_id=session_id,
                noted=self._stamp(),
                servo=servo,
                curve=_dumps(curve),
            )

    def note_finding(self, session_id: int, kind: str, subject: str, figures: Row) -> int:
        """Keep a result, such as the throws of a surface or the check of a pair."""
        with self._said("written"):
            return self._insert(
                "findings",
                session_id=session_id,
                noted=self._stamp(),
                kind=kind,
                subject=subject,
                figures=_dumps(figures),
            )

    def note_step(
        self,
        session_id: int,
        subject: str,
        step: str,
        outcome: str,
        text: str = "",
        figures: Row | None = None,
    ) -> Row:
        """Keep how a step of a guided run ended, and return its row as `rig_steps` does.

        Parameters
        ----------
        session_id : int
            From :meth:`start_session`.
        subject : str
            Name of the surface; "LEFT / RIGHT" for a pair, "" for the whole model.
        step : str
            Name of the step.
        outcome : {"done", "failed", "skipped", "reopened"}
            How it ended; "reopened": it is to be done again.
        text : str
            Why it was left out or is to be done again, as typed.
        figures : dict, optional
            What came of it, as plain JSON types.
        """
        row: Row = {
            "session_id": session_id,
            "noted": self._stamp(),
            "surface": subject,
            "step": step,
            "outcome": outcome,
            "text": text,
        }
        with self._said("written"):
            number = self._insert("steps", **row, figures=_dumps(figures or {}))
        return {"id": number, **row, "figures": figures or {}}

    def note_servo(self, session_id: int, label: str, figures: Row) -> None:
        """Keep what a model file says of a servo, when it is not what is on record already."""
        with self._said("written"), self._transaction():
            newest = self._db.execute(
                "SELECT figures FROM servos WHERE label = ? ORDER BY id DESC LIMIT 1", (label,)
            ).fetchone()
            text = _dumps(figures)
            if newest is None or newest[0] != text:
                self._insert(
                    "servos",
                    session_id=session_id,
                    noted=self._stamp(),
                    label=label,
                    figures=text,
                )

    # -- looking up --------------------------------------------------------------------

    def latest_curve(self, servo: str, *, simulated: bool) -> Row | None:
        """Return the newest curve of a servo from the same sort of bench, with its date.

        Returns
        -------
        dict or None
            Keys ``curve`` (as noted), ``noted``, ``session_id``.
        """
        # A session without a bench holds readings taken on paper: they are of a real servo.
        rows = self._rows(
            "SELECT curve, noted, session_id FROM curves JOIN sessions"
            " ON sessions.id = session_id WHERE servo = ? AND (bench = 'simulated') = ?"
            " ORDER BY curves.id DESC LIMIT 1",
            (servo, simulated),
        )
        if not rows:
            return None
        return {**rows[0], "curve": json.loads(rows[0]["curve"])}

    def latest_finding(self, kind: str, subject: str, *, simulated: bool) -> Row | None:
        """Return the newest finding of a kind about a subject, from the same sort of bench.

        Returns
        -------
        dict or None
            Keys ``figures`` (as noted), ``noted``, ``session_id``.
        """
        rows = self._rows(
            "SELECT figures, noted, session_id FROM findings JOIN sessions"
            " ON sessions.id = session_id WHERE kind = ? AND subject = ?"
            " AND (bench = 'simulated') = ? ORDER BY findings.id DESC LIMIT 1",
            (kind, subject, simulated),
        )
        return {**rows[0], "figures": json.loads(rows[0]["figures"])} if rows else None

    def finding_history(
        self, kind: str, subject: str, *, simulated: bool, limit: int | None = None
    ) -> list[Row]:
        """Return the findings of a kind about a subject, the newest first.

        Returns
        -------
        list of dict
            Keys ``figures`` (as noted), ``noted``, ``session_id``, ``model`` (its name).
        """
        rows = self._rows(
            "SELECT figures, noted, session_id, models.name AS model FROM findings"
            " JOIN sessions ON sessions.id = session_id LEFT JOIN models ON models.id = model_id"
            " WHERE kind = ? AND subject = ? AND (bench = 'simulated') = ?"
            " ORDER BY findings.id DESC LIMIT ?",
            (kind, subject, simulated, -1 if limit is None else limit),
        )
        return [{**row, "figures": json.loads(row["figures"])} for row in rows]

    def rig_steps(self, rig: int) -> list[Row]:
        """Return the steps of a guided run, in the order in which they ended.

        Returns
        -------
        list of dict
            Keys ``id``, ``session_id``, ``noted``, ``surface``, ``step``, ``outcome``,
            ``text``, ``figures``.
        """
        rows = self._rows(
            "SELECT steps.* FROM steps JOIN sessions ON sessions.id = session_id"
            " WHERE sessions.rig = ? ORDER BY steps.id",
            (rig,),
        )
        return [{**row, "figures": json.loads(row["figures"])} for row in rows]

    def newest_rig(self, model_name: str, *, simulated: bool) -> Row | None:
        """Return the first session of a model's newest guided run, from the same sort of bench.

        Returns
        -------
        dict or None
            The session, with ``signed``: whether its newest signing stands.
        """
        rows = self._rows(
            "SELECT sessions.*, ifnull((SELECT steps.outcome FROM steps JOIN sessions AS own"
            " ON own.id = steps.session_id WHERE own.rig = sessions.id AND step = 'signoff'"
            " ORDER BY steps.id DESC LIMIT 1) = 'done', 0) AS signed"
            " FROM sessions JOIN models ON models.id = model_id"
            " WHERE models.name = ? AND sessions.rig = sessions.id"
            " AND (bench = 'simulated') = ? ORDER BY sessions.id DESC LIMIT 1",
            (model_name, simulated),
        )
        return {**rows[0], "signed": bool(rows[0]["signed"])} if rows else None

    def latest_curves(self, *, simulated: bool) -> list[Row]:
        """Return the newest curve of every servo from the same sort of bench, by label.

        Returns
        -------
        list of dict
            Keys ``servo``, ``curve`` (as noted), ``noted``, ``session_id``.
        """
        rows = self._rows(
            "SELECT servo, curve, noted, session_id FROM curves WHERE id IN"
            " (SELECT max(curves.id) FROM curves JOIN sessions ON sessions.id = session_id"
            " WHERE (bench = 'simulated') = ? GROUP BY servo) ORDER BY servo",
            (simulated,),
        )
        return [{**row, "curve": json.loads(row["curve"])} for row in rows]

    def unfinished(self, servo: str, *, simulated: bool) -> tuple[list[Row], list[Row]]:
        """Return what was noted in the servo's newest calibration, if that was not finished.

        A calibration that was taken up again (:data:`RESUMED`) counts as one with the
        session that it went on from, however often it was stopped.

        Returns
        -------
        readings, remarks : list of dict
            The readings that still count, each with its ``remarks``; one that replaced another
            stands in its place. And the remarks that belong to no reading.
        """
        sessions = self._rows(
            "SELECT id, command, outcome FROM sessions"
            " WHERE command IN ('calibrate', ?) AND (bench = 'simulated') = ?"
            " AND (id IN (SELECT session_id FROM readings WHERE servo = ?)"
            " OR id IN (SELECT session_id FROM remarks WHERE servo = ?)"
            " OR id IN (SELECT session_id FROM curves WHERE servo = ?)) ORDER BY id DESC",
            (RESUMED, simulated, servo, servo, servo),
        )
        readings: list[Row] = []
        remarks: list[Row] = []
        for session in sessions:
            if session["outcome"] == "done":
                break
            readings = self.readings(session["id"]) + readings
            remarks = self.remarks(session["id"]) + remarks
            if session["command"] != RESUMED:
                break
        place = {row["id"]: float(row["id"]) for row in readings}
        said: dict[int | None, list[Row]] = {}
        for remark in remarks:
            said.setdefault(remark["reading_id"], []).append(remark)
            if remark["kind"] == "replaced":
                place[remark["figures"]["by"]] = place[remark["reading_id"]]
        counting = [
            {**row, "remarks": said.get(row["id"], [])}
            for row in sorted(readings, key=lambda row: (place[row["id"]], row["id"]))
            if not any(remark["kind"] in SET_ASIDE for remark in said.get(row["id"], []))
        ]
        return counting, said.get(None, [])

    def sessions(self) -> list[Row]:
        """Return all sessions, the newest first, with their counts of readings."""
        return self._rows(
            "SELECT sessions.*, models.name AS model,"
            " (SELECT count(*) FROM readings WHERE session_id = sessions.id) AS readings"
            " FROM sessions LEFT JOIN models ON models.id = model_id ORDER BY sessions.id DESC"
        )

    def session(self, session_id: int) -> Row:
        """Return one session whole: its header, readings, remarks, curves and findings.

        Raises
        ------
        RecordsError
            When there is no such session.
        """
        rows = self._rows(
            "SELECT sessions.*, models.name AS model, models.text AS model_text"
            " FROM sessions LEFT JOIN models ON models.id = model_id WHERE sessions.id = ?",
            (session_id,),
        )
        if not rows:
            raise RecordsError(
                f"there is no session {session_id}.", mend="See: hingeline records list"
            )
        return {
            **rows[0],
            "readings": self.readings(session_id),
            "remarks": self.remarks(session_id),
            "curves": self._parsed("curves", "curve", session_id),
            "findings": self._parsed("findings", "figures", session_id),
        }

    def readings(self, session_id: int) -> list[Row]:
        """Return the readings of a session, in the order in which they were typed."""
        return self._rows("SELECT * FROM readings WHERE session_id = ? ORDER BY id", (session_id,))

    def remarks(self, session_id: int) -> list[Row]:
        """Return the remarks of a session, in the order in which they were made."""
        return self._parsed("remarks", "figures", session_id)

    # -- within ------------------------------------------------------------------------

    def _model_id(self, name: str, text: str) -> int:
        digest = hashlib.sha256(text.encode("utf-8")).hexdigest()
        found = self._db.execute("SELECT id FROM models WHERE sha256 = ?", (digest,)).fetchone()
        if found is not None:
            return int(found[0])
        return self._insert(
            "models", name=name, sha256=digest, text=text, first_used=self._stamp()
        )

    def _remark(
        self,
        session_id: int,
        servo: str | None,
        kind: str,
        reading: int | None,
        text: str,
        figures: Row,
    ) -> int:
        return self._insert(
            "remarks",
            session_id=session_id,
            reading_id=reading,
            noted=self._stamp(),
            servo=servo,
            kind=kind,
            text=text,
            figures=_dumps(figures),
        )

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

    def _rows(self, query: str, values: tuple[Any, ...] = ()) -> list[Row]:
        with self._said("read"):
            return [dict(row) for row in self._db.execute(query, values)]

    def _parsed(self, table: str, column: str, session_id: int) -> list[Row]:
        rows = self._rows(
            f"SELECT * FROM {table} WHERE session_id = ? ORDER BY id",  # noqa: S608
            (session_id,),
        )
        return [{**row, column: json.loads(row[column])} for row in rows]

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


def _dumps(figures: Row) -> str:
    return json.dumps(figures, ensure_ascii=False, sort_keys=True, allow_nan=False)
