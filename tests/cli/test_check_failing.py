"""A check never passes what failed: the record, the model file, a pair, a surface left out."""

import pytest

from hingeline.cli.checked import Sides
from hingeline.errors import BenchError, RecordsError, Stopped
from hingeline.model.writing import example_text
from hingeline.rigging.steps import step_named
from tests.cli.running import run
from tests.support.checks import (  # noqa: F401  (fixtures)
    PORT,
    Ran,
    built,
    changed_model,
    last_of,
    noted_again,
    opened,
    otherwise,
    path_,
    rigged_,
    rigged_again,
    servo,
)
from tests.support.rigging import MODEL, SURFACES


def test_a_record_that_was_not_as_wanted_is_said_first_and_never_passes(path):
    noted_again(path, "elevator", **{"pass": False})
    ran = Ran("elevator")
    assert ran.code == 1
    assert "elevator: the record itself was not as wanted." in ran.talk
    said = " ".join(ran.out.split())
    assert "FAIL: elevator (throws missed): the record itself was not as wanted: rig it: " in said
    assert 'millrace.toml "elevator"' in said
    assert "pass:" not in said
    figures = Ran("elevator", "--json").of("elevator")
    assert (figures["changed"], figures["record_pass"], figures["pass"]) == (False, False, False)


@pytest.mark.parametrize("outcome", ["failed", "reopened", "skipped"])
@pytest.mark.parametrize(
    ("subject", "step", "failing"),
    [
        ("elevator", "binding", ["elevator"]),
        ("left aileron / right aileron", "pair", ["left aileron", "right aileron"]),
    ],
)
def test_steps_of_the_rig_that_failed_fail_the_check(path, subject, step, failing, outcome):
    with opened(path) as records:
        session = records.latest_finding("rigged", "elevator", simulated=True)["session_id"]
        figures = last_of(records, session, subject, step)["figures"]
        records.note_step(session, subject, step, outcome, "buzzing at full up", figures)
    ran = Ran("--json")
    assert ran.code == 1
    assert [one["surface"] for one in ran.figures["surfaces"] if not one["pass"]] == failing
    assert "buzzing at full up" in ran.of(failing[0])["record_wrong"][0]
    rigged_again(path, session)
    assert Ran().code == 0


@pytest.mark.parametrize("step", ["binding", "slop", "direction", "seat", "throws"])
def test_a_step_that_was_left_out_is_named_as_the_handover_names_it(path, step):
    with opened(path) as records:
        session = records.latest_finding("rigged", "rudder", simulated=True)["session_id"]
        row = last_of(records, session, "rudder", step)
        records.note_step(session, "rudder", step, "skipped", "no time", row["figures"])
    ran = Ran("rudder")
    assert ran.code == 1
    named = f"left out: {step_named(step).title} (no time)"
    assert f"FAIL: rudder ({named}): the record itself" in " ".join(ran.out.split())
    handed = run("handover", "millrace.toml", "rudder", "--simulated")
    assert f"NOT RIGHT YET: {named}." in " ".join(handed.out.split())
    assert handed.code == 1


def test_a_newer_rig_that_was_begun_of_a_surface_is_said_and_fails(path):
    with opened(path) as records:
        old = records.latest_finding("rigged", "rudder", simulated=True)["session_id"]
        session = records.start_session(
            "rig",
            model_name="Millrace",
            model_text=example_text(),
            bench="simulated",
            board="",
            firmware="",
            rig=0,
        )
        figures = last_of(records, old, "rudder", "seat")["figures"]
        records.note_step(session, "rudder", "seat", "done", "", figures)
    ran = Ran("rudder", "--json")
    assert ran.code == 1
    assert "its figures are of an earlier rig; a new one was begun on" in ran.talk
    assert ran.of("rudder")["record_pass"] is True  # nothing was wrong with the earlier one
    said, *_ = ran.of("rudder")["record_newer"]
    words = " ".join(Ran("rudder").out.split())
    assert f"FAIL: rudder: {said[:-1]}; to be done again" in words
    assert "; still to be done: " in words
    assert "; go on with that: hingeline rig millrace.toml" in words
    assert "was signed by nobody" in words
    handed = run("handover", "millrace.toml", "rudder", "--simulated")
    assert said in " ".join(handed.out.split())
    assert handed.code == 1
    assert Ran("elevator").code == 0  # the newer rig has nothing to do with it


