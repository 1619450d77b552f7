"""A copy is whole; what is forgotten is gone, and nothing else."""

import sqlite3

import pytest

from hingeline.errors import RecordsError
from hingeline.records.store import RESUMED, Records

TABLES = ("sessions", "readings", "remarks", "curves", "findings", "steps", "servos")


@pytest.fixture
def records(tmp_path):
    with Records(tmp_path / "r.sqlite") as opened:
        yield opened


def reading(records, session, servo="A1"):
    return records.note_reading(
        session,
        servo=servo,
        pulse_us=1500,
        approach="rising",
        gauge="arm",
        resolution=0.5,
        typed="1",
        value=1.0,
        unit="deg",
    )


def filled(records, **more):
    """Note something of each kind in a new session."""
    session = records.start_session("calibrate", bench="board", **more)
    row = reading(records, session)
    records.note_remark(session, "kept", reading=row)
    records.note_curve(session, "A1", {"of": session})
    records.note_finding(session, "verdict", "A1", {})
    records.note_step(session, "", "leads", "done")
    records.note_servo(session, "A1", {"spline_teeth": session})
    return session


def rows(path):
    raw = sqlite3.connect(path)
    found = {table: raw.execute(f"SELECT * FROM {table}").fetchall() for table in TABLES}
    raw.close()
    return found


def test_a_copy_holds_everything_in_one_file(records, tmp_path):
    filled(records, model_name="Heron", model_text="x")
    copy = tmp_path / "copy.sqlite"
    records.back_up(copy)
    assert rows(copy) == rows(records.path)
    assert [one.name for one in tmp_path.glob("copy*")] == ["copy.sqlite"]
    with Records(copy) as opened:
        assert opened.session(1) == records.session(1)


def test_a_copy_overwrites_nothing(records, tmp_path):
    (tmp_path / "mine").write_text("precious")
    with pytest.raises(RecordsError, match="left as it is"):
        records.back_up(tmp_path / "mine")
    assert (tmp_path / "mine").read_text() == "precious"
    with pytest.raises(RecordsError, match="cannot be written"):
        records.back_up(tmp_path / "nowhere" / "copy")


def test_a_copy_that_fails_leaves_nothing(records, tmp_path, monkeypatch):
    def full(_self, _to):
        raise sqlite3.OperationalError("database or disk is full")

    class Failing:
        backup = full

        def __getattr__(self, name):
            return getattr(records_db, name)

    records_db = records._db
    monkeypatch.setattr(records, "_db", Failing())
    with pytest.raises(RecordsError, match="disk is full"):
        records.back_up(tmp_path / "copy")
    monkeypatch.undo()
    assert not (tmp_path / "copy").exists()


def test_what_is_forgotten_is_gone_and_nothing_else(records):
    stays = filled(records, model_name="Heron", model_text="x")
    goes = filled(records, model_name="Plank", model_text="y")
    before = records.session(stays)
    assert records.forget([goes]) == [goes]
    assert records.session(stays) == before
    for table, found in rows(records.path).items():
        column = 0 if table == "sessions" else 1
        assert {row[column] for row in found} == {stays}, table
    assert [row["model"] for row in records.models()] == ["Heron"]
    with pytest.raises(RecordsError, match="It was forgotten on 20"):
        records.session(goes)
    raw = sqlite3.connect(records.path)
    assert raw.execute("PRAGMA foreign_key_check").fetchall() == []
    raw.close()


def test_the_number_of_a_forgotten_session_is_not_given_again(records):
    first = records.start_session("plan")
    records.forget([first])
    assert records.start_session("plan") == first + 1


def test_after_forgetting_the_guards_stand_again(records):
    keeps = filled(records, model_name="Heron", model_text="x")
    records.forget([filled(records)])
    raw = sqlite3.connect(records.path)
    for table in ("models", *TABLES[1:], "forgotten"):
        for change in (f"UPDATE {table} SET id = 99", f"DELETE FROM {table}"):
            with pytest.raises(sqlite3.IntegrityError, match="append-only"):
                raw.execute(change)
    raw.close()
    assert records.session(keeps)["readings"]


def test_a_fault_in_the_middle_forgets_nothing(records, monkeypatch):
    session = filled(records)
    before = rows(records.path)

    def failing(*_arguments, **_values):
        raise OSError("the stick was pulled")

    monkeypatch.setattr(Records, "_insert", failing)
    with pytest.raises(RecordsError, match="pulled"):
        records.forget([session])
    monkeypatch.undo()
    assert rows(records.path) == before
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        records._db.execute("DELETE FROM readings")


def test_a_rig_goes_whole_or_stays(records):
    other = filled(records)
    rig = filled(records, rig=0)
    inner = filled(records, rig=rig)
    with pytest.raises(RecordsError, match=f"belongs to the rig that began with session {rig}"):
        records.forget([inner])
    assert records.count() == 3
    assert records.going([rig]) == [rig, inner]
    assert records.forget([inner, rig]) == [rig, inner]
    assert [row["id"] for row in records.sessions()] == [other]


def test_what_says_something_of_its_readings_goes_with_it(records):
    first = records.start_session("calibrate")
    row = reading(records, first)
    later = records.start_session(RESUMED)
    records.note_remark(later, "undone", reading=row)
    alone = records.start_session("throw")
    assert records.going([first]) == [first, later]
    assert records.going([later]) == [later]
    records.forget([first])
    assert [one["id"] for one in records.sessions()] == [alone]


def test_an_unknown_session_is_named_and_nothing_goes(records):
    session = filled(records)
    with pytest.raises(RecordsError, match="no session 7"):
        records.forget([session, 7])
    assert records.count() == 1


def test_an_older_curve_serves_again(records):
    older, newer = filled(records), filled(records)
    assert records.latest_curve("A1", simulated=False)["session_id"] == newer
    assert records.servos_of([newer]) == [{"servo": "A1", "simulated": False}]
    records.forget([newer])
    assert records.latest_curve("A1", simulated=False)["session_id"] == older
