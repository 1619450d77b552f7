"""`records`: what was typed comes back, to the screen and into files."""

import csv
import importlib
import io
import json
import re

import pytest

from hingeline.cli.entry import COMMANDS
from hingeline.cli.records.wording import understood_in
from hingeline.model.writing import example_text
from tests.cli.running import run

THROW = ("throw", "millrace.toml", "rudder", "--port", "sim:", "--yes", "--by-hand")


@pytest.fixture
def two_sessions():
    run(*THROW, typed=["left 22,5", "21 right"])
    run("calibrate", "millrace.toml", "R1", "--port", "sim:", "--yes", "--points", "3")


@pytest.mark.usefixtures("two_sessions")
def test_list_shows_the_newest_first():
    sessions = run("records", "list", "--json").figures["sessions"]
    assert [(row["id"], row["command"]) for row in sessions] == [(2, "calibrate"), (1, "throw")]
    assert [row["outcome"] for row in sessions] == ["done", "done"]
    assert sessions[1]["readings"] == 2
    lines = run("records", "list").out.splitlines()
    assert lines[2].split()[0] == "2"
    assert "simulated" in lines[3]
    assert len(lines) == 4


@pytest.mark.usefixtures("two_sessions")
def test_show_gives_back_the_keystrokes_and_what_was_made_of_them():
    throw = run("records", "show", "1", "--json").figures
    assert [row["typed"] for row in throw["readings"]] == ["left 22,5", "21 right"]
    assert sorted(row["value"] for row in throw["readings"]) == [-21.0, 22.5]
    assert throw["model"] == "Millrace"
    assert throw["model_text"].startswith("# A model file")
    assert throw["findings"][0]["kind"] == "throw"
    text = run("records", "show", "1").out
    assert "left 22,5" in text
    assert "22.5 deg" in text
    curve = run("records", "show", "2").out
    assert "Curve of R1: centre " in curve


SIM = ("--port", "sim:4", "--yes")
BRIEF = ("--hold", "0.5 s", "--step", "200 us")
#: Every command that moves servos, and what its session shows of the answers in it.
MOVING = {
    "centre": ((), ()),
    "sweep": (("rudder", "--cycles", "1"), ()),
    "step": (("rudder", "--pulse", "1550 us"), ()),
    "calibrate": (
        ("E1", "--gauge", "level", "--quick"),
        (r"the level's zero, answered: [-0-9.,]+", r"the level's zero, answered: (rises|falls)"),
    ),
    "deadband": (
        ("A1",),
        (
            r"At 1500 us, a step of -\d+ us, answered: (moved|still)",
            r"At 1500 us, a step of \+\d+ us, answered: (moved|still)",
        ),
    ),
    "listen": (
        ("R1", *BRIEF),
        (
            r"At 1500 us, rod on, answered: quiet",
            r"rod on, answered: off",
            r"At \d+ us, rod off, answered: (quiet|buzzing)",
            r"rod off, answered: on",
        ),
    ),
    "throw": (("rudder",), ()),
    "pair": ((), ()),
}


def test_every_command_that_moves_servos_is_shown_below():
    moving = set()
    for name in COMMANDS:
        command = importlib.import_module(f"hingeline.cli.{name}").command
        if any(option.name == "by_hand" for option in command.params):
            moving.add(name)
    # Those that go through a whole model are shown in tests of their own.
    assert moving - {"check", "rig"} == set(MOVING)


@pytest.mark.parametrize("command", MOVING)
def test_show_tells_the_session_of_every_command_that_moves_servos(command):
    arguments, answers = MOVING[command]
    assert run(command, "millrace.toml", *arguments, *SIM).code in (0, 1)
    ran = run("records", "show", "1")
    assert ran.code == 0
    assert ran.out.startswith(f"Session 1: {command}, Millrace")
    for answer in answers:
        assert re.search(rf"^{answer}$", ran.out, re.MULTILINE), answer


def test_show_tells_what_was_understood_where_that_is_not_what_was_typed():
    typed = ["m", "perhaps", "still"]
    run("deadband", "millrace.toml", "A1", *SIM, "--by-hand", typed=typed)
    out = run("records", "show", "1").out
    assert re.search(r"answered: m \(moved\)$", out, re.MULTILINE)
    assert re.search(r"answered: perhaps \(not understood\)$", out, re.MULTILINE)
    assert re.search(r"answered: still$", out, re.MULTILINE)


UNDERSTOOD = [("up 13", "up 13.0 deg"), ("7,25 down", "down 7.25 deg")]


