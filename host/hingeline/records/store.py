"""The records: note, look up, give away and take in, keep in order."""

from __future__ import annotations

import os

from hingeline.records.exchange import Exchange
from hingeline.records.file import Row, dumps, whole
from hingeline.records.looking import RESUMED, SET_ASIDE
from hingeline.records.upkeep import Upkeep

__all__ = ["RESUMED", "SET_ASIDE", "Records", "Row"]


class Records(Exchange, Upkeep):
    """One records file, whole. Use as a context manager, or call :meth:`close`.

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
                model_id = self._model_id(model_name or "", model_text, self._stamp())
            number = self._next_number()
            return self._insert(
                "sessions",
                id=number,
                uid=os.urandom(16).hex(),
                command=command,
                started=self._stamp(),
                model_id=model_id,
                bench=bench,
                board=board,
                firmware=firmware,
                rig=number if rig == 0 else rig,
            )

    def end_session(self, session_id: int, outcome: str) -> None:
        """Note how a session ended, such as "done" or "stopped by the user"."""
        with self._said("written"):
            self._db.execute(
                "UPDATE sessions SET ended = ?, outcome = ? WHERE id = ?",
                (self._stamp(), whole(outcome), session_id),
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
                curve=dumps(curve),
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
                figures=dumps(figures),
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
            number = self._insert("steps", **row, figures=dumps(figures or {}))
        return {"id": number, **row, "figures": figures or {}}

    def note_servo(self, session_id: int, label: str, figures: Row) -> None:
        """Keep what a model file says of a servo, when it is not what is on record already.

        Parameters
        ----------
        session_id : int
            From :meth:`start_session`.
        label : str
            Label of the servo.
        figures : dict
            The maker's figures, as plain JSON types, under the names of the model's ``Servo``.
        """
        with self._said("written"), self._transaction():
            simulated = self._db.execute(
                "SELECT bench = 'simulated' FROM sessions WHERE id = ?", (session_id,)
            ).fetchone()
            newest = self.newest_servo(label, simulated=bool(simulated and simulated[0]))
            text = dumps(figures)
            if newest is None or dumps(newest["figures"]) != text:
                self._insert(
                    "servos",
                    session_id=session_id,
                    noted=self._stamp(),
                    label=label,
                    figures=text,
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
            figures=dumps(figures),
        )
