"""What a screen reader is given: plain lines, whole sentences, nothing that is written over."""

import pytest

from hingeline.bench.asking import Gauge, arm_question
from hingeline.bench.choices import Choice
from hingeline.cli.console import Keyboard, confirmed
from hingeline.cli.entry import hingeline
from hingeline.cli.output import lively, plain
from tests.cli.running import run
from tests.cli.screens import Screen, screen

SIMULATED = ("--port", "sim:", "--yes")
WAYS = {
    "option": (("--plain",), {}),
    "variable": ((), {"HINGELINE_PLAIN": "1"}),
    "terminal": ((), {"TERM": "dumb"}),
}
COMMANDS = [
    ("demo", "--records", "demo.sqlite"),
    ("plan", "millrace.toml", "--details"),
    ("plan", "millrace.toml", "--choose"),
    ("throw", "millrace.toml", "elevator", *SIMULATED),
    ("calibrate", "millrace.toml", "R1", "--quick", *SIMULATED),
    ("listen", "millrace.toml", "E1", *SIMULATED),
    ("deadband", "millrace.toml", "E1", *SIMULATED),
    ("centre", "millrace.toml", "elevator", *SIMULATED),
    ("sweep", "millrace.toml", "elevator", "--cycles", "1", *SIMULATED),
    ("board", "info", "--port", "sim:"),
    ("records", "list"),
    ("--help",),
]
#: Drawn rules and frames of tables.
DRAWN = {chr(code) for code in range(0x2500, 0x25A0)}


@pytest.fixture(autouse=True)
def not_asked_for(monkeypatch):
    monkeypatch.delenv("HINGELINE_PLAIN", raising=False)


def rows(shown, start):
    return [line for line in shown.splitlines() if line.startswith(start)]


@pytest.mark.parametrize("way", WAYS)
def test_each_row_is_a_line_with_its_headings(way):
    options, env = WAYS[way]
    asked = ("throw", "millrace.toml", "elevator", *SIMULATED)
    shown = screen(*options, *asked, columns=60, **env)
    up, down = rows(shown, "surface: elevator")
    assert up.startswith("surface: elevator; up; pulse: ")
    assert "; wanted: 13.0 deg; predicted: up 13.0 deg; measured: up " in up
    assert down.startswith("surface: elevator; down; pulse: ")
    assert rows(screen(*asked), "surface: ") == []


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_nothing_is_drawn_or_written_over(command):
    shown = screen("--plain", *command)
    assert not DRAWN & set(shown)
    assert "\r" not in shown
    assert "\t" not in shown
    assert len(shown) > 20


def test_the_figures_are_those_of_the_table():
    piped = run("plan", "millrace.toml", "elevator").out
    spoken = run("--plain", "plan", "millrace.toml", "elevator").out
    up = next(line for line in piped.splitlines() if line.startswith("  up "))
    assert "  up; wanted: 13.0 deg; servo turns: 28.6 deg; pulse: 1182 us; " in spoken
    for figure in ("13.0 deg", "28.6 deg", "1182 us"):
        assert figure in up
    assert set(piped) & DRAWN


def test_json_is_the_same_and_so_is_what_goes_elsewhere_from_a_dumb_terminal(monkeypatch):
    assert run("--plain", "plan", "millrace.toml", "--json").out == (
        run("plan", "millrace.toml", "--json").out
    )
    whole = run("plan", "millrace.toml").out
    monkeypatch.setenv("TERM", "dumb")
    assert run("plan", "millrace.toml").out == whole


@pytest.mark.parametrize(("said", "meant"), [("1", True), ("true", True), ("0", False)])
def test_the_variable_is_read_as_that_of_any_flag(said, meant, monkeypatch):
    monkeypatch.setenv("HINGELINE_PLAIN", said)
    assert ("; wanted: " in run("plan", "millrace.toml", "elevator").out) is meant


def test_questions_can_be_said(monkeypatch, capsys):
    asked = []

    def prompt(text=""):
        asked.append(text)
        return "yes"

    monkeypatch.setattr("click.termui.visible_prompt_func", prompt)
    with hingeline.make_context("hingeline", ["--plain", "demo"]):
        assert plain()
        assert not lively()
        Keyboard().ask(arm_question("A1", 1, 1500, Gauge("arm", 0.5)))
        Keyboard().pick(Choice("Did it move", 0, ("moved", "still")))
        Keyboard().pause("Fit the arms")
        assert confirmed("Go on?")
        assert Keyboard().agree("Is it off?")
    shown = capsys.readouterr().err + "".join(asked)
    assert not set("[]") & set(shown)
    for said in (
        "in deg (type a question mark for help): ",
        "Did it move: moved, still (type a question mark for help): ",
        "Fit the arms: press Enter. ",
        "Go on? Type yes or no; Enter alone means no: ",
        "Is it off? Type yes or no: ",
    ):
        assert said.rstrip() in shown  # who writes the last space is click's affair


def test_counters_are_for_lively_terminals_alone(monkeypatch):
    monkeypatch.setenv("TERM", "xterm")
    assert not lively()  # stderr is no terminal
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    assert lively()
    monkeypatch.setenv("TERM", "dumb")
    assert not lively()


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_no_command_sends_an_escape_sequence(command):
    # No colours, so nothing for NO_COLOR to switch off; FORCE_COLOR brings none either.
    assert "\x1b" not in screen(*command, FORCE_COLOR="1", CLICOLOR_FORCE="1")


def test_errors_and_questions_send_none_either():
    for wrong in (("plna",), ("plan", "nowhere.toml"), ("plan", "--jsn")):
        shown = screen(*wrong, FORCE_COLOR="1")
        assert "hingeline" in shown
        assert "\x1b" not in shown
    typed = ("calibrate", "millrace.toml", "R1", "--port", "sim:", "--by-hand", "--yes")
    with Screen(*typed) as opened:
        opened.until("(? helps): ")
        assert "\x1b" not in opened.shown
        opened.keys("ccw 1\n")
        opened.until("(? helps): ")
        assert "\x1b" not in opened.shown


def test_an_escape_sequence_would_be_seen():
    # The screen hides nothing: what a command prints of it comes through.
    with Screen("new", "\x1b[31mred.toml", "--name", "Red") as opened:
        assert "\x1b[31m" in opened.whole()
