"""A person at a terminal: what is typed is understood, kept, and gone on from."""

import re
import shlex
import signal
import subprocess
import sys
import time

import pytest

from hingeline.bench.choices import Choice
from hingeline.bench.simulated.transport import SimulatedTransport
from hingeline.cli import editing
from hingeline.cli.console import Keyboard
from hingeline.records.store import Records
from tests.cli.running import Terminal, run
from tests.cli.screens import Screen

CALIBRATE = ("calibrate", "millrace.toml", "R1", "--port", "sim:", "--yes", "--by-hand")
SHOWS = re.compile(r"\[the gauge shows (?:(c?cw) )?([0-9.]+) deg\]")
ASKED = re.compile(r"R1\s+at\s+(\d+)\s+us:\s+where\s+does\s+the\s+arm\s+stand")


def shown(text):
    """Return what the gauge shows, as a person types it."""
    word, size = SHOWS.findall(text)[-1]
    return f"{word} {size}".strip()


def answer(terminal, times):
    """Answer so many questions truly; return the pulses asked about."""
    pulses = []
    for _ in range(times):
        question = terminal.until("(? helps):")
        pulses.append(ASKED.findall(question)[-1])
        terminal.type(shown(question))
        terminal.until("read as")
    return pulses


def sessions(folder):
    with Records(folder / "records.sqlite") as records:
        return [records.session(row["id"]) for row in reversed(records.sessions())]


def test_every_way_of_typing_at_the_arm(folder):
    typed = [
        "12,5",
        "up 12",
        "",
        "nonsense",
        "?",
        "nan",
        "1e3",
        "--5",
        "１２",
        "-12,5",
        "keep",  # half a degree for each us is far from what the model file says
        "cw 12.5 deg",
    ]
    ran = run(*CALIBRATE, typed=typed)
    for told in (
        "12,5 read as 12.5 deg",
        "'up 12' is not a number",
        "Nothing was typed.",
        "'nonsense' is not a number",
        "Counter-clockwise is positive",
        "'nan' is not a number",
        "the unit 'e3' is not one of",
        "'--5' is not a number",
        "'１２' is not a number",
        "-12,5 read as -12.5 deg",
        "cw 12.5 deg read as cw 12.5 deg",
    ):
        assert told in ran.talk
    # The input ended: that is a stop, and everything understood is kept as it was typed.
    assert ran.code == 130
    kept = [row["typed"] for row in sessions(folder)[0]["readings"]]
    assert kept == ["12,5", "-12,5", "cw 12.5 deg"]


def test_directions_are_typed_as_words_at_a_surface():
    typed = ["up 12", "left -12", "-12", "22,5 left", "neutral"]
    ran = run(
        "throw", "millrace.toml", "rudder", "--port", "sim:", "--yes", "--by-hand", typed=typed
    )
    assert ran.code == 1
    assert "NOT MOVED: rudder was sent right and stayed at neutral." in ran.out
    assert "'up 12' is not" in ran.talk
    assert ran.talk.count("has a sign.") == 2
    assert "22,5 left read as left 22.5 deg" in ran.talk
    assert "neutral read as 0 deg" in ran.talk


def test_ctrl_c_stops_saves_and_says_how_to_go_on(folder):
    with Terminal(*CALIBRATE) as terminal:
        answer(terminal, 3)
        terminal.until("(? helps):")
        terminal.press("c")
        ran = terminal.ended()
    assert ran.code == 130
    assert ran.out == ""
    assert "stopped; the outputs are off" in ran.talk
    again = "hingeline calibrate millrace.toml R1 --port sim: --yes --by-hand --resume"
    assert again in ran.err
    session = sessions(folder)[0]
    assert session["outcome"] == "stopped by the user"
    assert len(session["readings"]) == 3


def test_ctrl_c_during_motion(folder):
    sweep = ("sweep", "millrace.toml", "rudder", "--port", "sim:", "--yes", "--cycles", "10000")
    with Terminal(*sweep) as terminal:
        terminal.until("Ctrl-C stops.")
        terminal.press("c")
        ran = terminal.ended()
    assert ran.code == 130
    assert "stopped; the outputs are off" in ran.talk
    assert sessions(folder)[0]["outcome"] == "stopped by the user"


