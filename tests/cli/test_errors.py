"""Every error is a sentence with its next step and the exit code of its class, never a trace."""

import os
import subprocess
from pathlib import Path

import pytest

from hingeline.cli import entry
from hingeline.errors import (
    BenchError,
    HingelineError,
    LinkageError,
    ModelError,
    RecordsError,
    Stopped,
    TravelError,
    UnitError,
)
from tests.cli.running import run, run_fresh, start

SIM = ("--port", "sim:", "--yes")


@pytest.mark.parametrize(
    ("error", "arguments", "message"),
    [
        (ModelError, ["plan", "nowhere.toml"], "nowhere.toml: there is no such file"),
        (ModelError, ["plan", "millrace.toml", "tail"], "there is no surface 'tail'"),
        (ModelError, ["pair", "millrace.toml", "rudder", *SIM], "no pair with 'rudder'"),
        (ModelError, ["new", "millrace.toml"], "left as it is"),
        (UnitError, ["convert", "12", "--chord", "45 mm"], "'12' has no unit"),
        (UnitError, ["convert", "12 mm", "--chord", "45 mm"], "how the distance is measured"),
        (UnitError, ["convert", "60 mm drop", "--chord", "45 mm"], "60 mm drop is more than"),
        (UnitError, ["throw", "millrace.toml", "rudder", "--throw", "10 deg", *SIM], "which way"),
        (UnitError, ["throw", "millrace.toml", "--throw", "left 10 deg", *SIM], "which way"),
        (UnitError, ["throw", "millrace.toml", "--resolution", "0.5 mm", *SIM], "the unit 'mm'"),
        (UnitError, ["throw", "millrace.toml", "--resolution", "0 deg", *SIM], "above zero"),
        (LinkageError, ["throw", "wild.toml", "rudder", *SIM], "beyond what the linkage can do"),
        (TravelError, ["calibrate", "--readings", "nowhere.csv"], "nowhere.csv: cannot be read"),
        (TravelError, ["calibrate", "--readings", "empty.csv"], "empty.csv: the first line must"),
        (
            TravelError,
            ["throw", "millrace.toml", "rudder", "--throw", "left 31.5 deg", *SIM],
            "32",
        ),
        (TravelError, ["pair", "millrace.toml", "--points", "6", *SIM], "6 points"),
        (
            BenchError,
            ["board", "info", "--port", "/dev/nowhere"],
            "/dev/nowhere: there is no such",
        ),
        (BenchError, ["centre", "millrace.toml", "--port", "sim:x", "--yes"], "'sim:x' is no"),
        (RecordsError, ["records", "list", "--records", "none.sqlite"], "none.sqlite: nothing is"),
        (RecordsError, ["records", "list", "--records", "millrace.toml"], "not a database"),
    ],
)
def test_message_next_step_and_exit_code(folder, error, arguments, message):
    (folder / "empty.csv").write_text("")
    wild = (folder / "millrace.toml").read_text()
    for old, new in (("22 deg", "60 deg"), ("32 deg", "85 deg")):
        wild = wild.replace(old, new)
    (folder / "wild.toml").write_text(wild)
    ran = run(*arguments)
    assert ran.code == error.exit_code
    assert ran.out == ""
    assert message in ran.talk
    assert "\n  Next: " in ran.err
    assert "hingeline: " in ran.err


def test_the_cause_stands_between_message_and_next_step():
    shown = run("convert", "12", "--chord", "45 mm").err
    places = [shown.index(word) for word in ("hingeline: '12'", "  Why: ", "  Next: ")]
    assert places == sorted(places)


def test_exit_codes_tell_the_classes_apart():
    # An angle without its unit is a fault of what was typed, as a wrong model file is.
    codes = {
        e: e.exit_code for e in (ModelError, LinkageError, TravelError, BenchError, RecordsError)
    }
    assert len({*codes.values(), HingelineError.exit_code, 2, 0, Stopped.exit_code}) == 9
    assert UnitError.exit_code == ModelError.exit_code
    assert Stopped.exit_code == 128 + 2  # as the shell reports a process that SIGINT ended


def wrong(*_arguments, **_options):
    raise KeyError("rudder")


def test_a_fault_of_the_program_is_owned_without_a_trace(monkeypatch):
    monkeypatch.setattr("hingeline.cli.models.load", wrong)
    ran = run("plan", "millrace.toml")
    assert ran.code == entry.FAULT
    assert "fault of Hingeline itself (KeyError: 'rudder')" in ran.talk
    assert f"{entry.TRACE}=1" in ran.err


def test_the_trace_is_to_be_had(monkeypatch):
    monkeypatch.setattr("hingeline.cli.models.load", wrong)
    monkeypatch.setenv(entry.TRACE, "1")
    with pytest.raises(KeyError):
        run("plan", "millrace.toml")


@pytest.mark.parametrize("arguments", [["plan", "millrace.toml"], ["--help"]])
def test_a_reader_that_goes_away_is_no_error(arguments):
    read, write = os.pipe()
    os.close(read)
    with start(*arguments, stdout=write, stderr=subprocess.PIPE) as process:
        os.close(write)
        _, talk = process.communicate(timeout=60)
    assert talk == b""
    assert process.returncode == 1


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_a_full_disk_is_said():
    with (
        Path("/dev/full").open("wb") as full,
        start("plan", "millrace.toml", stdout=full, stderr=subprocess.PIPE) as process,
    ):
        _, talk = process.communicate(timeout=60)
    assert process.returncode == HingelineError.exit_code
    assert "No space left on device" in talk.decode()
    assert "Traceback" not in talk.decode()
    assert "Exception ignored" not in talk.decode()


def test_letters_that_the_terminal_lacks_do_not_end_a_command(folder):
    text = (folder / "millrace.toml").read_text("utf-8")
    (folder / "lodka.toml").write_text(text.replace('"Millrace"', '"Łódka"'), "utf-8")
    for encoding in ("ascii", "cp1252"):
        env = {"PYTHONIOENCODING": encoding}
        shown = run_fresh("plan", "lodka.toml", env=env)
        assert shown.code == 0
        assert shown.out.startswith("Plan of ")
        assert "up" in shown.out
        assert run_fresh("plan", "lodka.toml", "--json", env=env).figures["model"] == "Łódka"
