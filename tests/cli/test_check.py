"""A check after a rig on the simulated bench: what has changed is named, all else passes."""

import json
from contextlib import closing
from unittest.mock import patch

import pytest

from hingeline.bench.simulated.builder import Builder
from hingeline.cli import standing
from hingeline.errors import BenchError, RecordsError, Stopped, TravelError
from hingeline.records.store import Records
from hingeline.rigging.threepoints import of_record
from tests.cli.running import run
from tests.support.checks import (  # noqa: F401  (fixtures)
    PORT,
    TOOTH_DEG,
    Ran,
    built,
    changed_model,
    noted_again,
    opened,
    otherwise,
    path_,
    rigged_,
    servo,
)
from tests.support.rigging import SURFACES


@pytest.mark.usefixtures("path")
def test_what_has_not_changed_passes():
    ran = Ran("--json")
    assert (ran.error, ran.code) == (None, 0)
    assert ran.figures["pass"] is True
    assert [one["surface"] for one in ran.figures["surfaces"]] == list(SURFACES)
    for one in ran.figures["surfaces"]:
        assert one["changed"] is False
        assert one["causes"] == []
        assert one["free_play_grown"] is False
    (pair,) = ran.figures["pairs"]
    assert pair["pass"] is True


def test_pulses_and_order_are_those_of_the_record(path):
    assert Ran().code == 0
    with opened(path) as records:
        session = max(row["id"] for row in records.sessions())
        readings = records.readings(session)
        for name in SURFACES:
            own = [row for row in readings if row["surface"] == name]
            recorded = records.latest_finding("rigged", name, simulated=True)["figures"]
            pulses, _ = of_record(recorded)
            assert [row["pulse_us"] for row in own] == pulses
            first, centre, second = pulses
            rising = first > centre > second
            assert [row["approach"] for row in own] == (
                ["rising", "falling", "falling"] if rising else ["falling", "rising", "rising"]
            )
            assert records.latest_finding("checked", name, simulated=True)["figures"]["pass"]


@pytest.mark.parametrize(
    ("name", "change", "causes", "words"),
    [
        ("elevator", otherwise(lean_deg=-TOOTH_DEG), {"arm"}, "one tooth of its spline"),
        ("rudder", otherwise(rod_mm=1.5), {"rod", "arm"}, "mm longer than it was"),
        ("elevator", servo(rate_deg_per_us=lambda rate: 1.2 * rate), {"servo"}, "further"),
        (
            "elevator",
            servo(rate_deg_per_us=lambda rate: -rate, centre_deg=lambda deg: -deg),
            {"reversed"},
            "never swap the servo's wires",
        ),
    ],
)
@pytest.mark.usefixtures("path")
def test_what_has_changed_is_named_and_fails(name, change, causes, words):
    with built(name, change):
        ran = Ran("--json")
    assert ran.code == 1
    assert ran.figures["pass"] is False
    found = ran.of(name)
    assert found["pass"] is False
    assert causes & {one["name"] for one in found["causes"]}
    assert found["causes"][0]["name"] in causes
    assert words in " ".join(one["text"] for one in found["causes"])
    for other in ran.figures["surfaces"]:
        assert other["pass"] is (other is found or other["surface"] != name)


@pytest.mark.usefixtures("path")
def test_play_that_has_grown_is_named_though_the_ends_stand_as_before():
    with built("elevator", otherwise(play_mm=0.6)):
        ran = Ran()
    assert ran.code == 1
    said = " ".join(ran.out.split())
    assert "of free play" in said
    assert "flutter" in said


def test_play_that_has_grown_is_not_said_to_be_as_it_was(path):
    noted_again(path, "elevator", slop_deg=0.0)
    with built("elevator", otherwise(play_mm=0.4)):
        figures = Ran("elevator", "--json").of("elevator")
        ran = Ran("elevator")
    assert (figures["changed"], figures["free_play_grown"], ran.code) == (False, True, 1)
    said = " ".join(ran.out.split())
    assert "elevator's throws are as on" in said
    assert "elevator is as on" not in said


def test_play_that_went_down_is_told_and_passes(path):
    noted_again(path, "elevator", slop_deg=6.0)
    ran = Ran("elevator")
    assert ran.code == 0
    said = " ".join(ran.out.split())
    assert "pass: elevator's throws are as on" in said
    assert "It has less free play than then: " in said
    assert ", 6.0 deg on record." in said