def test_a_rig_that_nobody_signed_or_that_was_changed_after_that_never_passes(path):
    with opened(path) as records:
        session = records.latest_finding("rigged", "rudder", simulated=True)["session_id"]
        records.note_step(session, "", "signoff", "reopened", "", {})
    ran = Ran("rudder")
    assert ran.code == 1
    assert "was signed by nobody" in " ".join(ran.out.split())
    assert Ran("rudder", "--json").figures["rigs"][0]["signed"] is None
    rigged_again(path, session)
    assert Ran("rudder").code == 0
    with opened(path) as records:
        row = next(one for one in records.rig_steps(session) if one["surface"] == "elevator")
        records.note_step(session, "elevator", row["step"], "done", "", row["figures"])
    ran = Ran("rudder")
    assert ran.code == 1
    assert "before something was changed or done again" in " ".join(ran.out.split())


def test_a_pair_beyond_its_tolerance_never_passes_whatever_is_on_record():
    (pair,) = MODEL.pairs
    common = {"u_deg": 0.5, "limit": 10.0, "either_changed": False}
    for now, then, passed in ((2.5, 29.0, False), (2.5, 2.5, False), (1.0, 29.0, True)):
        sides = Sides(pair, (then, 0.0, 0.0), (now, 0.0, 0.0), tolerance_deg=1.0, **common)
        assert sides.passed is passed


@pytest.mark.usefixtures("path")
def test_parts_of_the_model_file_that_have_changed_are_said_and_fail(folder):
    changed_model(folder, ('up = "13 deg", down', 'up = "12 deg", down'))
    ran = Ran("elevator", "rudder", "--json")
    assert ran.code == 1
    assert ran.of("elevator")["file_changed_in"] == ["throws"]
    assert ran.of("elevator")["changed"] is False
    assert ran.of("rudder")["file_changed_in"] == []
    assert ran.of("rudder")["pass"] is True
    out = " ".join(Ran("elevator").out.split())
    assert "the model file has changed since" in out
    assert "in throws; rig it to that: hingeline rig millrace.toml" in out


@pytest.mark.usefixtures("path")
def test_causes_are_worked_out_on_what_was_rigged_not_on_what_the_file_says_now(folder):
    with built("elevator", otherwise(lean_deg=6.0)):
        before = Ran("elevator", "--json").of("elevator")
        changed_model(
            folder,
            (
                'holes = ["12 mm", "15.5 mm", "19 mm"], hole = 3, set_back = "0 mm" }\n'
                'rod = { diameter = "1.5 mm"',
                'holes = ["12 mm", "15.5 mm", "19 mm"], hole = 1, set_back = "0 mm" }\n'
                'rod = { diameter = "1.5 mm"',
            ),
        )
        after = Ran("elevator", "--json").of("elevator")
    assert after["file_changed_in"] == ["horn"]
    assert [one["name"] for one in before["causes"]] == [one["name"] for one in after["causes"]]
    for one, other in zip(before["causes"], after["causes"], strict=True):
        assert one["size"] == pytest.approx(other["size"], rel=0.2)


def test_without_the_file_of_that_time_no_cause_is_named(path):
    with opened(path) as records:
        session = records.start_session(
            "rig", model_name="Millrace", model_text="?", bench="simulated", board="", firmware=""
        )
    noted_again(path, "elevator", session=session)
    with built("elevator", otherwise(lean_deg=6.0)):
        ran = Ran("elevator")
        figures = Ran("elevator", "--json").of("elevator")
    assert ran.code == 1
    assert figures["causes"] == []
    assert 'hingeline rig millrace.toml "elevator"' in " ".join(ran.out.split())
    assert "slipped" not in ran.out


@pytest.mark.usefixtures("path")
def test_there_is_one_verdict_for_a_surface():
    with built("elevator", otherwise(play_mm=0.6)):
        ran = Ran("elevator")
    verdicts = [line for line in ran.out.splitlines() if line.startswith(("pass", "FAIL"))]
    assert len(verdicts) == 1
    assert verdicts[0].startswith("FAIL: elevator has")