def test_people_are_told_which_way_a_surface_stood_whatever_its_sign_on_record():
    typed = [text for text, _ in UNDERSTOOD]
    run("throw", "millrace.toml", "elevator", "--port", "sim:", "--yes", "--by-hand", typed=typed)
    values = [row["value"] for row in run("records", "show", "1", "--json").figures["readings"]]
    assert values == [-13.0, 7.25]  # the elevator's horn is on top: a push of the rod is down
    text = run("records", "show", "1").out
    rows = list(csv.DictReader(io.StringIO(run("records", "export", "1", "--as", "csv").out)))
    assert [float(row["value"]) for row in rows] == values
    for (_, words), row in zip(UNDERSTOOD, rows, strict=True):
        assert words in text
        assert row["understood"] == words
    assert "-13 deg" not in text


def test_readings_at_an_arm_and_of_a_lost_model_keep_their_sign():
    row = {"surface": "rudder", "gauge": "deg", "value": -4.5, "unit": "deg"}
    text = example_text()
    said = understood_in({"model_text": text})
    assert said(row) == "right 4.5 deg"  # its horn is on the right: a push is left
    assert said({**row, "value": 0.0}) == "neutral"
    assert said({**row, "gauge": "arm"}) == "-4.5 deg"
    assert said({**row, "gauge": "level"}) == "-4.5 deg"
    assert said({**row, "surface": None}) == "-4.5 deg"
    assert understood_in({"model_text": "?"})(row) == "-4.5 deg"
    assert understood_in({"model_text": None})(row) == "-4.5 deg"


@pytest.mark.usefixtures("two_sessions")
def test_export_as_json_and_csv(folder):
    done = run("records", "export", "--to", "all.json")
    assert (done.code, done.out) == (0, "")
    assert "Written: all.json, 2 sessions." in done.err
    exported = json.loads((folder / "all.json").read_text("utf-8"))["sessions"]
    assert [session["id"] for session in exported] == [1, 2]
    assert exported[0] == run("records", "show", "1", "--json").figures
    assert run("records", "export", "1").figures == {"format": 1, "sessions": exported[:1]}

    assert "1 session." in run("records", "export", "1", "--as", "csv", "--to", "r.csv").err
    text = (folder / "r.csv").read_text("utf-8")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [row["typed"] for row in rows] == ["left 22,5", "21 right"]
    assert run("records", "export", "1", "--as", "csv").out == text


@pytest.mark.usefixtures("two_sessions")
def test_an_existing_file_is_left_alone(folder):
    (folder / "mine.json").write_text("precious")
    ran = run("records", "export", "--to", "mine.json")
    assert ran.code == 7
    assert "left as it is" in ran.err
    assert (folder / "mine.json").read_text() == "precious"


@pytest.mark.usefixtures("two_sessions")
@pytest.mark.parametrize("command", ["show", "export"])
def test_an_unknown_session(command, folder):
    ran = run("records", command, "99")
    assert ran.code == 7
    assert "there is no session 99" in ran.err
    assert "hingeline records list" in ran.err
    assert run("records", command, "nine").code == 2
    assert run("records", command, str(2**70)).code == 2
    assert not list(folder.glob("*.json"))


@pytest.mark.parametrize("words", [["list"], ["show", "1"], ["export"]])
def test_looking_at_nothing_makes_no_file(words, folder):
    ran = run("records", *words)
    assert ran.code == 7
    assert "nothing is on record there yet" in ran.err
    assert not (folder / "records.sqlite").exists()


@pytest.mark.usefixtures("two_sessions")
def test_a_folder_that_is_not_there():
    ran = run("records", "export", "--to", "nowhere/all.json")
    assert ran.code == 7
    assert "nowhere/all.json: cannot be written (No such file or directory)" in ran.err


def test_the_option_goes_before_the_environment(folder):
    run(*THROW, "--records", "mine.sqlite", typed=["22", "22"])
    assert (folder / "mine.sqlite").exists()
    assert not (folder / "records.sqlite").exists()


def test_when_nothing_can_be_kept_nothing_moves(folder, monkeypatch):
    def opened(*_arguments):
        raise AssertionError("a bench was opened")

    monkeypatch.setattr("hingeline.cli.benchwork.opened", opened)
    (folder / "records.sqlite").write_bytes(b"no database at all, but a file of some length")
    ran = run(*THROW)
    assert ran.code == 7
    assert "the records cannot be opened" in ran.talk
