"""A records file as many years of building leave it, made in seconds.

Rows go in by hand and in one transaction: through `Records` every one would wait for the disk.
Everything in it is invented.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

from hingeline.records.store import Records
from hingeline.travel.fit import fit
from hingeline.travel.reading import shaft_reading

MODELS, VERSIONS, SERVOS, SURFACES = 25, 4, 80, 8
#: Readings of one calibration: 13 pulses, from both sides.
PULSES_US = range(1200, 1801, 50)
#: What is done in ten sessions, one after the other; one is a whole guided run of 60 steps.
KINDS = ("calibrate", "throw", "calibrate", "pair", "rig", "calibrate", "throw", "check", "centre")
_BEGIN = datetime(2016, 1, 1, tzinfo=timezone.utc)
_STEPS = ("centre", "seat", "travel", "rod", "neutral", "direction", "throws", "limits")


def model_name(number: int) -> str:
    """Return the name of an invented model."""
    return f"Model {number}"


def write_many(path: Path, sessions: int) -> None:
    """Write a records file with so many sessions, each with all that its command notes.

    Parameters
    ----------
    path : pathlib.Path
        A file that is not there yet.
    sessions : int
        How many.
    """
    Records(path).close()
    curve = json.dumps(_curve(), sort_keys=True)
    db = sqlite3.connect(path, isolation_level=None)
    try:
        db.execute("PRAGMA synchronous = OFF")
        db.execute("BEGIN")
        for number in range(MODELS * VERSIONS):
            name = model_name(number // VERSIONS)
            text = f"[model]\nname = '{name}'\n" + "# a remark\n" * 100
            _insert(db, "models", name=name, sha256=f"{number}", text=text, first_used=_at(number))
        for number in range(1, sessions + 1):
            _write_session(db, number, curve)
        db.execute("COMMIT")
    finally:
        db.close()


def _write_session(db: sqlite3.Connection, number: int, curve: str) -> None:
    command = KINDS[number % len(KINDS)]
    at, servo, surface = _at(number), f"S{number % SERVOS}", f"surface {number % SURFACES}"
    _insert(
        db,
        "sessions",
        id=number,
        uid=f"{number:032x}",
        command=command,
        started=at,
        ended=at,
        outcome="done",
        model_id=number % (MODELS * VERSIONS) + 1,
        bench="board",
        board="b1",
        firmware="1",
        rig=number if command == "rig" else None,
    )
    noted: dict[str, Any] = {"session_id": number, "noted": at}
    pulses = {"calibrate": (*PULSES_US, *PULSES_US), "centre": ()}.get(command, (1300, 1700))
    for pulse_us in pulses:
        _insert(
            db,
            "readings",
            **noted,
            servo=servo,
            surface=None if command == "calibrate" else surface,
            pulse_us=pulse_us,
            approach="rising",
            gauge="arm",
            resolution=0.5,
            typed="12,5",
            value=12.5,
            unit="deg",
        )
    if command == "calibrate":
        _insert(db, "curves", **noted, servo=servo, curve=curve)
        _insert(db, "remarks", **noted, servo=servo, kind="note", text="calm", figures="{}")
        finding = json.dumps({"fit": True, "unfit": [], "doubts": []})
        _insert(db, "findings", **noted, kind="verdict", subject=servo, figures=finding)
    if command == "rig":
        for step in _steps(noted):
            _insert(db, "steps", **step)
        rigged = [(f"surface {one}", {"points": [{"share": 0.0}] * 6}) for one in range(SURFACES)]
        for subject, figures in rigged:
            text = json.dumps(figures)
            _insert(db, "findings", **noted, kind="rigged", subject=subject, figures=text)
    if command in ("throw", "pair", "check"):
        kind = {"check": "checked"}.get(command, command)
        _insert(db, "findings", **noted, kind=kind, subject=surface, figures='{"deg": 12.5}')


def _steps(noted: dict[str, Any]) -> Iterator[dict[str, Any]]:
    rows = [(step, f"surface {one}") for step in _STEPS for one in range(SURFACES)]
    for step, surface in [*rows, ("signoff", "")]:
        yield {
            **noted,
            "surface": surface,
            "step": step,
            "outcome": "done",
            "text": "",
            "figures": '{"print": "0123456789abcdef"}',
        }


def _curve() -> dict[str, Any]:
    rising = [shaft_reading(p, "rising", 0.09 * (p - 1500) - 0.3) for p in PULSES_US]
    falling = [shaft_reading(p, "falling", 0.09 * (p - 1500) + 0.3) for p in PULSES_US]
    return fit([*rising, *falling], nominal_centre_us=1500).to_dict()


def _insert(db: sqlite3.Connection, table: str, **values: Any) -> None:
    marks = ", ".join("?" * len(values))
    db.execute(
        f"INSERT INTO {table} ({', '.join(values)}) VALUES ({marks})", tuple(values.values())
    )


def _at(hours: int) -> str:
    return (_BEGIN + timedelta(hours=8 * hours)).isoformat(timespec="seconds")
