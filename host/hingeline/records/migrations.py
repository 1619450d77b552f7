"""The schema of the records, as a sequence of steps that are applied once each.

The file's ``user_version`` counts the steps that it has had. Step and count are changed
in one transaction, so a process killed in between leaves the file as it was.
"""

from __future__ import annotations

import sqlite3

from hingeline.errors import RecordsError

_FOUNDING = """
CREATE TABLE models (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    sha256 TEXT NOT NULL UNIQUE,
    text TEXT NOT NULL,
    first_used TEXT NOT NULL
);
CREATE TABLE sessions (
    id INTEGER PRIMARY KEY,
    command TEXT NOT NULL,
    started TEXT NOT NULL,
    ended TEXT,
    outcome TEXT,
    model_id INTEGER REFERENCES models (id),
    bench TEXT NOT NULL CHECK (bench IN ('board', 'simulated', 'none')),
    board TEXT,
    firmware TEXT
);
CREATE TABLE readings (
    id INTEGER PRIMARY KEY,
    session_id INTEGER NOT NULL REFERENCES sessions (id),
    noted TEXT NOT NULL,
    servo TEXT NOT NULL,
    surface TEXT,
    pulse_us REAL NOT NULL,
    approach TEXT NOT NULL CHECK (approach IN ('rising', 'falling')),
    gauge TEXT NOT NULL,
    resolution REAL NOT NULL,
    typed TEXT NOT NULL,
    value REAL NOT NULL,
    unit TEXT NOT NULL
);
CREATE INDEX readings_session ON readings (session_id);
CREATE TABLE curves (
    id INTEGER PRIMARY KEY,
    session_id INTEGER NOT NULL REFERENCES sessions (id),
    noted TEXT NOT NULL,
    servo TEXT NOT NULL,
    curve TEXT NOT NULL
);
CREATE INDEX curves_servo ON curves (servo);
CREATE TABLE findings (
    id INTEGER PRIMARY KEY,
    session_id INTEGER NOT NULL REFERENCES sessions (id),
    noted TEXT NOT NULL,
    kind TEXT NOT NULL,
    subject TEXT NOT NULL,
    figures TEXT NOT NULL
);
CREATE INDEX findings_session ON findings (session_id);
"""

# What was said about a reading, or between two of them: that it was questioned, kept, replaced.
_REMARKS = """
CREATE TABLE remarks (
    id INTEGER PRIMARY KEY,
    session_id INTEGER NOT NULL REFERENCES sessions (id),
    reading_id INTEGER REFERENCES readings (id),
    noted TEXT NOT NULL,
    servo TEXT,
    kind TEXT NOT NULL,
    text TEXT NOT NULL,
    figures TEXT NOT NULL
);
CREATE INDEX remarks_session ON remarks (session_id);
CREATE INDEX remarks_servo ON remarks (servo);
"""

# By its uid a session is known again in another file. One from before there were any gets it
# from what it holds, so that every copy of the file gives it the same.
_UIDS = """
ALTER TABLE sessions ADD COLUMN uid TEXT;
UPDATE sessions SET uid = digest(
    id, command, started, bench, board, firmware,
    (SELECT sha256 FROM models WHERE models.id = model_id),
    (SELECT group_concat(typed, char(31)) FROM
        (SELECT typed FROM readings WHERE session_id = sessions.id ORDER BY id))
);
CREATE UNIQUE INDEX sessions_uid ON sessions (uid);
CREATE INDEX sessions_started ON sessions (started, id);
CREATE INDEX sessions_command ON sessions (command, started, id);
CREATE TABLE forgotten (
    id INTEGER PRIMARY KEY,
    uid TEXT NOT NULL,
    noted TEXT NOT NULL
);
"""

