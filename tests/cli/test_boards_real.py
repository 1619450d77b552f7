"""Two boards' real programs, under MicroPython on two pseudo-terminals, worked by one command."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import subprocess
import time
import tty
import types
from dataclasses import dataclass
from pathlib import Path

import pytest
from serial.tools import list_ports

from hingeline.cli import models
from hingeline.cli.benchwork import at_bench, channels_of
from hingeline.cli.options import Choices
from hingeline.errors import BenchError, LostError
from hingeline.records.store import Records
from tests.cli.running import Terminal, run
from tests.support.micropython import FIRMWARE, environment, interpreter

NUMBERS = ("e6616408432a1b2c", "e66164084399d511")


@dataclass
class Plugged:
    """A board on a terminal of its own, which can hang, be pulled out and plugged in again."""

    pins: Path
    number: str
    device: str = ""
    _process: subprocess.Popen[bytes] | None = None
    _ends: tuple[int, ...] = ()

    def plug(self) -> None:
        self._ends = os.openpty()
        for end in self._ends:
            tty.setraw(end)
        self.device = os.ttyname(self._ends[1])
        self._process = subprocess.Popen(
            [interpreter(), str(FIRMWARE / "main.py")],
            stdin=self._ends[0],
            stdout=self._ends[0],
            stderr=subprocess.DEVNULL,
            cwd=self.pins.parent,
            env=environment(self.pins, {"HINGELINE_UNIQUE": self.number}),
        )

    def hang(self) -> None:
        """Let it stand still: it takes what is sent, and answers nothing."""
        self._process.send_signal(signal.SIGSTOP)

    def unplug(self) -> None:
        """Take board and port away at once, as when the cable is pulled."""
        if self.device:
            self._process.kill()
            self._process.wait()
            for end in self._ends:
                os.close(end)
            self.device = ""

    def widths_us(self) -> dict[int, float]:
        """Return what each pin sends; fail on any fault."""
        found = {}
        for line in self.pins.read_text().splitlines() if self.pins.exists() else []:
            assert not line.startswith("FAULT"), line
            _, pin, width = line.split()
            found[int(pin[2:])] = int(width) / 1000
        return found


@pytest.fixture
def two(tmp_path, monkeypatch):
    boards = [Plugged(tmp_path / f"pins{n}.txt", number) for n, number in enumerate(NUMBERS)]

    def comports():
        return [
            types.SimpleNamespace(device=one.device, vid=0x2E8A, pid=5, serial_number=None)
            for one in boards
            if one.device
        ]

    monkeypatch.setattr(list_ports, "comports", comports)
    with contextlib.ExitStack() as stack:
        for board in boards:
            board.plug()
            stack.callback(board.unplug)
        yield boards


@pytest.fixture
def model(folder):
    path = folder / "millrace.toml"
    path.write_text(re.sub(r"channel = 2\b", "channel = 9", path.read_text("utf-8")), "utf-8")
    return path


def named(*words):
    return [word for one in words for word in ("--port", one)]


def until(condition, seconds=10.0):
    """Wait until something is so; the machine may be busy."""
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end
        time.sleep(0.02)


AILERONS = ("left aileron", "right aileron")


@pytest.mark.usefixtures("model")
def test_one_command_centres_servos_on_both_boards_named_by_their_numbers(two, folder):
    ports = named(*(f"id:{board.number}" for board in two))  # greeted, as USB tells no number
    ran = run("centre", "millrace.toml", *AILERONS, "--hold", "0.2 s", *ports, "--yes", "--json")
    assert ran.code == 0, ran.err
    held = {row["channel"]: row["held_us"] for row in ran.figures["channels"]}
    assert held == {1: 1500, 9: 1500}
    for board in two:
        assert "1500000" in board.pins.read_text()
        until(lambda board=board: set(board.widths_us().values()) == {0})
    with Records(folder / "records.sqlite") as records:
        assert records.session(1)["board"] == " ".join(NUMBERS)


@pytest.mark.slow
@pytest.mark.usefixtures("model")
def test_a_pair_across_two_boards_is_checked(two):
    words = ["pair", "millrace.toml", *named(*(board.device for board in two)), "--yes", "--json"]
    with Terminal(*words) as terminal:
        for _ in range(10):
            terminal.until("helps): ", 60)
            terminal.type("0")
        ran = terminal.ended()
    assert ran.code == 1  # nothing moved: nothing hangs on these pins
    assert len(ran.figures["points"]) == 5
    for board in two:
        assert len(set(re.findall(r" GP0 (\d+)", board.pins.read_text()))) > 10


@pytest.mark.parametrize(
    ("lost", "how", "said", "within_s"),
    [
        # Told to be silent long before its own patience of 4 s, but for the answers waited for.
        (0, "unplug", "the connection is lost", 1.5),
        (1, "unplug", "the connection is lost", 1.5),
        (1, "hang", "the board did not answer", 3.5),
    ],
)
@pytest.mark.usefixtures("model")
def test_one_board_lost_in_the_middle_leaves_the_other_silent(
    two, folder, lost, how, said, within_s
):
    ports = named(*(board.device for board in two))
    device, other = two[lost].device, two[1 - lost]
    with Terminal("centre", "millrace.toml", *AILERONS, "--hold", "30 s", *ports) as terminal:
        terminal.until("Go on? [y/N]:")
        terminal.type("y")
        terminal.until("A2, right aileron) stands at 1500 us")
        assert other.widths_us() == {0: 1500}
        getattr(two[lost], how)()
        gone = time.monotonic()
        until(lambda: other.widths_us() == {0: 0})
        assert time.monotonic() - gone < within_s
        ran = terminal.ended()
    assert ran.code == 6
    talk = " ".join(ran.err.split())
    assert f"{device}: {said}" in talk
    assert "All other boards were switched off" in talk
    with Records(folder / "records.sqlite") as records:
        assert records.session(1)["outcome"].startswith(f"failed: {device}: {said}")


@pytest.mark.usefixtures("model")
def test_boards_that_came_back_under_other_names_are_found_and_others_are_refused(two, folder):
    file = models.load(folder / "millrace.toml")
    channels = channels_of(file, file.model.surfaces[:2])
    old = [board.device for board in two]
    choices = Choices(old[0], folder / "records.sqlite", True, False, (old[1],))

    def entered(**more):
        return at_bench(choices, "rig", channels, file, doing="move", boards=NUMBERS, **more)

    def lose(bench):
        two[1].unplug()
        bench.board.wait(5.0)

    with pytest.raises(LostError, match="the connection is lost"), entered() as bench:
        lose(bench)
    with pytest.raises(BenchError, match=f"no board with the number {NUMBERS[1]} is there"):
        entered().__enter__()
    with a_name_taken():
        two[1].plug()
    assert two[1].device != old[1]
    with entered() as bench:
        assert bench.boards == NUMBERS
        assert [part.port for part in bench.board.parts] == [old[0], two[1].device]
    # Both come back, each under the name of the other or under a new one: in the wrong order.
    choices = Choices(two[1].device, folder / "records.sqlite", True, False, (two[0].device,))
    with pytest.raises(BenchError, match="named in another order") as caught:
        entered().__enter__()
    assert f"--port id:{NUMBERS[0]} --port id:{NUMBERS[1]}" in caught.value.mend
    assert all(set(board.widths_us().values()) <= {0} for board in two)


def test_a_board_shows_its_number_and_how_it_is_named(two):
    ran = run("board", "info", "--port", two[0].device)
    assert f"--port id:{NUMBERS[0]}" in ran.out
    again = run("board", "info", "--port", f"id:{NUMBERS[1][:12]}", "--json")
    assert again.figures["board_id"] == NUMBERS[1]
    listed = run("board", "list")
    for board in two:
        assert f"id {board.number}" in listed.out
    assert "--port id: and a board's id" in " ".join(listed.out.split())
    assert run("board", "info", "--port", "id:e6616408").code == 6  # begins both


@contextlib.contextmanager
def a_name_taken():
    """Take the next terminal, so that one plugged in meanwhile gets another name."""
    ends = os.openpty()
    try:
        yield
    finally:
        for end in ends:
            os.close(end)
