"""Commands on the board's real program, under MicroPython on a pseudo-terminal."""

import threading

import pytest

from tests.cli.running import run
from tests.support.micropython import running_board

WIRED = """
import machine
machine.jumper[16] = {gpio}
machine.levels[16] = 0  # between pulses
from benchboard.app import start
start()
"""


@pytest.fixture
def flash(tmp_path):
    """Return the folder that stands for the board's flash, over many starts."""
    folder = tmp_path / "flash"
    folder.mkdir()
    return folder


def centre(device, *more):
    channel = ["--channel", "1", "--pulse-class", "standard"]
    return run("centre", *channel, "--hold", "1 s", "--port", device, "--yes", *more)


def sweep(device):
    channel = ["--channel", "1", "--pulse-class", "standard"]
    return run("sweep", *channel, "--cycles", "100", "--port", device, "--yes")


def test_what_is_kept_is_there_after_the_next_start(flash):
    narrow = ["--channel", "2", "--pulse-class", "narrow", "--rate", "300 us/s"]
    with running_board(store=flash) as device:
        first = run("board", "settings", "--port", device, "--json").figures
        changed = run("board", "settings", "--port", device, *narrow, "--knob", "--yes", "--json")
        assert changed.code == 0
    with running_board(store=flash) as device:
        again = run("board", "settings", "--port", device, "--json").figures
        info = run("board", "info", "--port", device, "--json").figures
    assert first["source"] == "usual"
    assert again["channels"] == changed.figures["channels"]
    assert (again["source"], again["knob"], info["settings"]) == ("kept", True, "kept")
    assert again["channels"][1]["pulse_class"] == "narrow"
    assert info["free_bytes"] > 0
    assert info["rail_mv"] is None


def test_damaged_settings_are_told_before_anything_moves_and_can_be_mended(flash):
    with running_board(store=flash) as device:
        run("board", "settings", "--port", device, "--period", "3 s", "--yes")
    kept = flash / "settings.json"
    kept.write_bytes(kept.read_bytes()[:-7])
    with running_board(store=flash) as device:
        ran = centre(device)
        assert ran.code == 0
        assert "What was kept on the board cannot be read" in ran.talk
        assert run("board", "info", "--port", device, "--json").figures["settings"] == "damaged"
        run("board", "settings", "--port", device, "--usual", "--yes")
        assert "cannot be read" not in centre(device).talk


@pytest.mark.parametrize("wired", [True, False])
def test_the_board_measures_its_own_pulses_through_a_wire(wired, flash):
    script = flash / "start.py"
    script.write_text(WIRED.format(gpio=2 if wired else 5))
    with running_board(store=flash, main=script) as device:
        ran = run("board", "selftest", "--channel", "3", "--port", device, "--yes", "--json")
    assert ran.figures["simulated"] is False
    (row,) = ran.figures["channels"]
    assert ran.code == (0 if wired else 1)
    assert (row["pass"], row["seen"], len(row["widths"])) == (wired, wired, 5 if wired else 0)
    if wired:
        # This program measures in whole microseconds, and whole ones were asked for.
        assert row["measuring_step_us"] == 1.0
        assert all(width["error_us"] == 0.0 for width in row["widths"])


def test_a_servo_supply_that_falls_ends_what_a_command_does_and_lets_nothing_start(
    flash, tmp_path
):
    supply = tmp_path / "analogue"
    rail = ["--rail-full", "10 V", "--rail-low", "4.5 V"]

    def stands_at(volts):
        fresh = supply.with_name("fresh")
        fresh.write_text(f"27={round(volts / 10 * 65535)}")
        fresh.replace(supply)  # at once: the board reads it all the time

    stands_at(5.2)
    falls = threading.Timer(2.0, stands_at, [4.2])
    with running_board(store=flash, more={"HINGELINE_ANALOGUE": str(supply)}) as device:
        run("board", "settings", "--port", device, *rail, "--yes")
        assert run("board", "info", "--port", device, "--json").figures["rail_mv"] > 5100
        falls.start()
        ended = sweep(device)
        falls.join()
        then = centre(device)
    assert (ended.code, then.code) == (6, 6)
    assert "the servo supply fell too low (it is at 4.2" in ended.talk
    assert "the servo supply is at 4.2 V; below 4.5 V nothing starts" in then.talk


def test_the_button_ends_what_a_command_does(flash, tmp_path):
    button, pins = tmp_path / "button", tmp_path / "pins.txt"
    press = threading.Timer(2.0, button.touch)
    more = {"HINGELINE_BUTTON": str(button)}
    with running_board(store=flash, pins=pins, more=more) as device:
        press.start()
        ran = sweep(device)
    press.join()
    assert ran.code == 6
    assert "the board's button was pressed" in ran.talk
    assert pins.read_text("utf-8").splitlines()[-1].split()[2] == "0"
