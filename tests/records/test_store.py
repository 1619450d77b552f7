"""The records: what is noted stays, comes back, and survives a killed process."""

import os
import signal
import sqlite3
import subprocess
import sys
from datetime import datetime, timezone

import pytest

from hingeline.errors import RecordsError
from hingeline.records import migrations
from hingeline.records.store import RESUMED, Records


def reading(**changes):
    return {
        "servo": "A1",
        "pulse_us": 1500,
        "approach": "rising",
        "gauge": "arm",
        "resolution": 0.5,
        "typed": "12,5",
        "value": 12.5,
        "unit": "deg",
        **changes,
    }


@pytest.fixture
def records(tmp_path):
    with Records(tmp_path / "deep" / "records.sqlite") as opened:
        yield opened


def test_a_session_comes_back_whole(records):
    session = records.start_session(
        "calibrate", model_name="Plank", model_text="[model]", bench="board", board="b1"
    )
    records.note_reading(session, **reading(surface="left aileron"))
    records.note_curve(session, "A1", {"rate_deg_per_us": 0.09})
    records.note_finding(session, "throw", "left aileron", {"wanted_deg": 15.0})
    records.end_session(session, "done")
    whole = records.session(session)
    assert (whole["command"], whole["model"], whole["outcome"]) == ("calibrate", "Plank", "done")
    assert whole["readings"][0]["typed"] == "12,5"
    assert whole["readings"][0]["value"] == 12.5
    assert whole["curves"][0]["curve"] == {"rate_deg_per_us": 0.09}
    assert whole["findings"][0]["figures"] == {"wanted_deg": 15.0}
    assert records.sessions()[0]["readings"] == 1


def test_times_are_utc(tmp_path):
    moment = datetime(2026, 1, 2, 3, 4, 5, tzinfo=timezone.utc)
    with Records(tmp_path / "r.sqlite", now=lambda: moment) as records:
        session = records.start_session("plan")
        assert records.session(session)["started"] == "2026-01-02T03:04:05+00:00"


def test_each_version_of_a_model_file_is_kept_once(records):
    for text in ("one", "two", "one"):
        records.start_session("plan", model_name="Plank", model_text=text)
    with sqlite3.connect(records.path) as raw:
        assert raw.execute("SELECT count(*) FROM models").fetchone() == (2,)
    raw.close()


@pytest.mark.parametrize("table", ["models", "readings", "curves", "findings", "remarks"])
def test_what_was_noted_cannot_be_changed_or_removed(records, table):
    session = records.start_session("calibrate", model_name="P", model_text="t")
    records.note_reading(session, **reading())
    records.note_curve(session, "A1", {})
    records.note_finding(session, "throw", "x", {})
    records.note_remark(session, "note")
    raw = sqlite3.connect(records.path)
    for change in (f"UPDATE {table} SET id = 99", f"DELETE FROM {table}"):
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            raw.execute(change)
    raw.close()


def test_a_simulated_curve_never_serves_a_real_bench(records):
    simulated = records.start_session("calibrate", bench="simulated")
    records.note_curve(simulated, "A1", {"of": "simulation"})
    assert records.latest_curve("A1", simulated=False) is None
    real = records.start_session("calibrate", bench="board")
    records.note_curve(real, "A1", {"of": "board"})
    paper = records.start_session("calibrate", bench="none")
    records.note_curve(paper, "A1", {"of": "paper"})
    assert records.latest_curve("A1", simulated=True)["curve"] == {"of": "simulation"}
    assert records.latest_curve("A1", simulated=False)["curve"] == {"of": "paper"}


def test_the_readings_of_an_unfinished_calibration_can_be_taken_up(records):
    first = records.start_session("calibrate", bench="board")
    records.note_reading(first, **reading())
    assert len(records.unfinished("A1", simulated=False)[0]) == 1
    assert records.unfinished("A1", simulated=True) == ([], [])
    assert records.unfinished("A2", simulated=False) == ([], [])
    records.end_session(first, "done")
    assert records.unfinished("A1", simulated=False) == ([], [])


def test_a_correction_is_a_further_reading_with_a_remark_on_the_first(records):
    session = records.start_session("calibrate", bench="board")
    first = records.note_reading(session, **reading(typed="270", value=270.0))
    later = records.note_reading(session, **reading(typed="31", value=31.0, pulse_us=1800))
    right = records.note_reading(
        session, **reading(typed="27", value=27.0), replaces=first, because="yes"
    )
    (remark,) = records.remarks(session)
    assert remark["reading_id"] == first
    assert (remark["kind"], remark["text"]) == ("replaced", "yes")
    assert remark["figures"] == {"by": right}
    assert remark["servo"] == "A1"
    assert [row["typed"] for row in records.readings(session)] == ["270", "31", "27"]
    counting, _ = records.unfinished("A1", simulated=False)
    # In the place of the one that it replaced.
    assert [row["id"] for row in counting] == [right, later]
    records.note_remark(session, "undone", servo="A1", reading=later, text="undo")
    records.note_remark(session, "skipped", servo="A1", text="skip", figures={"pulse_us": 1800})
    counting, others = records.unfinished("A1", simulated=False)
    assert [row["id"] for row in counting] == [right]
    assert [(row["kind"], row["figures"]) for row in others] == [("skipped", {"pulse_us": 1800})]
    assert records.session(session)["remarks"] == records.remarks(session)