@pytest.mark.usefixtures("path")
def test_a_pair_whose_sides_have_parted_fails():
    with built("left aileron", otherwise(lean_deg=6.0)):
        ran = Ran("--json")
    (pair,) = ran.figures["pairs"]
    assert pair["changed"] is True
    assert pair["pass"] is False


@pytest.mark.usefixtures("path")
def test_a_change_within_the_tolerance_is_told_and_passes():
    with built("elevator", otherwise(lean_deg=4.0)):
        figures = Ran("elevator", "--tolerance", "30 deg", "--json")
        ran = Ran("elevator", "--tolerance", "30 deg")
    assert figures.of("elevator")["changed"] is True
    assert ran.code == 0
    assert "has changed by" in ran.out
    assert "within 30.0 deg" in " ".join(ran.out.split())


def test_a_slip_of_typing_is_asked_about_and_both_are_kept(path):
    recorded = str(round(first_reading(path, "elevator")))
    slips = {("throw", "elevator"): [f"up {recorded[::-1]}"]}
    asked = []

    def stand_in(stations, seed):
        return Builder(stations, seed, asked.append, slips=slips)

    with patch.object(standing, "builder", stand_in):
        ran = Ran("elevator")
    assert ran.code == 0
    assert "digits swapped" in " ".join(asked)
    with opened(path) as records:
        session = records.session(max(row["id"] for row in records.sessions()))
    assert len(session["readings"]) == 4
    assert session["readings"][0]["typed"] == f"up {recorded[::-1]}"
    assert [one["kind"] for one in session["remarks"]].count("replaced") == 1


def first_reading(path, name):
    with opened(path) as records:
        return of_record(records.latest_finding("rigged", name, simulated=True)["figures"])[1][0]


def test_a_direction_must_be_typed_and_orders_are_obeyed(path):
    typed = ["12", "up 12", "note a breeze", "0", "skip wind"]
    ran = Ran("elevator", "rudder", "--json", "--by-hand", typed=[*typed, "stop"])
    assert isinstance(ran.error, Stopped)
    with opened(path) as records:
        session = records.session(max(row["id"] for row in records.sessions()))
        assert [row["typed"] for row in session["readings"]] == ["up 12", "0"]
        texts = [one["text"] for one in session["remarks"]]
        assert [text for text in typed if text not in ("up 12", "0")] == [
            text for text in texts if text in typed
        ]
        assert session["findings"] == []
    skipped = Ran("elevator", "--json", "--by-hand", typed=["skip wind"])
    assert skipped.code == 1
    assert skipped.figures["not_checked"] == ["elevator"]
    assert skipped.figures["pass"] is False


def count(path):
    with opened(path) as records:
        return len(records.sessions())


def test_nothing_moves_without_a_record(folder):
    ran = Ran()
    assert isinstance(ran.error, RecordsError)
    assert not (folder / "records.sqlite").exists()
    with closing(Records(folder / "records.sqlite")):
        pass
    ran = Ran("elevator")
    assert isinstance(ran.error, RecordsError)
    assert 'hingeline rig millrace.toml "elevator"' in ran.error.mend
    assert count(folder / "records.sqlite") == 0


def test_nothing_moves_where_the_model_file_no_longer_fits_the_record(path, folder):
    before = count(path)
    changed_model(folder, ('servo = "E1"', 'servo = "E2"'), ("[servos.E1]", "[servos.E2]"))
    ran = Ran("elevator")
    assert isinstance(ran.error, RecordsError)
    assert "servo E1" in str(ran.error)
    assert "E2" in str(ran.error)
    changed_model(folder, ('["900 us", "2100 us"]', '["1400 us", "1600 us"]'))
    ran = Ran("elevator")
    assert isinstance(ran.error, TravelError)
    assert "1400 to 1600 us" in str(ran.error)
    assert count(path) == before


def test_the_record_of_another_model_with_the_same_surfaces_is_not_taken(path, folder):
    with opened(path) as records:
        other = dict(records.latest_finding("rigged", "elevator", simulated=True)["figures"])
        other["points"] = [
            {**point, "measured_deg": point["measured_deg"] + 5.0} for point in other["points"]
        ]
        session = records.start_session(
            "rig", model_name="Other", model_text="", bench="simulated", board="", firmware=""
        )
        for _ in range(20):
            records.note_finding(session, "rigged", "elevator", other)
    assert Ran("elevator").code == 0
    rows = json.loads(Ran("elevator", "--history", "--json").out)["surfaces"][0]["rows"]
    assert [row["kind"] for row in rows] == ["rigged", "checked"]
    changed_model(folder, ('name = "Millrace"', 'name = "Third"'))
    assert isinstance(Ran("elevator").error, RecordsError)