@pytest.mark.parametrize(
    ("arguments", "typed"),
    [
        (CALIBRATE, ["1", "6"]),
        (("pair", "millrace.toml", "--port", "sim:", "--yes", "--by-hand"), ["up 15"]),
        (("centre", "millrace.toml", "--port", "sim:", "--yes", "--by-hand"), []),
    ],
)
@pytest.mark.parametrize("error", [KeyboardInterrupt, EOFError, RuntimeError])
def test_outputs_are_off_whatever_ends_it(arguments, typed, error, monkeypatch, folder):
    left = list(typed)
    lit, dark = [], []
    real_close = SimulatedTransport.close

    def keyboard(transport):
        def prompt(_text=""):
            lit.append(any(transport.pulses_us))
            if not left:
                raise error
            return left.pop(0)

        return prompt

    def opened(transport, *arguments):
        real_init(transport, *arguments)
        monkeypatch.setattr("click.termui.visible_prompt_func", keyboard(transport))

    def closed(transport):
        dark.append(not any(transport.pulses_us))  # before the transport itself ends
        real_close(transport)

    real_init = SimulatedTransport.__init__
    monkeypatch.setattr(SimulatedTransport, "__init__", opened)
    monkeypatch.setattr(SimulatedTransport, "close", closed)
    ran = run(*arguments)
    assert lit
    assert all(lit)
    assert dark
    assert all(dark)
    assert ran.code == (70 if error is RuntimeError else 130)
    assert sessions(folder)[0]["outcome"].startswith(
        "failed: RuntimeError" if error is RuntimeError else "stopped by the user"
    )


def test_taken_up_again_and_again_it_never_asks_twice(folder):
    pulses = []
    for option in ([], ["--resume"], ["--resume"]):
        with Terminal(*CALIBRATE, "--points", "5", *option) as terminal:
            if option:  # is it the same servo, is the arm where it was?
                assert answer(terminal, 2) == ["1500", "1550"]
            pulses += answer(terminal, 3)
            terminal.until("(? helps):")
            terminal.press("c")
            assert terminal.ended().code == 130
    # With nothing new typed, what was typed before is still there.
    with Terminal(*CALIBRATE, "--points", "5", "--resume") as terminal:
        terminal.until("9 readings of the unfinished calibration are kept.")
        terminal.until("(? helps):")
        terminal.press("c")
        terminal.ended()
    with Terminal(*CALIBRATE, "--points", "5", "--resume", "--json") as terminal:
        answer(terminal, 2)
        while terminal.process.poll() is None:
            terminal.look(0.05)
            if "(? helps):" in terminal.seen:
                pulses += answer(terminal, 1)
        figures = terminal.ended().figures
    whole = run(*CALIBRATE[:-1], "--points", "5", "--json")
    # The same servo read in one go gives the same curve from the same readings.
    again = whole.figures
    assert again.pop("since")["changed"] is False
    del figures["since"]
    assert figures == again
    assert pulses == ASKED.findall(whole.err)
    kept = [row["command"] for row in sessions(folder)]
    assert kept == ["calibrate", *["calibrate, resumed"] * 4, "calibrate"]
    # Nothing is left to be taken up.
    again = run(*CALIBRATE, "--resume")
    assert "There is no unfinished calibration of R1" in again.talk


def test_what_is_said_to_go_on_goes_on_with_the_same_gauge_and_points():
    how = ("--gauge", "drop", "--resolution", "0.25 mm", "--points", "7")
    ran = run(*CALIBRATE, *how, typed=["0", "right 2", "right 4"])
    assert ran.code == 130
    said = re.search(r"Go on with: (hingeline .*--resume)", ran.talk)[1]
    program, *arguments = shlex.split(said)
    assert program == "hingeline"
    assert {*how, "--resume"} <= set(arguments)
    resumed = run(*arguments)
    assert "readings of the unfinished calibration are kept." in resumed.talk
    assert "rudder: where does it stand" in resumed.talk
    assert f"Go on with: {said}" in resumed.talk


def test_another_servo_is_told_and_not_gone_on_with(folder):
    run(*CALIBRATE, typed=["0", "4.5", "9"])
    other = run(*CALIBRATE, "--resume", typed=["14", "14.5"])
    assert other.code == 5
    assert "where it stood (0) when this calibration was begun" in other.talk
    assert "without --resume" in other.talk
    session = sessions(folder)[1]
    assert session["readings"] == []
    assert [(one["kind"], one["text"]) for one in session["remarks"]] == [
        ("checked", "14"),
        ("checked", "14.5"),
    ]
    # As it was after all: nothing of before is lost.
    same = run(*CALIBRATE, "--resume", typed=["0.5", "4.5"])
    assert "R1 at 1700 us: where" in same.talk


def test_a_servo_that_kept_turning_is_asked_about_again():
    stopped = run(*CALIBRATE, typed=["0", "turning"])
    assert stopped.code == 5
    assert "kept turning" in stopped.talk
    resumed = run(*CALIBRATE, "--resume")
    assert "1 readings of the unfinished calibration are kept." in resumed.talk
    assert "To see that all is as it was. R1 at 1500 us: where" in resumed.talk
    again = run(*CALIBRATE, "--resume", typed=["0"])
    assert "R1 at 1550 us: where" in again.talk


