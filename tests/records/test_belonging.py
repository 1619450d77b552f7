"""What is taken in keeps together, joins what is here, and is as old as it is."""

import json
from datetime import datetime, timezone

import pytest

from hingeline.errors import RecordsError
from hingeline.records.store import RESUMED, Records

READING = {
    "servo": "A1",
    "pulse_us": 1500,
    "approach": "rising",
    "gauge": "arm",
    "resolution": 0.5,
    "typed": "12,5",
    "value": 12.5,
    "unit": "deg",
}


def as_json(records, numbers=None):
    if numbers is None:
        numbers = sorted(row["id"] for row in records.sessions())
    return json.dumps(records.exported(numbers)).encode()


@pytest.fixture
def two(tmp_path):
    with (
        Records(tmp_path / "here.sqlite") as here,
        Records(tmp_path / "there.sqlite") as there,
    ):
        yield here, there


def test_what_belongs_together_still_does_among_others(two):
    here, there = two
    for _ in range(3):
        here.note_reading(here.start_session("throw"), **READING)
    rig = there.start_session("rig", rig=0, model_name="Heron", model_text="x")
    travel = there.start_session("calibrate", rig=rig)
    first = there.note_reading(travel, **READING)
    there.note_reading(travel, **READING, replaces=first)
    there.note_curve(travel, "A1", {})
    there.note_finding(rig, "seat", "A1", {"curve": travel})
    there.note_step(rig, "", "leads", "done")
    assert here.take_in(as_json(there)).new == {rig: 4, travel: 5}
    whole = here.session(4)
    assert whole["rig"] == here.session(5)["rig"] == 4
    assert whole["findings"][0]["figures"] == {"curve": 5}
    (remark,) = here.session(5)["remarks"]
    old, new = here.session(5)["readings"]
    assert (remark["reading_id"], remark["figures"]) == (old["id"], {"by": new["id"]})
    assert [row["step"] for row in here.rig_steps(4)] == ["leads"]


def test_numbers_of_curves_and_rigs_in_figures_are_raised_as_well(two):
    here, there = two
    for _ in range(3):
        here.start_session("throw")
    rig = there.start_session("rig", rig=0)
    travel = there.start_session("calibrate", rig=rig)
    there.note_step(rig, "rudder", "seat", "done", figures={"curve": travel})
    there.note_step(rig, "rudder", "travel", "failed", figures={"void": travel})
    there.note_step(rig, "rudder", "travel", "failed", figures={"void": None})
    there.note_finding(rig, "built", "rudder", {"rig": rig})
    there.note_finding(rig, "seat", "R1", {"unread": "servo", "curve": travel})
    new = here.take_in(as_json(there)).new
    seat, *voids = (row["figures"] for row in here.rig_steps(new[rig]))
    assert seat == {"curve": new[travel]}
    assert voids == [{"void": new[travel]}, {"void": None}]
    built, unread = (row["figures"] for row in here.session(new[rig])["findings"])
    assert built == {"rig": new[rig]}
    assert unread == {"unread": "servo", "curve": new[travel]}


def test_a_rig_that_went_on_elsewhere_is_joined(two):
    here, there = two
    rig = here.start_session("rig", rig=0)
    row = here.note_reading(rig, **READING)
    here.note_step(rig, "", "leads", "done")
    there.note_reading(there.start_session("throw"), **READING)
    elsewhere = there.take_in(as_json(here)).new[rig]
    assert elsewhere != rig
    later = there.start_session("rig", rig=elsewhere)
    there.note_step(later, "", "class", "done")
    there.note_remark(later, "kept", reading=there.readings(elsewhere)[0]["id"])
    taken = here.take_in(as_json(there, there.belonging([later])))
    assert taken.known == {elsewhere: rig}
    assert [step["step"] for step in here.rig_steps(rig)] == ["leads", "class"]
    assert here.remarks(taken.new[later])[0]["reading_id"] == row


def test_an_older_curve_that_is_taken_in_later_is_not_the_newest(tmp_path):
    def at(year):
        return lambda: datetime(year, 1, 1, tzinfo=timezone.utc)

    def calibrated(records, year):
        session = records.start_session("calibrate", bench="board")
        records.note_curve(session, "A1", {"of": year})
        records.note_finding(session, "verdict", "A1", {"of": year})
        records.note_servo(session, "A1", {"of": year})

    with Records(tmp_path / "old.sqlite", now=at(2024)) as old:
        calibrated(old, 2024)
        text = as_json(old)
    with Records(tmp_path / "new.sqlite", now=at(2025)) as new:
        calibrated(new, 2025)
        new.take_in(text)
        assert new.latest_curve("A1", simulated=False)["curve"] == {"of": 2025}
        assert [row["curve"] for row in new.latest_curves(simulated=False)] == [{"of": 2025}]
        assert new.latest_finding("verdict", "A1", simulated=False)["figures"] == {"of": 2025}
        assert new.newest_servo("A1", simulated=False)["figures"] == {"of": 2025}
        assert [row["id"] for row in new.sessions()] == [1, 2]


def test_what_belongs_to_a_session(two):
    here, _ = two
    first = here.start_session("calibrate")
    row = here.note_reading(first, **READING)
    rig = here.start_session("rig", rig=0)
    inner = here.start_session("calibrate", rig=rig)
    later = here.start_session(RESUMED)
    here.note_remark(later, "kept", reading=row)
    seat = here.start_session("rig", rig=rig)
    here.note_finding(seat, "seat", "A1", {"curve": first})
    assert here.belonging([first]) == [first]
    assert here.belonging([later]) == [first, later]
    assert here.belonging([rig]) == here.belonging([inner]) == [first, rig, inner, seat]


@pytest.mark.parametrize("figures", [{}, {"by": 9}, {"by": [1]}, {"by": True}])
def test_what_replaced_a_reading_must_be_there(two, figures):
    here, there = two
    session = there.start_session("calibrate")
    row = there.note_reading(session, **READING)
    there.note_remark(session, "replaced", reading=row, figures=figures)
    with pytest.raises(RecordsError, match=r"\$\.sessions\[0\]\.remarks\[0\]"):
        here.take_in(as_json(there))
    assert here.sessions() == []
