"""Files of every earlier schema are taken up with all that is in them, or left as they were."""

import shutil
import sqlite3

import pytest

from hingeline.errors import RecordsError
from hingeline.records import migrations
from hingeline.records.store import RESUMED, Records

EARLIER = range(1, len(migrations.STEPS))
#: Rows of each kind, as the schema of that number first had them; invented.
ROWS = {
    1: (
        "INSERT INTO models VALUES (1, 'Heron', 'a1', '[model] # é', '2024-05-01T08:00:00+00:00')",
        "INSERT INTO models VALUES (2, 'Heron', 'b2', '[model]', '2024-06-01T08:00:00+00:00')",
        "INSERT INTO sessions VALUES (1, 'calibrate', '2024-05-01T08:00:00+00:00',"
        " '2024-05-01T08:30:00+00:00', 'done', 1, 'board', 'b1', '0.1')",
        "INSERT INTO sessions VALUES (2, 'throw', '2024-06-01T08:00:00+00:00',"
        " NULL, NULL, 2, 'simulated', NULL, NULL)",
        "INSERT INTO sessions VALUES (3, 'calibrate', '2024-06-02T08:00:00+00:00',"
        " NULL, 'stopped by the user', NULL, 'none', NULL, NULL)",
        "INSERT INTO readings VALUES (1, 1, '2024-05-01T08:01:00+00:00', 'A1', NULL, 1500,"
        " 'rising', 'arm', 0.5, '0,5', 0.5, 'deg')",
        "INSERT INTO readings VALUES (2, 2, '2024-06-01T08:01:00+00:00', 'A1', 'left aileron',"
        " 1700, 'falling', 'drop', 1, 'up 12', 12, 'mm')",
        "INSERT INTO readings VALUES (3, 3, '2024-06-02T08:01:00+00:00', 'A2', NULL, 1500,"
        " 'rising', 'arm', 0.5, '3', 3, 'deg')",
        "INSERT INTO curves VALUES (1, 1, '2024-05-01T08:30:00+00:00', 'A1', '{\"rate\": 0.09}')",
        "INSERT INTO findings VALUES (1, 2, '2024-06-01T08:30:00+00:00', 'throw', 'left aileron',"
        " '{\"wanted_deg\": 15.0}')",
    ),
    2: (
        "INSERT INTO sessions VALUES (4, 'calibrate, resumed', '2024-06-02T09:00:00+00:00',"
        " NULL, NULL, NULL, 'none', NULL, NULL)",
        "INSERT INTO remarks VALUES (1, 4, 3, '2024-06-02T09:01:00+00:00', 'A2', 'questioned',"
        " 'is 3 meant?', '{\"pulse_us\": 1500}')",
        "INSERT INTO remarks VALUES (2, 4, NULL, '2024-06-02T09:02:00+00:00', NULL, 'note',"
        " 'wind', '{}')",
    ),
}


def earlier(path, version):
    """Write a file as the program of that schema left it, with rows of each kind."""
    raw = sqlite3.connect(path)
    raw.execute("PRAGMA journal_mode = WAL")
    for step in migrations.STEPS[:version]:
        raw.executescript(step)
    for number in range(1, version + 1):
        for row in ROWS.get(number, ()):
            raw.execute(row)
    raw.execute(f"PRAGMA user_version = {version}")
    raw.commit()
    raw.close()


def held(path):
    """Return all that a file holds: its schema's number and objects, and the rows by table."""
    raw = sqlite3.connect(path)
    raw.row_factory = sqlite3.Row
    objects = sorted(
        tuple(row) for row in raw.execute("SELECT type, name, sql FROM sqlite_master")
    )
    rows = {
        name: [dict(row) for row in raw.execute(f"SELECT * FROM {name} ORDER BY id")]
        for kind, name, _ in objects
        if kind == "table"
    }
    version = raw.execute("PRAGMA user_version").fetchone()[0]
    sound = [tuple(row) for row in raw.execute("PRAGMA integrity_check")]
    astray = raw.execute("PRAGMA foreign_key_check").fetchall()
    raw.close()
    assert (sound, astray) == ([("ok",)], [])
    return version, objects, rows


def migrated(path, connection=sqlite3.Connection):
    db = sqlite3.connect(path, isolation_level=None, factory=connection)
    try:
        migrations.migrate(db)
    finally:
        db.close()