@pytest.mark.usefixtures("path")
def test_a_reversed_surface_is_not_driven_to_its_other_end_and_the_history_can_show_it():
    reverse = servo(rate_deg_per_us=lambda rate: -rate, centre_deg=lambda deg: -deg)
    with built("elevator", reverse):
        ran = Ran("elevator")
        figures = Ran("elevator", "--json").of("elevator")
    assert ran.code == 1
    assert "not driven to the other end" in " ".join(ran.out.split())
    assert "full down" not in ran.out
    assert figures["broken_off"] is True
    assert len(figures["points"]) == 2
    assert [one["name"] for one in figures["causes"]] == ["reversed"]
    for plain in ((), ("--plain",)):
        shown = run(*plain, "check", "millrace.toml", "elevator", "--history", "--port", PORT)
        assert "reversed" in shown.out
        assert "FAIL" in shown.out


@pytest.mark.usefixtures("path")
def test_nothing_is_said_of_an_end_to_which_a_surface_was_not_driven():
    with built("elevator", servo(rate_deg_per_us=lambda rate: 0.02 * rate)):
        ran = Ran("elevator")
        figures = Ran("elevator", "--json").of("elevator")
    said = " ".join(ran.out.split())
    assert figures["broken_off"] is True
    assert "stop" in [one["name"] for one in figures["causes"]]
    assert "it falls short by" in said
    assert "only there" not in said + str(figures["causes"])
    size = f"{figures['worst_change_deg']:.1f} deg"
    assert f"FAIL: elevator stands {size} from its record of" in said
    assert "so far that it was not driven to the other end. " in said


@pytest.mark.usefixtures("path")
def test_a_pair_of_which_one_side_was_broken_off_is_not_compared():
    reverse = servo(rate_deg_per_us=lambda rate: -rate, centre_deg=lambda deg: -deg)
    with built("left aileron", reverse):
        ran = Ran("--json")
    assert ran.code == 1
    assert ran.figures["pairs"] == []


def test_list_and_why_are_answered_and_what_is_not_understood_is_kept_as_that(path):
    typed = ["list", "why", "perhaps", "skip wind", "list", "stop"]
    ran = Ran("elevator", "rudder", "--by-hand", typed=typed)
    assert isinstance(ran.error, Stopped)
    lines = [" ".join(line.split()) for line in (ran.out + ran.talk).splitlines()]
    assert any(line.endswith("now elevator") for line in lines)
    assert any(line.endswith("to come rudder") for line in lines)
    assert any(line.endswith("left out elevator") for line in lines)
    assert "what has slipped, bent or worn" in " ".join(lines)
    with opened(path) as records:
        remarks = records.remarks(max(row["id"] for row in records.sessions()))
    assert [row["kind"] for row in remarks if row["text"] == "perhaps"] == ["not understood"]
    assert [row["kind"] for row in remarks if row["text"] == "why"] == ["answered"]


@pytest.mark.usefixtures("path")
def test_a_surface_with_another_servo_is_left_out_and_the_others_are_checked(folder):
    changed_model(folder, ('servo = "E1"', 'servo = "E2"'), ("[servos.E1]", "[servos.E2]"))
    ran = Ran("--json")
    assert (ran.error, ran.code) == (None, 1)
    assert ran.figures["not_checked"] == ["elevator"]
    assert [one["surface"] for one in ran.figures["surfaces"]] == [
        name for name in SURFACES if name != "elevator"
    ]
    assert all(one["pass"] for one in ran.figures["surfaces"])
    assert "Not checked: elevator: its record is of servo E1" in " ".join(ran.talk.split())
    assert "not checked: elevator: its record is of servo E1" in " ".join(Ran().out.split())


@pytest.mark.usefixtures("path")
def test_with_every_reading_left_out_there_is_no_table():
    ran = Ran("elevator", "--by-hand", typed=["skip wind"])
    assert ran.code == 1
    assert [line for line in ran.out.splitlines() if line] == ["not checked: elevator"]


def test_the_boards_of_the_record_are_asked_for_where_they_were_several(path):
    for name in SURFACES:
        noted_again(path, name, boards=["one", "two"])
    ran = Ran()
    assert isinstance(ran.error, BenchError)
    assert "instead of one two" in str(ran.error)
    noted_again(path, "rudder", boards=["two", "one"])
    ran = Ran()
    assert isinstance(ran.error, RecordsError)
    assert "different boards: one two, two one" in str(ran.error)
    noted_again(path, "rudder", boards=["one"])
    assert Ran("rudder").code == 0
