"""Sessions given to another records file, and taken in from one."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from hingeline.kinds import BUILT, SEAT
from hingeline.records.file import Row, dumps
from hingeline.records.looking import Looking

if TYPE_CHECKING:
    from hingeline.records.form import Export, Session

# Gives the number here of a row there, by its table.
_Raised = Callable[[str, int], int]
# Figures that hold a number: of a reading or a session, in rows of a table of this kind.
_NUMBERS = {
    ("remarks", "replaced"): {"by": "readings"},
    ("findings", SEAT): {"curve": "sessions"},
    ("findings", BUILT): {"rig": "sessions"},
    ("steps", ""): {"curve": "sessions", "void": "sessions"},
}


@dataclass(frozen=True)
class Taken:
    """What became of the sessions of a file.

    Attributes
    ----------
    new : dict of int to int
        Those taken in: their number there, and here.
    known : dict of int to int
        Those that were here already, likewise.
    """

    new: dict[int, int]
    known: dict[int, int]


class Exchange(Looking):
    """Giving away and taking in."""

    def exported(self, numbers: Sequence[int]) -> Row:
        """Return sessions whole, as they are written to a file and taken in again.

        Parameters
        ----------
        numbers : sequence of int
            The sessions; see :meth:`belonging` for those without which they are not taken in.

        Raises
        ------
        RecordsError
            When there is no such session.
        """
        return {"format": 1, "sessions": [self.session(number) for number in numbers]}

    def belonging(self, numbers: Sequence[int]) -> list[int]:
        """Return the sessions with those that belong to them, by number.

        To a session belong all of its rig, those that hold the readings of which it says
        something, and the calibration whose curve its seats move.
        """

        def onward(number: int) -> list[Row]:
            return self._rows(
                "SELECT id AS number FROM sessions"
                " WHERE rig = (SELECT rig FROM sessions WHERE id = ?)"
                " UNION SELECT readings.session_id FROM remarks"
                " JOIN readings ON readings.id = reading_id WHERE remarks.session_id = ?"
                " UNION SELECT id FROM sessions WHERE id IN (SELECT json_extract(figures,"
                " '$.curve') FROM findings WHERE session_id = ? AND kind = ?)",
                (number, number, number, SEAT),
            )

        return sorted(self._reached(numbers, onward))

    def take_in(self, text: bytes) -> Taken:
        """Take in the sessions of an export that are not here yet: all of them, or none.

        They get numbers after those that are here, in the same order. What is known by its
        uid is left as it is here.

        Parameters
        ----------
        text : bytes
            What :meth:`exported` returned, as JSON.

        Raises
        ------
        RecordsError
            When the file is not as it must be, naming the place; nothing is taken in then.
        """
        from hingeline.records.form import read_export

        export = read_export(text)
        with self._said("written"), self._transaction():
            return self._take_in(export)

    def _take_in(self, export: Export) -> Taken:
        from hingeline.records.form import TABLES

        # All numbers of a table are raised by as much: what belongs together still does, and a
        # number that is in no file meets none here.
        up = {table: self._highest(table) for table in TABLES}
        up["sessions"] = self._next_number() - 1
        here = {row["uid"]: row["id"] for row in self._rows("SELECT id, uid FROM sessions")}
        known = {one.id: here[one.uid] for one in export.sessions if one.uid in here}
        new = {one.id: one.id + up["sessions"] for one in export.sessions if one.uid not in here}
        numbers: dict[str, dict[int, int]] = {"sessions": {**known, **new}, "readings": {}}
        for session in export.sessions:
            if session.id in known:
                there = [row.id for row in session.readings]
                own = [row["id"] for row in self.readings(known[session.id])]
                numbers["readings"].update(zip(there, own, strict=False))

        def raised(table: str, number: int) -> int:
            return numbers.get(table, {}).get(number, number + up[table])

        coming = sorted((one for one in export.sessions if one.id in new), key=lambda one: one.id)
        for session in coming:
            self._take_header(session, raised)
        for table in TABLES:
            for session in coming:
                for row in getattr(session, table):
                    self._take_row(table, row, raised)
        return Taken(new, known)

    def _take_header(self, session: Session, raised: _Raised) -> None:
        model_id = None
        if session.model_text is not None:
            model_id = self._model_id(session.model or "", session.model_text, session.started)
        self._insert(
            "sessions",
            id=raised("sessions", session.id),
            uid=session.uid,
            command=session.command,
            started=session.started,
            ended=session.ended,
            outcome=session.outcome,
            model_id=model_id,
            bench=session.bench,
            board=session.board,
            firmware=session.firmware,
            rig=None if session.rig is None else raised("sessions", session.rig),
        )

    def _take_row(self, table: str, row: Any, raised: _Raised) -> None:
        values: Row = {name: getattr(row, name) for name in row.__struct_fields__}
        values["id"] = raised(table, row.id)
        values["session_id"] = raised("sessions", row.session_id)
        if values.get("reading_id") is not None:
            values["reading_id"] = raised("readings", row.reading_id)
        numbers = _NUMBERS.get((table, values.get("kind", "")), {})
        for column in ("figures", "curve"):
            if column in values:
                figures = dict(values[column])
                for key, of in numbers.items():
                    if isinstance(figures.get(key), int):
                        figures[key] = raised(of, figures[key])
                values[column] = dumps(figures)
        self._insert(table, **values)
