"""Looking up what was noted; every order by time goes by when it was noted, not by number.

Sessions taken in from another file have higher numbers than those noted here before, but they
may be older. Steps of a rig alone go by number: they are taken in in their order, and a clock that
is put right in the middle of a rig must not turn it round.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence

from hingeline.errors import RecordsError
from hingeline.records.file import RecordsFile, Row

#: Command of a session that goes on from the unfinished calibration before it.
RESUMED = "calibrate, resumed"
#: Kinds of remarks by which a reading no longer counts; its row stays.
SET_ASIDE = ("undone", "replaced")


# Sessions in which something was noted of a servo.
_OF_SERVO = (
    "SELECT session_id FROM readings WHERE servo = ?"
    " UNION SELECT session_id FROM remarks WHERE servo = ?"
    " UNION SELECT session_id FROM curves WHERE servo = ?"
    " UNION SELECT session_id FROM servos WHERE label = ?"
)


class Looking(RecordsFile):
    """What can be asked of the records."""

    def latest_curve(self, servo: str, *, simulated: bool) -> Row | None:
        """Return the newest curve of a servo from the same sort of bench, with its date.

        Returns
        -------
        dict or None
            Keys ``curve`` (as noted), ``noted``, ``session_id``.
        """
        rows = self.curve_history(servo, simulated=simulated, limit=1)
        return rows[0] if rows else None

    def curve_history(self, servo: str, *, simulated: bool, limit: int | None = None) -> list[Row]:
        """Return the curves of a servo from the same sort of bench, the newest first.

        Returns
        -------
        list of dict
            Keys ``curve`` (as noted), ``noted``, ``session_id``.
        """
        # A session without a bench holds readings taken on paper: they are of a real servo.
        rows = self._rows(
            "SELECT curve, noted, session_id FROM curves JOIN sessions"
            " ON sessions.id = session_id WHERE servo = ? AND (bench = 'simulated') = ?"
            " ORDER BY noted DESC, curves.id DESC LIMIT ?",
            (servo, simulated, -1 if limit is None else limit),
        )
        return [{**row, "curve": json.loads(row["curve"])} for row in rows]

    def latest_finding(self, kind: str, subject: str, *, simulated: bool) -> Row | None:
        """Return the newest finding of a kind about a subject, from the same sort of bench.

        Returns
        -------
        dict or None
            Keys ``figures`` (as noted), ``noted``, ``session_id``, ``model`` (its name).
        """
        rows = self.finding_history(kind, subject, simulated=simulated, limit=1)
        return rows[0] if rows else None

    def finding_history(
        self,
        kind: str,
        subject: str,
        *,
        simulated: bool,
        limit: int | None = None,
        model: str | None = None,
    ) -> list[Row]:
        """Return the findings of a kind about a subject, the newest first.

        Every model may have an elevator: ``model`` names the one that is meant.

        Returns
        -------
        list of dict
            Keys ``figures`` (as noted), ``noted``, ``session_id``, ``model`` (its name).
        """
        rows = self._rows(
            "SELECT figures, noted, session_id, models.name AS model FROM findings"
            " JOIN sessions ON sessions.id = session_id LEFT JOIN models ON models.id = model_id"
            " WHERE kind = ? AND subject = ? AND (bench = 'simulated') = ?"
            " AND (? IS NULL OR models.name = ?) ORDER BY noted DESC, findings.id DESC LIMIT ?",
            (kind, subject, simulated, model, model, -1 if limit is None else limit),
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

    def ahead(self) -> str | None:
        """Return when the newest session began, if that is still to come: a clock was wrong.

        What is newest goes by time, so what is noted now would be passed over.
        """
        rows = self._rows(
            "SELECT max(started) AS last FROM sessions WHERE started > ?", (self._stamp(),)
        )
        last: str | None = rows[0]["last"]
        return last

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
            " AND (bench = 'simulated') = ? ORDER BY started DESC, sessions.id DESC LIMIT 1",
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
            " (SELECT (SELECT curves.id FROM curves JOIN sessions ON sessions.id = session_id"
            " WHERE servo = label AND (bench = 'simulated') = ?"
            " ORDER BY noted DESC, curves.id DESC LIMIT 1)"
            " FROM (SELECT DISTINCT servo AS label FROM curves)) ORDER BY servo",
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
            " AND id IN (SELECT session_id FROM readings WHERE servo = ?"
            " UNION SELECT session_id FROM remarks WHERE servo = ?"
            " UNION SELECT session_id FROM curves WHERE servo = ?)"
            " ORDER BY started DESC, id DESC",
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

    def sessions(
        self,
        *,
        model: str | None = None,
        servo: str | None = None,
        command: str | None = None,
        limit: int | None = None,
    ) -> list[Row]:
        """Return sessions, the newest first, with their counts of readings.

        Parameters
        ----------
        model, servo, command : str, optional
            Only those of a model by its name, with anything of a servo by its label, of a
            command (``calibrate`` has those taken up again as well).
        limit : int, optional
            So many at most; default: all.
        """
        wanted, values = ["1"], list[object]()
        if model is not None:
            wanted.append("model_id IN (SELECT id FROM models WHERE name = ?)")
            values.append(model)
        if servo is not None:
            wanted.append(f"id IN ({_OF_SERVO})")
            values += [servo] * _OF_SERVO.count("?")
        if command is not None:
            wanted.append("command IN (?, ?)")
            values += [command, RESUMED if command == "calibrate" else command]
        # What is counted and joined is only what is shown.
        return self._rows(
            "SELECT chosen.*, models.name AS model,"  # noqa: S608  (our own words)
            " (SELECT count(*) FROM readings WHERE session_id = chosen.id) AS readings"
            f" FROM (SELECT * FROM sessions WHERE {' AND '.join(wanted)}"
            " ORDER BY started DESC, id DESC LIMIT ?) AS chosen"
            " LEFT JOIN models ON models.id = model_id ORDER BY started DESC, chosen.id DESC",
            (*values, -1 if limit is None else limit),
        )

    def count(self) -> int:
        """Return how many sessions there are."""
        return int(self._rows("SELECT count(*) AS many FROM sessions")[0]["many"])

    def header(self, session_id: int) -> Row:
        """Return what is known of a session itself, with its model's name and text.

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
            gone = self._rows("SELECT noted FROM forgotten WHERE id = ?", (session_id,))
            raise RecordsError(
                f"there is no session {session_id}.",
                cause=f"It was forgotten on {gone[0]['noted'][:10]}." if gone else "",
                mend="See: hingeline records list",
            )
        return rows[0]

    def session(self, session_id: int) -> Row:
        """Return one session whole: its header, and all that was noted in it.

        Raises
        ------
        RecordsError
            As for :meth:`header`.
        """
        return {
            **self.header(session_id),
            "readings": self.readings(session_id),
            "remarks": self.remarks(session_id),
            "curves": self._parsed("curves", "curve", session_id),
            "findings": self._parsed("findings", "figures", session_id),
            "steps": self._parsed("steps", "figures", session_id),
            "servos": self._parsed("servos", "figures", session_id),
        }

    def newest_servo(self, label: str, *, simulated: bool) -> Row | None:
        """Return what a model file said of a servo last, from the same sort of bench.

        Returns
        -------
        dict or None
            Keys ``figures`` (as noted), ``noted``, ``session_id``, ``model`` (its name).
        """
        rows = self._rows(
            "SELECT figures, noted, session_id, models.name AS model FROM servos"
            " JOIN sessions ON sessions.id = session_id LEFT JOIN models ON models.id = model_id"
            " WHERE label = ? AND (bench = 'simulated') = ?"
            " ORDER BY noted DESC, servos.id DESC LIMIT 1",
            (label, simulated),
        )
        return {**rows[0], "figures": json.loads(rows[0]["figures"])} if rows else None

    def servo_differs(self, label: str, figures: Row, *, simulated: bool) -> str | None:
        """Say how a servo is another than the one on record under its label; None: it is not.

        Parameters
        ----------
        label : str
            Label of the servo.
        figures : dict
            As for :meth:`Records.note_servo`; its ``spline_teeth`` and ``pulse_class`` count.
            What else makers and builders write of one servo may well change.
        simulated : bool
            With which sort of bench.
        """
        newest = self.newest_servo(label, simulated=simulated)
        if newest is None:
            return None
        was = newest["figures"]
        differing = [
            f"{words} {figures[key]} now, {was[key]} then"
            for key, words in (("spline_teeth", "spline teeth"), ("pulse_class", "pulse class"))
            if key in figures and key in was and figures[key] != was[key]
        ]
        if not differing:
            return None
        of = f" for {newest['model']}" if newest["model"] else ""
        return (
            f"Servo {label} is not as on record of {newest['noted'][:10]}{of}: "
            f"{'; '.join(differing)}. If it is another servo, give it a label of its own."
        )

    def servos(self) -> list[Row]:
        """Return the label of every servo on record, with its latest session and its curves.

        Returns
        -------
        list of dict
            Keys ``servo``, ``simulated``, ``last_used``, ``curves`` (how many), in the order
            of the labels.
        """
        rows = self._rows(
            "SELECT servo, bench = 'simulated' AS simulated, max(started) AS last_used,"
            " (SELECT count(*) FROM curves JOIN sessions AS own ON own.id = session_id"
            " WHERE curves.servo = known.servo"
            " AND (own.bench = 'simulated') = (sessions.bench = 'simulated')) AS curves"
            " FROM (SELECT DISTINCT servo, session_id FROM readings"
            " UNION SELECT servo, session_id FROM curves"
            " UNION SELECT label, session_id FROM servos) AS known"
            " JOIN sessions ON sessions.id = known.session_id"
            " GROUP BY servo, bench = 'simulated' ORDER BY servo, simulated"
        )
        return [{**row, "simulated": bool(row["simulated"])} for row in rows]

    def models_of_servo(self, servo: str, *, simulated: bool) -> list[Row]:
        """Return the models with which a servo was used, the one used last first.

        Returns
        -------
        list of dict
            Keys ``model``, ``first_used``, ``last_used``, ``sessions`` (how many), ``text`` (of
            the model file that was used last).
        """
        return self._rows(
            "SELECT name AS model, min(started) AS first_used, max(started) AS last_used,"  # noqa: S608
            " count(*) AS sessions, (SELECT text FROM models AS newest JOIN sessions AS own"
            " ON own.model_id = newest.id WHERE newest.name = models.name"
            " ORDER BY own.started DESC, own.id DESC LIMIT 1) AS text"
            " FROM sessions JOIN models ON models.id = model_id"
            f" WHERE sessions.id IN ({_OF_SERVO}) AND (bench = 'simulated') = ?"
            " GROUP BY name ORDER BY last_used DESC, name",
            (*[servo] * _OF_SERVO.count("?"), simulated),
        )

    def models(self) -> list[Row]:
        """Return every version of every model, by name and by when it was first used.

        Returns
        -------
        list of dict
            Keys ``model``, ``version`` (counted from 1 within the name), ``first_used``,
            ``last_used``, ``sessions`` (how many), ``sha256``, ``text``.
        """
        rows = self._rows(
            "SELECT name AS model, min(started) AS first_used, max(started) AS last_used,"
            " count(*) AS sessions, sha256, text"
            " FROM models JOIN sessions ON sessions.model_id = models.id"
            " GROUP BY models.id ORDER BY name, first_used, models.id"
        )
        counts: dict[str, int] = {}
        for row in rows:
            counts[row["model"]] = row["version"] = counts.get(row["model"], 0) + 1
        return rows

    def _reached(self, numbers: Sequence[int], onward: Callable[[int], list[Row]]) -> set[int]:
        """Return sessions with all that are reached from them; rows onward bear ``number``."""
        found: set[int] = set()
        open_ = list(numbers)
        while open_:
            number = open_.pop()
            if number not in found:
                found.add(number)
                open_ += [row["number"] for row in onward(number)]
        return found

    def readings(self, session_id: int) -> list[Row]:
        """Return the readings of a session, in the order in which they were typed."""
        return self._rows("SELECT * FROM readings WHERE session_id = ? ORDER BY id", (session_id,))

    def remarks(self, session_id: int) -> list[Row]:
        """Return the remarks of a session, in the order in which they were made."""
        return self._parsed("remarks", "figures", session_id)

    def _parsed(self, table: str, column: str, session_id: int) -> list[Row]:
        rows = self._rows(
            f"SELECT * FROM {table} WHERE session_id = ? ORDER BY id",  # noqa: S608
            (session_id,),
        )
        return [{**row, column: json.loads(row[column])} for row in rows]