def test_a_correction_is_kept_whole_or_not_at_all(records):
    session = records.start_session("calibrate", bench="board")
    with pytest.raises(RecordsError, match="cannot be written"):
        records.note_reading(session, **reading(), replaces=99)
    assert records.readings(session) == []


def test_what_was_said_in_a_session_without_readings_counts_as_well(records):
    first = records.start_session("calibrate", bench="board")
    row = records.note_reading(first, **reading())
    second = records.start_session(RESUMED, bench="board")
    records.note_remark(second, "kept", servo="A1", reading=row, text="keep")
    (counting,), _ = records.unfinished("A1", simulated=False)
    assert [remark["kind"] for remark in counting["remarks"]] == ["kept"]


def test_records_from_before_there_were_remarks_go_on(tmp_path, monkeypatch):
    path = tmp_path / "r.sqlite"
    monkeypatch.setattr(migrations, "STEPS", migrations.STEPS[:1])
    Records(path).close()
    raw = sqlite3.connect(path)
    assert raw.execute("PRAGMA user_version").fetchone() == (1,)
    session = 1
    raw.execute(
        "INSERT INTO sessions (id, command, started, bench) VALUES (?, 'calibrate', '', 'board')",
        (session,),
    )
    raw.execute(
        "INSERT INTO readings (session_id, noted, servo, pulse_us, approach, gauge, resolution,"
        " typed, value, unit) VALUES (?, '', 'A1', 1500, 'rising', 'arm', 0.5, '0', 0, 'deg')",
        (session,),
    )
    raw.commit()
    raw.close()
    monkeypatch.undo()
    with Records(path) as records:
        assert [row["typed"] for row in records.readings(session)] == ["0"]
        assert records.remarks(session) == []
        records.note_remark(session, "note", text="still there")


def test_an_unknown_session_is_named(records):
    with pytest.raises(RecordsError, match="no session 7"):
        records.session(7)


def test_a_reading_outside_its_words_is_refused_and_nothing_is_kept(records):
    session = records.start_session("calibrate")
    with pytest.raises(RecordsError, match="cannot be written"):
        records.note_reading(session, **reading(approach="sideways"))
    with pytest.raises(RecordsError):
        records.note_reading(session + 1, **reading())
    assert records.readings(session) == []


def test_a_file_of_another_kind_is_left_alone(tmp_path):
    path = tmp_path / "letter.txt"
    path.write_text("Dear Sir, " * 100)
    with pytest.raises(RecordsError, match="not a database"):
        Records(path)
    assert path.read_text().startswith("Dear Sir")


def test_a_folder_that_cannot_be_made_is_named(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(RecordsError, match="--records"):
        Records(tmp_path / "file" / "records.sqlite")


def test_records_of_a_newer_version_are_left_alone(tmp_path):
    path = tmp_path / "r.sqlite"
    Records(path).close()
    raw = sqlite3.connect(path)
    raw.execute("PRAGMA user_version = 99")
    raw.commit()
    raw.close()
    with pytest.raises(RecordsError, match="schema 99"):
        Records(path)


def test_a_step_that_fails_leaves_the_file_as_it_was(tmp_path, monkeypatch):
    path = tmp_path / "r.sqlite"
    with Records(path) as records:
        records.start_session("plan")
    broken = (*migrations.STEPS, "CREATE TABLE more (id INTEGER);\nCREATE TABLE models (id);")
    monkeypatch.setattr(migrations, "STEPS", broken)
    with pytest.raises(RecordsError, match="already exists"):
        Records(path)
    raw = sqlite3.connect(path)
    assert raw.execute("SELECT name FROM sqlite_master WHERE name = 'more'").fetchone() is None
    assert raw.execute("PRAGMA user_version").fetchone() == (len(broken) - 1,)
    raw.close()


KILLED = """
import sys
from pathlib import Path
from hingeline.records.store import RESUMED, Records
records = Records(Path(sys.argv[1]))
session = records.start_session("calibrate", bench="board")
number = 0
while True:
    records.note_reading(session, servo="A1", pulse_us=1500, approach="rising", gauge="arm",
                         resolution=0.5, typed=str(number), value=number, unit="deg")
    print(number, flush=True)
    number += 1
"""


@pytest.mark.skipif(os.name != "posix", reason="kills with SIGKILL")
def test_no_acknowledged_reading_is_lost_when_the_process_is_killed(tmp_path):
    path = tmp_path / "r.sqlite"
    for after in (1, 7, 20):
        process = subprocess.Popen(
            [sys.executable, "-c", KILLED, str(path)], stdout=subprocess.PIPE, text=True
        )
        acknowledged = []
        for line in process.stdout:
            acknowledged.append(line.strip())
            if len(acknowledged) >= after:
                process.send_signal(signal.SIGKILL)
                break
        rest = process.stdout.read().split()
        process.wait()
        process.stdout.close()
        with Records(path) as records:
            kept = [row["typed"] for row in records.readings(records.sessions()[0]["id"])]
            assert kept[: len(acknowledged) + len(rest)] == acknowledged + rest
