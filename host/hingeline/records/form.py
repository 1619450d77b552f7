"""The form of an export: every key and type that a file to be taken in must have."""

from __future__ import annotations

from typing import Annotated, Any, Literal

import msgspec

from hingeline.errors import RecordsError

#: Number of this form; a file of another is refused.
FORMAT = 1

# JSON's own readers agree on whole numbers up to 2**53 (RFC 8259, section 6).
_Number = Annotated[int, msgspec.Meta(ge=1, le=2**53)]
_Stamp = Annotated[
    str, msgspec.Meta(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\+00:00$", max_length=25)
]
_Uid = Annotated[str, msgspec.Meta(pattern=r"^[0-9a-f]{32}$", max_length=32)]


class _Strict(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Every key must be there, and no other."""


class _Noted(_Strict, frozen=True):
    """What every row has."""

    id: _Number
    session_id: _Number
    noted: _Stamp


class Reading(_Noted, frozen=True):
    """One reading, as typed and as understood."""

    servo: str
    surface: str | None
    pulse_us: float
    approach: Literal["rising", "falling"]
    gauge: str
    resolution: float
    typed: str
    value: float
    unit: str


class Remark(_Noted, frozen=True):
    """What was said about a reading, or between two."""

    reading_id: _Number | None
    servo: str | None
    kind: str
    text: str
    figures: dict[str, Any]


class Curve(_Noted, frozen=True):
    """A servo's travel curve."""

    servo: str
    curve: dict[str, Any]


class Finding(_Noted, frozen=True):
    """A result."""

    kind: str
    subject: str
    figures: dict[str, Any]


class Step(_Noted, frozen=True):
    """How a step of a guided run ended."""

    surface: str
    step: str
    outcome: Literal["done", "failed", "skipped", "reopened"]
    text: str
    figures: dict[str, Any]


class ServoSaid(_Noted, frozen=True):
    """What a model file said of a servo."""

    label: str
    figures: dict[str, Any]


class Session(_Strict, frozen=True):
    """A session with all that was noted in it."""

    id: _Number
    uid: _Uid
    command: str
    started: _Stamp
    ended: _Stamp | None
    outcome: str | None
    model_id: _Number | None
    model: str | None
    model_text: str | None
    bench: Literal["board", "simulated", "none"]
    board: str | None
    firmware: str | None
    rig: _Number | None
    readings: list[Reading]
    remarks: list[Remark]
    curves: list[Curve]
    findings: list[Finding]
    steps: list[Step]
    servos: list[ServoSaid]


class Export(_Strict, frozen=True):
    """A whole file."""

    format: Literal[1]
    sessions: list[Session]


#: The tables whose rows belong to a session, in an order in which they may be written.
TABLES = ("readings", "remarks", "curves", "findings", "steps", "servos")


def read_export(text: bytes) -> Export:
    """Read an export, strictly.

    Parameters
    ----------
    text : bytes
        The file, UTF-8.

    Returns
    -------
    Export

    Raises
    ------
    RecordsError
        Naming the place in the file that is not as it must be.
    """
    try:
        export = msgspec.json.decode(text, type=Export)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise _wrong(str(error)) from None
    _check_numbers(export)
    return export


def _check_numbers(export: Export) -> None:
    """Refuse numbers that do not fit together."""
    uids: set[str] = set()
    seen: dict[str, set[int]] = {table: set() for table in ("sessions", *TABLES)}

    def once(table: str, number: int, place: str) -> None:
        if number in seen[table]:
            raise _wrong(f"{table} have number {number} twice - at `{place}.id`")
        seen[table].add(number)

    for i, session in enumerate(export.sessions):
        place = f"$.sessions[{i}]"
        once("sessions", session.id, place)
        if session.uid in uids:
            raise _wrong(f"uid {session.uid} is there twice - at `{place}.uid`")
        uids.add(session.uid)
        if (session.model is None) != (session.model_text is None):
            raise _wrong(f"a model has a name and a text, or neither - at `{place}.model`")
        for table in TABLES:
            for j, row in enumerate(getattr(session, table)):
                inner = f"{place}.{table}[{j}]"
                once(table, row.id, inner)
                if row.session_id != session.id:
                    raise _wrong(
                        f"it is of session {row.session_id} but stands in session {session.id}"
                        f" - at `{inner}.session_id`"
                    )
    for i, session in enumerate(export.sessions):
        place = f"$.sessions[{i}]"
        if session.rig is not None and not (
            session.rig in seen["sessions"] and session.rig <= session.id
        ):
            raise _wrong(
                f"the rig that began with session {session.rig} is not there - at `{place}.rig`"
            )
        for j, remark in enumerate(session.remarks):
            inner = f"{place}.remarks[{j}]"
            _check_reading(remark.reading_id, seen["readings"], f"{inner}.reading_id")
            if remark.kind == "replaced":
                by = remark.figures.get("by")
                _check_reading(by, seen["readings"], f"{inner}.figures.by")
                if by is None or remark.reading_id is None:
                    raise _wrong(f"it does not say which reading replaced which - at `{inner}`")


def _check_reading(number: Any, there: set[int], place: str) -> None:
    if number is not None and (type(number) is not int or number not in there):
        raise _wrong(f"reading {number} is not there - at `{place}`")


def _wrong(what: str) -> RecordsError:
    return RecordsError(
        f"this is no export of records, or it was changed: {what}.",
        cause="Nothing of it was taken in.",
        mend="Export it again where it came from: hingeline records export --to FILE",
    )
