"""The guided run at a board's real program, under MicroPython on a pseudo-terminal."""

import signal
import time

import pytest

from tests.cli.running import Terminal
from tests.cli.test_boards_real import Plugged, until

#: What leads a rig of the rudder to the moment at which its servo holds its centre.
TO_THE_SEAT = ("y", "seen", "34", "34", "listed", "off", "R1")
#: The board stops its pulses by itself so long after it last heard of the computer.
PATIENCE_S = 4.0
#: A busy machine looks a little late.
LATE_S = 1.5


@pytest.fixture
def board(tmp_path):
    plugged = Plugged(tmp_path / "pins.txt", "e6616408432a1b2c")
    plugged.plug()
    yield plugged
    plugged.unplug()


def rig(board, *options):
    return Terminal("rig", "millrace.toml", "rudder", "--port", board.device, *options)


def at_the_seat(terminal):
    """Answer until the servo holds its centre and the arm's lean is asked for."""
    for answer in TO_THE_SEAT:
        terminal.until("[y/N]:" if answer == "y" else "helps):")
        terminal.type(answer)
    terminal.until("helps):")


@pytest.mark.slow
@pytest.mark.usefixtures("folder")
def test_killed_it_leaves_the_servo_silent_and_goes_on_there_after_a_question(board):
    with rig(board) as terminal:
        at_the_seat(terminal)
        assert board.widths_us() == {3: 1500}
        terminal.process.send_signal(signal.SIGKILL)
        killed = time.monotonic()
        until(lambda: board.widths_us() == {3: 0})
        assert time.monotonic() - killed < PATIENCE_S + LATE_S
    with rig(
        board, "--yes"
    ) as terminal:  # said beforehand, it does not count for a rig that goes on
        before = terminal.until("[y/N]:")
        assert "goes on" in before
        assert board.widths_us() == {3: 0}
        terminal.type("y")
        shown = terminal.until("helps):")
        assert "rudder: arm seated" in shown
        assert board.widths_us() == {3: 1500}
        terminal.type("stop")
        assert terminal.ended().code == 130
    assert board.widths_us() == {3: 0}


@pytest.mark.slow
@pytest.mark.usefixtures("folder")
def test_the_cable_out_and_in_again_it_asks_before_anything_moves(board):
    with rig(board, "--yes") as terminal:
        for answer in TO_THE_SEAT[1:]:
            terminal.until("helps):")
            terminal.type(answer)
        terminal.until("helps):")
        board.unplug()
        terminal.type("0")
        terminal.until("type again to look for")
        terminal.until("helps):")
        board.pins.unlink()  # what it sent before the cable came out
        board.plug()
        terminal.type("again")
        terminal.until("[y/N]:")
        assert board.widths_us() in ({}, {3: 0})
        terminal.type("y")
        assert "rudder: arm seated" in terminal.until("helps):")
        terminal.type("stop")
        assert terminal.ended().code == 130