@pytest.mark.usefixtures("path")
def test_history_shows_what_changed_and_when(monkeypatch):
    Ran("elevator")
    with built("elevator", otherwise(lean_deg=2.5)):
        assert Ran("elevator").code == 1
    monkeypatch.setenv("COLUMNS", "60")
    ran = Ran("elevator", "--history")
    assert ran.code == 0
    assert max(map(len, ran.out.splitlines())) <= 60
    strips = [line[11:42] for line in ran.out.splitlines() if "...." in line]
    assert strips[:2] == [f"{'.' * 15}*{'.' * 15}"] * 2  # all three stand where they stood
    assert strips[2][15] == "|"  # and none does
    assert len(strips) == 3
    assert "".join(strips).isascii()
    assert all("arm" in line for line in ran.out.splitlines() if strips[2] in line)
    rows = json.loads(Ran("elevator", "--history", "--json").out)["surfaces"][0]["rows"]
    assert [row["kind"] for row in rows] == ["rigged", "checked", "checked"]
    assert [row["pass"] for row in rows] == [True, True, False]
    assert all(len(row["deg"]) == 3 for row in rows)


@pytest.mark.usefixtures("path")
def test_history_of_many_checks_still_compares_with_the_rig():
    with built("elevator", otherwise(lean_deg=2.5)):
        for _ in range(14):
            Ran("elevator")
    ran = Ran("elevator", "--history", "--json")
    rows = ran.figures["surfaces"][0]["rows"]
    assert len(rows) == 12
    assert {row["kind"] for row in rows} == {"checked"}  # the rig itself is too long ago
    assert all(max(map(abs, row["change_deg"])) >= 0.5 for row in rows)


@pytest.mark.usefixtures("path")
def test_what_is_beyond_the_plot_is_an_arrow():
    with built("elevator", otherwise(rod_mm=1.5)):
        Ran("elevator")
    lines = Ran("elevator", "--history").out.splitlines()
    assert f"<{'.' * 14}|{'.' * 15}" in lines[-1]
    assert "rod" in lines[-1]


@pytest.mark.usefixtures("path")
def test_history_is_said_in_plain_lines_where_they_are_asked_for():
    with built("elevator", otherwise(rod_mm=1.5)):
        Ran("elevator")
    ran = run("--plain", "check", "millrace.toml", "elevator", "--history", "--port", PORT)
    assert ran.code == 0
    assert ran.out.isascii()
    assert "..." not in ran.out
    last = ran.out.splitlines()[-1]
    assert "full up: down 5.0; neutral: down 4.5; full down: down 5.0" in last
    assert "rod" in last


@pytest.mark.usefixtures("path")
def test_the_command_ends_with_1_when_something_has_changed():
    line = ("check", "millrace.toml", "elevator", "--port", PORT, "--yes")
    assert run(*line).code == 0
    with built("elevator", otherwise(rod_mm=1.5)):
        assert run(*line).code == 1


@pytest.mark.usefixtures("path")
def test_history_needs_no_bench(monkeypatch):
    monkeypatch.delenv("HINGELINE_PORT", raising=False)
    with patch("hingeline.bench.ports.candidates", side_effect=AssertionError("looked")):
        ran = Ran("elevator", "--history", bench=())
    assert ran.code == 0
    assert "--port sim:" in ran.out  # nothing of a real bench is on record


@pytest.mark.usefixtures("path")
def test_without_a_board_nothing_is_checked():
    with patch.object(standing, "candidates", list):
        ran = Ran(bench=())
    assert isinstance(ran.error, BenchError)


def test_nothing_moves_where_the_record_lacks_a_point(path):
    with opened(path) as records:
        figures = dict(records.latest_finding("rigged", "elevator", simulated=True)["figures"])
        figures["points"] = [row for row in figures["points"] if row["share"] >= 0]
        session = records.start_session(
            "rig", model_name="Millrace", model_text="", bench="simulated", board="", firmware=""
        )
        records.note_finding(session, "rigged", "elevator", figures)
    ran = Ran("elevator")
    assert isinstance(ran.error, RecordsError)
    assert "-100%" in str(ran.error)