@pytest.mark.parametrize("version", EARLIER)
def test_every_row_of_an_earlier_file_is_still_there(version, tmp_path):
    path = tmp_path / "r.sqlite"
    earlier(path, version)
    was, _, rows = held(path)
    assert was == version
    Records(path).close()
    now, _, kept = held(path)
    assert now == len(migrations.STEPS)
    assert set(rows) <= set(kept)
    for table, before in rows.items():
        assert before or version < 2  # of each kind there was something to lose
        after = [{column: row[column] for column in before[0]} for row in kept[table]]
        assert after == before


@pytest.mark.parametrize("version", EARLIER)
def test_an_earlier_file_can_be_read_and_gone_on_with(version, tmp_path):
    path = tmp_path / "r.sqlite"
    earlier(path, version)
    with Records(path) as records:
        sessions = records.sessions()
        assert [row["readings"] for row in sessions if row["id"] <= 3] == [1, 1, 1]
        assert all(row["rig"] is None for row in sessions)
        whole = records.session(1)
        assert (whole["model"], whole["model_text"]) == ("Heron", "[model] # é")
        assert whole["readings"][0]["typed"] == "0,5"
        assert records.latest_curve("A1", simulated=False)["curve"] == {"rate": 0.09}
        found = records.latest_finding("throw", "left aileron", simulated=True)
        assert found["figures"] == {"wanted_deg": 15.0}
        (counting,), others = records.unfinished("A2", simulated=False)
        assert counting["typed"] == "3"
        assert [row["kind"] for row in counting["remarks"]] == ["questioned"] * (version > 1)
        assert [row["kind"] for row in others] == ["note"] * (version > 1)
        assert records.newest_rig("Heron", simulated=False) is None
        session = records.start_session(RESUMED, model_name="Heron", model_text="[model]")
        assert session == len(sessions) + 1
        records.note_remark(session, "kept", servo="A2", reading=3)
        (counting,), _ = records.unfinished("A2", simulated=False)
        assert counting["remarks"][-1]["kind"] == "kept"


def test_a_session_gets_the_same_uid_in_every_copy_and_another_one_another(tmp_path):
    uids = []
    for name in ("one", "two"):
        path = tmp_path / f"{name}.sqlite"
        earlier(path, 2)
        with Records(path) as records:
            uids.append([row["uid"] for row in records.sessions()])
    assert uids[0] == uids[1]
    assert len(set(uids[0])) == len(uids[0]) == 4
    assert all(uids[0])


class BrokenOffError(Exception):
    pass


def breaking(at, look):
    """Make a connection that fails before its ``at``-th statement, when it has let us look."""

    class Breaking(sqlite3.Connection):
        def __init__(self, *arguments, **settings):
            super().__init__(*arguments, **settings)
            self.begun = None

        def execute(self, statement, *values):
            if statement.startswith("BEGIN"):
                self.begun = 0
            elif self.begun is not None:
                self.begun += 1
                if self.begun == at:
                    look()
                    raise BrokenOffError
            return super().execute(statement, *values)

    return Breaking


@pytest.mark.parametrize("version", EARLIER)
def test_broken_off_before_any_statement_the_file_is_as_it_was(version, tmp_path):
    first, path, left = (tmp_path / f"{name}.sqlite" for name in ("first", "now", "left"))
    earlier(first, version)
    before = held(first)

    def look():
        # What a killed process leaves: the file, and what waits beside it.
        for stale in tmp_path.glob("left*"):
            stale.unlink()
        for end in ("", "-wal"):
            source = path.with_name(path.name + end)
            if source.exists():
                shutil.copy(source, left.with_name(left.name + end))

    statements = 0
    while True:
        statements += 1
        for stale in tmp_path.glob("now*"):
            stale.unlink()
        shutil.copy(first, path)
        try:
            migrated(path, breaking(statements, look))
        except BrokenOffError:
            assert held(path) == before
            assert held(left) == before
        else:
            break
    after = held(path)
    assert after[0] == len(migrations.STEPS)
    # All steps' statements, the version, COMMIT and the question for the version were tried.
    expected = sum(len(migrations._statements(step)) for step in migrations.STEPS[version:])
    assert statements == expected + 4
    # And what was broken off can be done again.
    migrated(left)
    assert held(left) == after


@pytest.mark.parametrize("version", EARLIER)
def test_a_newer_file_than_each_program_knows_is_left_alone(version, tmp_path, monkeypatch):
    path = tmp_path / "r.sqlite"
    earlier(path, version)
    Records(path).close()
    before = held(path)
    monkeypatch.setattr(migrations, "STEPS", migrations.STEPS[:version])
    with pytest.raises(RecordsError, match=f"knows up to {version}"):
        Records(path)
    assert held(path) == before