def test_another_gauge_begins_afresh():
    run(*CALIBRATE, typed=["0", "4.5"])
    other = run(*CALIBRATE, "--resume", "--resolution", "1 deg")
    assert "There is no unfinished calibration of R1 with this gauge" in other.talk


@pytest.mark.parametrize("readings", [1, 2, 4])
def test_a_killed_program_loses_nothing_that_it_acknowledged(readings, folder):
    with Terminal(*CALIBRATE) as terminal:
        # Killed at the very echo: what is said to be understood is on the disk already.
        pulses = answer(terminal, readings)
        terminal.process.send_signal(signal.SIGKILL)
        terminal.process.wait()
    session = sessions(folder)[0]
    assert session["outcome"] is None
    assert [str(round(row["pulse_us"])) for row in session["readings"]] == pulses
    assert "not ended" in run("records", "list").out
    resumed = run(*CALIBRATE, "--resume")
    assert f"{readings} readings of the unfinished calibration are kept." in resumed.talk


def test_talk_is_broken_between_words_and_commands_stay_whole(monkeypatch):
    monkeypatch.setenv("COLUMNS", "70")
    with Terminal("throw", "millrace.toml", "rudder", "--port", "sim:", "--yes") as terminal:
        ran = terminal.ended()
    lines = ran.err.splitlines()
    assert max(map(len, lines)) < 70
    assert any(line.endswith("hingeline calibrate millrace.toml R1") for line in lines)


def at_arm(**env):
    return Screen(
        "calibrate", "millrace.toml", "R1", "--port", "sim:", "--by-hand", "--yes", **env
    )


ARROW_UP, ARROW_LEFT, TAB = "\x1b[A", "\x1b[D", "\t"


def test_a_line_is_edited_and_the_last_ones_come_back_with_arrow_up(folder):
    with at_arm() as screen:
        screen.until("(? helps): ")
        screen.keys(f"1{ARROW_LEFT}-\n")  # -1, the sign put before it afterwards
        screen.until("-1 read as -1 deg")
        screen.until("(? helps): ")
        screen.keys(f"{ARROW_UP}\n")
        screen.until("-1 read as -1 deg")
        screen.until("(? helps): ")
        time.sleep(0.2)  # as slowly as a person
        screen.keys("\x03")
        assert "stopped; the outputs are off" in screen.whole()
    assert [row["typed"] for row in sessions(folder)[0]["readings"]] == ["-1", "-1"]
    assert not list(folder.rglob("*hist*"))


def test_tab_completes_the_words_of_a_question():
    with at_arm() as screen:
        screen.until("(? helps): ")
        screen.keys(f"cc{TAB} 3\n")
        screen.until("ccw 3 read as ccw 3 deg")
        screen.keys(f"nonsens{TAB}\n")
        screen.until("'nonsens' is not a number")


def test_the_end_of_input_and_an_empty_line_are_as_without_editing():
    with at_arm() as screen:
        screen.until("(? helps): ")
        screen.keys("\n")
        screen.until("Nothing was typed.")
        screen.until("(? helps): ")
        time.sleep(0.2)  # as slowly as a person
        screen.keys("\x04")
        assert "stopped; the outputs are off" in screen.whole()
        assert screen.process.wait() == 130


def test_without_readline_it_is_typed_as_ever(monkeypatch):
    monkeypatch.setitem(sys.modules, "readline", None)  # as on Windows
    assert editing._readline() is None
    for stream in (sys.stdin, sys.stdout, sys.stderr):
        monkeypatch.setattr(stream, "isatty", lambda: True, raising=False)
    assert not editing.possible()
    monkeypatch.delitem(sys.modules, "readline")
    monkeypatch.setenv("TERM", "xterm")
    assert editing.possible()
    monkeypatch.setenv("TERM", "dumb")
    assert not editing.possible()


def test_readline_is_imported_at_a_terminal_only():
    code = "import sys; from hingeline.cli import console; print('readline' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


def asked_of(choice, answer, capsys):
    """Return what was understood, and everything that was shown."""
    asked = []

    def prompt(text=""):
        asked.append(text)
        return answer

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("click.termui.visible_prompt_func", prompt)
        picked = Keyboard().pick(choice)
    # Which part of a prompt is handed to Python's own input is click's affair.
    return picked, capsys.readouterr().err + "".join(asked)


def test_what_is_asked_shows_its_words_and_none_where_any_text_may_be_typed(capsys):
    moved = asked_of(Choice("Did it move", 0, ("moved", "still")), "still", capsys)
    assert moved == ("still", "Did it move: moved, still (? helps): ")
    name = asked_of(Choice("Who checked it", 0, ()), "Anna Maria", capsys)
    assert name == ("Anna Maria", "Who checked it (? helps): ")
