"""Questions to the records: what is the newest, what belongs to whom, what differs."""

import sqlite3
from datetime import datetime, timedelta, timezone

import pytest

from hingeline.records.looking import Looking
from hingeline.records.store import RESUMED, Records
from tests.support.many_sessions import model_name, write_many


@pytest.fixture
def records(tmp_path):
    begin, ticks = datetime(2026, 1, 1, tzinfo=timezone.utc), iter(range(10_000))
    with Records(
        tmp_path / "r.sqlite", now=lambda: begin + timedelta(hours=next(ticks))
    ) as opened:
        yield opened


def reading(records, session, servo="A1"):
    records.note_reading(
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


def numbers(rows):
    return [row["id"] for row in rows]


def test_sessions_are_chosen_by_model_servo_command_and_number(records):
    plan = records.start_session("plan", model_name="Heron", model_text="a")
    first = records.start_session("calibrate", model_name="Heron", model_text="b")
    reading(records, first)
    again = records.start_session(RESUMED, model_name="Plank", model_text="c")
    records.note_remark(again, "kept", servo="A1")
    other = records.start_session("throw", model_name="Plank", model_text="c")
    reading(records, other, "E1")
    reading(records, other, "E1")
    assert numbers(records.sessions()) == [other, again, first, plan]
    assert numbers(records.sessions(limit=2)) == [other, again]
    assert numbers(records.sessions(model="Heron")) == [first, plan]
    assert numbers(records.sessions(servo="A1")) == [again, first]
    assert numbers(records.sessions(command="calibrate")) == [again, first]
    assert numbers(records.sessions(command="throw", model="Heron")) == []
    assert numbers(records.sessions(servo="A1", model="Heron", limit=5)) == [first]
    assert [row["readings"] for row in records.sessions()] == [2, 0, 1, 0]
    assert records.count() == 4


def test_every_session_has_a_uid_of_its_own(records):
    for _ in range(20):
        records.start_session("plan")
    uids = [row["uid"] for row in records.sessions()]
    assert len(set(uids)) == 20
    assert all(len(uid) == 32 and not set(uid) - set("0123456789abcdef") for uid in uids)


def test_what_a_model_file_says_of_a_servo_is_kept_when_it_is_new(records):
    real = records.start_session("plan", bench="board", model_name="Heron", model_text="a")
    simulated = records.start_session("plan", bench="simulated")
    for teeth in (25, 25, 23, 25):
        records.note_servo(real, "A1", {"spline_teeth": teeth})
    records.note_servo(simulated, "A1", {"spline_teeth": 25})
    assert [row["figures"]["spline_teeth"] for row in records.session(real)["servos"]] == [
        25,
        23,
        25,
    ]
    assert len(records.session(simulated)["servos"]) == 1
    newest = records.newest_servo("A1", simulated=False)
    assert (newest["model"], newest["figures"]) == ("Heron", {"spline_teeth": 25})


def test_another_servo_under_the_same_label_is_told(records):
    def differs(**figures):
        return records.servo_differs("A1", figures, simulated=False)

    assert differs(spline_teeth=25, pulse_class="standard") is None
    session = records.start_session("plan", bench="board", model_name="Heron", model_text="a")
    records.note_servo(
        session, "A1", {"spline_teeth": 25, "pulse_class": "standard", "centre_us": 1500.0}
    )
    assert differs(spline_teeth=25, pulse_class="standard", centre_us=1520.0) is None
    sentence = differs(spline_teeth=23, pulse_class="narrow")
    assert "for Heron" in sentence
    assert "spline teeth 23 now, 25 then" in sentence
    assert "pulse class narrow now, standard then" in sentence
    assert "label of its own" in sentence
    assert records.servo_differs("A1", {"spline_teeth": 23}, simulated=True) is None


def test_servos_and_the_models_that_they_were_on(records):
    for name, text in (("Heron", "a"), ("Plank", "b"), ("Plank", "c")):
        session = records.start_session(
            "calibrate", bench="board", model_name=name, model_text=text
        )
        reading(records, session)
        records.note_curve(session, "A1", {"of": text})
    paper = records.start_session("calibrate")
    reading(records, paper, "E1")
    simulated = records.start_session("calibrate", bench="simulated")
    records.note_curve(simulated, "A1", {})
    found = [(row["servo"], row["simulated"], row["curves"]) for row in records.servos()]
    assert found == [("A1", False, 3), ("A1", True, 1), ("E1", False, 0)]
    plank, heron = records.models_of_servo("A1", simulated=False)
    assert (plank["model"], plank["sessions"], plank["text"]) == ("Plank", 2, "c")
    assert (heron["model"], heron["sessions"], heron["text"]) == ("Heron", 1, "a")
    assert plank["first_used"] < plank["last_used"]
    history = records.curve_history("A1", simulated=False)
    assert [row["curve"]["of"] for row in history] == ["c", "b", "a"]


def test_versions_of_models_are_counted_within_their_name(records):
    for name, text in (("Heron", "a"), ("Plank", "b"), ("Heron", "c"), ("Heron", "a")):
        records.start_session("plan", model_name=name, model_text=text)
    found = [(row["model"], row["version"], row["sessions"]) for row in records.models()]
    assert found == [("Heron", 1, 2), ("Heron", 2, 1), ("Plank", 1, 1)]
    first = records.models()[0]
    assert first["first_used"] < records.models()[1]["first_used"] < first["last_used"]


def test_no_question_reads_through_all_of_a_table(tmp_path, monkeypatch):
    """What is asked while someone waits finds its rows by an index, however many there are."""
    write_many(tmp_path / "r.sqlite", 60)
    plans = []
    real = Looking._rows

    def watched(self, query, values=()):
        with sqlite3.connect(tmp_path / "r.sqlite") as raw:
            plans.extend(row[3] for row in raw.execute(f"EXPLAIN QUERY PLAN {query}", values))
        raw.close()
        return real(self, query, values)

    with Records(tmp_path / "r.sqlite") as records:
        monkeypatch.setattr(Looking, "_rows", watched)
        records.latest_curve("S7", simulated=False)
        records.latest_finding("rigged", "surface 3", simulated=False)
        records.finding_history("rigged", "surface 3", simulated=False, model=model_name(3))
        records.newest_servo("S7", simulated=False)
        records.newest_rig(model_name(3), simulated=False)
        records.rig_steps(4)
        records.unfinished("S7", simulated=False)
        records.session(4)
        records.belonging([4])
        records.going([4])
    assert len(plans) > 30
    tables = ("sessions", "readings", "remarks", "curves", "findings", "steps", "servos", "own")
    assert [plan for plan in plans if plan.startswith(tuple(f"SCAN {t}" for t in tables))] == []


def test_a_plan_that_reads_through_a_table_would_be_seen(tmp_path):
    Records(tmp_path / "r.sqlite").close()
    raw = sqlite3.connect(tmp_path / "r.sqlite")
    plan = raw.execute("EXPLAIN QUERY PLAN SELECT * FROM readings WHERE typed = 'x'").fetchall()
    raw.close()
    assert plan[0][3].startswith("SCAN readings")


def test_a_clock_put_right_in_a_rig_does_not_turn_it_round(tmp_path):
    times = iter([datetime(2026, 5, 2, tzinfo=timezone.utc)] * 4)
    late = datetime(2026, 5, 1, tzinfo=timezone.utc)
    with Records(tmp_path / "r.sqlite", now=lambda: next(times, late)) as records:
        rig = records.start_session("rig", model_name="Heron", model_text="a", rig=0)
        for outcome in ("done", "reopened", "skipped", "done", "reopened"):
            records.note_step(rig, "", "signoff", outcome)
        outcomes = [row["outcome"] for row in records.rig_steps(rig)]
        assert outcomes == ["done", "reopened", "skipped", "done", "reopened"]
        assert records.newest_rig("Heron", simulated=False)["signed"] is False
        records.note_step(rig, "", "signoff", "done")
        assert records.newest_rig("Heron", simulated=False)["signed"] is True