# The steps of a guided run: how each ended. Sessions of one run bear the number of its first.
_STEPS = """
ALTER TABLE sessions ADD COLUMN rig INTEGER REFERENCES sessions (id);
CREATE INDEX sessions_rig ON sessions (rig);
CREATE INDEX sessions_model ON sessions (model_id);
CREATE INDEX models_name ON models (name);
CREATE TABLE steps (
    id INTEGER PRIMARY KEY,
    session_id INTEGER NOT NULL REFERENCES sessions (id),
    noted TEXT NOT NULL,
    surface TEXT NOT NULL,
    step TEXT NOT NULL,
    outcome TEXT NOT NULL CHECK (outcome IN ('done', 'failed', 'skipped', 'reopened')),
    text TEXT NOT NULL,
    figures TEXT NOT NULL
);
CREATE INDEX steps_session ON steps (session_id);
CREATE INDEX findings_newest ON findings (subject, kind, noted, id);
CREATE INDEX curves_newest ON curves (servo, noted, id);
CREATE INDEX curves_session ON curves (session_id);
CREATE INDEX readings_servo ON readings (servo, session_id);
CREATE INDEX remarks_reading ON remarks (reading_id);
"""

# What a model file said of each servo, whenever it said something else.
_SERVOS = """
CREATE TABLE servos (
    id INTEGER PRIMARY KEY,
    session_id INTEGER NOT NULL REFERENCES sessions (id),
    noted TEXT NOT NULL,
    label TEXT NOT NULL,
    figures TEXT NOT NULL
);
CREATE INDEX servos_newest ON servos (label, noted, id);
CREATE INDEX servos_session ON servos (session_id);
"""


def _append_only(*tables: str) -> str:
    """Keep what was noted as it was noted: a correction is a further row, never a change."""
    return "".join(
        f"""
CREATE TRIGGER {table}_stay BEFORE UPDATE ON {table}
BEGIN SELECT RAISE(ABORT, '{table} are append-only'); END;
CREATE TRIGGER {table}_remain BEFORE DELETE ON {table}
BEGIN SELECT RAISE(ABORT, '{table} are append-only'); END;
"""
        for table in tables
    )


#: Each step in the order in which it came; never edit one that was released, add another.
STEPS: tuple[str, ...] = (
    _FOUNDING + _append_only("models", "readings", "curves", "findings"),
    _REMARKS + _append_only("remarks"),
    _UIDS + _STEPS + _SERVOS + _append_only("steps", "servos", "forgotten"),
)


def migrate(connection: sqlite3.Connection) -> None:
    """Bring the records up to the newest schema.

    Parameters
    ----------
    connection : sqlite3.Connection
        In autocommit mode (``isolation_level=None``).

    Raises
    ------
    RecordsError
        When the file was written by a newer version; it is left as it is.
    """
    # The lock is taken before the version is read: two programs that start together
    # must not both apply the same step.
    if _version(connection) == len(STEPS):
        return
    connection.create_function("digest", -1, _digest, deterministic=True)
    connection.execute("BEGIN IMMEDIATE")
    try:
        have = _version(connection)
        if have > len(STEPS):
            raise RecordsError(
                f"the records have schema {have}; this Hingeline knows up to {len(STEPS)}.",
                cause="They were written by a newer version.",
                mend="Update Hingeline, or name another file with --records.",
            )
        for step in STEPS[have:]:
            for statement in _statements(step):
                connection.execute(statement)
        connection.execute(f"PRAGMA user_version = {len(STEPS)}")
        connection.execute("COMMIT")
    except BaseException:
        connection.execute("ROLLBACK")
        raise


def _digest(*parts: object) -> str:
    """Return 32 hexadecimal digits that belong to these values alone."""
    import hashlib  # here, as a file is brought up to date once

    return hashlib.sha256("\x1f".join(map(repr, parts)).encode("utf-8")).hexdigest()[:32]


def _version(connection: sqlite3.Connection) -> int:
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def _statements(script: str) -> list[str]:
    """Split a script; executescript() would commit in the middle of the transaction."""
    statements, pending = [], ""
    for line in script.splitlines():
        pending += line + "\n"
        if sqlite3.complete_statement(pending):
            statements.append(pending)
            pending = ""
    if pending.strip():
        raise AssertionError(f"unfinished statement: {pending!r}")
    return statements
