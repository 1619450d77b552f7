"""The host on a real port: a pseudo-terminal with the board's program under MicroPython on it."""

from __future__ import annotations

import contextlib
import fcntl
import itertools
import os
import select
import signal
import subprocess
import sys
import threading
import time
import tty

import pytest

from hingeline.bench.client import Board
from hingeline.bench.transport import WRITE_TIMEOUT_S, SerialTransport
from hingeline.errors import BenchError
from tests.support.bench import set_up
from tests.support.micropython import ROOT, running_board


@pytest.fixture
def pins(tmp_path):
    return tmp_path / "pins.txt"


@pytest.fixture
def path(pins):
    with running_board(pins=pins) as device:
        yield device


@pytest.fixture
def board(path):
    with Board(SerialTransport(path)) as made:
        yield made


def changes(pins):
    """Return the changes of width as (microseconds, pin, width in ns); fail on any fault."""
    found = []
    if not pins.exists():  # nothing has changed yet
        return found
    for line in pins.read_text(encoding="utf-8").splitlines():
        assert not line.startswith("FAULT"), line
        at, pin, width = line.split()
        found.append((int(at), int(pin[2:]), int(width)))
    return found


def widths_us(pins):
    return {pin: width / 1000 for _, pin, width in changes(pins)}


def until(condition, seconds=5.0):
    """Wait until something is so; the machine may be busy."""
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end
        time.sleep(0.02)


def test_a_whole_session(board, pins):
    assert board.info.board == "simulated"
    assert board.info.board_id == "102030405060708"  # from the stand-in for the chip
    assert board.info.boots == 1
    assert board.info.tick_ns == 305.5
    for channel in (1, 2, 3):
        set_up(board, channel)
    board.centre([1, 2])
    assert widths_us(pins) == {0: 1500, 1: 1500}
    board.hold({1: 1600, 2: 1450})
    assert widths_us(pins) == {0: 1600, 1: 1450}
    assert board.state(1)["now_ns"] == 1_600_000
    with pytest.raises(BenchError, match="2101 us is above 2100 us"):
        board.hold({1: 2101, 2: 1500})
    lasts_s = board.steps([3], [1400, 1500, 1600], 0.05)
    board.wait(lasts_s + 0.1)
    assert [width for _, pin, width in changes(pins) if pin == 2][-1] == 1_600_000
    board.sweep(
        [1, 2], opposed=[2], ends_us=(1450, 1550), period_s=0.4, cycles=1, shape="triangle"
    )
    assert board.moving()
    board.wait(0.8)
    assert board.moving() is False
    board.freeze([1])
    board.off([1, 2, 3])
    assert set(widths_us(pins).values()) == {0}
    board.frame_rate(100)
    assert board.state(1)["on"] == 0


def test_leaving_ends_all_pulses(path, pins):
    with Board(SerialTransport(path)) as board:
        set_up(board)
        board.hold({1: 1500})
        assert widths_us(pins) == {0: 1500}
    until(lambda: widths_us(pins) == {0: 0})


def test_beats_keep_it_alive_while_waiting_and_while_a_person_thinks(board, pins):
    board.silence(hold_s=0.8, off_s=1.2)
    set_up(board)
    board.sweep([1], ends_us=(1450, 1550), period_s=0.5, cycles=0, shape="smooth")
    board.wait(2.2)
    with board.attended():
        time.sleep(2.2)
    assert board.moving()  # and no guard had to act
    seen = [at for at, _, _ in changes(pins)]
    assert max(b - a for a, b in itertools.pairwise(seen)) < 500_000


def test_half_a_line_of_another_program_disturbs_nothing(board, path, pins):
    set_up(board)
    board.sweep([1], ends_us=(1450, 1550), period_s=0.5, cycles=0, shape="smooth")
    other = os.open(path, os.O_RDWR | os.O_NOCTTY)  # the administrator's programs still can
    os.write(other, b"1 hold token=1 p1_ns=21")
    board.wait(1.0)
    os.write(other, b"\x03\x04\x00\xff" * 20)
    board.wait(0.6)
    os.close(other)
    assert board.moving()
    assert all(1_450_000 <= width <= 1_550_000 for _, _, width in changes(pins))


HOST = """
import sys, time
from hingeline.bench.client import Board
from hingeline.bench.transport import SerialTransport
board = Board(SerialTransport(sys.argv[1]))
board.silence(hold_s=0.5, off_s=1.0)
board.setup(1, pulse_class="standard", limits_us=(900, 2100), centre_us=1500, slew_us_per_s=4000)
board.sweep([1], ends_us=(1300, 1700), period_s=0.6, cycles=0, shape="smooth")
print("sweeping", flush=True)
board.wait(60)
"""


def test_a_host_killed_in_a_sweep_leaves_pulses_held_and_then_off(path, pins):
    host = subprocess.Popen(
        [sys.executable, "-c", HOST, path], stdout=subprocess.PIPE, cwd=ROOT, text=True
    )
    try:
        assert host.stdout.readline() == "sweeping\n"
        until(lambda: len(changes(pins)) > 30)
    finally:
        host.send_signal(signal.SIGKILL)
        host.wait(timeout=10)
        host.stdout.close()
    until(lambda: widths_us(pins) == {0: 0})
    found = changes(pins)
    held_us = found[-1][0] - found[-2][0]
    assert 400_000 < held_us < 1_000_000  # held between the two times, no longer
    # The next host is told nothing wrong, and nothing goes on by itself.
    with Board(SerialTransport(path)) as board:
        assert board.state(1)["on"] == 0
        assert board.moving() is False
    assert widths_us(pins) == {0: 0}


def test_a_second_opening_fails_and_says_that_the_port_is_in_use(board, path):
    with pytest.raises(BenchError, match="the port is in use") as caught:
        SerialTransport(path)
    assert "Close that program" in caught.value.mend
    assert board.moving() is False  # the first is not disturbed


def test_a_second_process_cannot_open_it_either(board, path):
    script = (
        "import sys\nfrom hingeline.bench.transport import SerialTransport\n"
        "from hingeline.errors import BenchError\n"
        "try:\n    SerialTransport(sys.argv[1])\nexcept BenchError as error:\n    print(error)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, path], capture_output=True, text=True, timeout=60, cwd=ROOT
    )
    assert "the port is in use" in done.stdout
    assert board.moving() is False


TIOCGEXCL = 0x80045440  # Linux, asm-generic/ioctls.h; Python's termios does not have it


def exclusive(path):
    """Whether the terminal refuses further openings (but root's), as Linux tells."""
    handle = os.open(path, os.O_RDWR | os.O_NOCTTY)
    try:
        answer = fcntl.ioctl(handle, TIOCGEXCL, b"\0" * 4)
    finally:
        os.close(handle)
    return int.from_bytes(answer, sys.byteorder) != 0


@pytest.mark.skipif(
    sys.platform != "linux" or os.geteuid() != 0,
    reason="needs a way to ask for exclusive use, and to get past it",
)
def test_the_port_is_claimed_against_all_programs_and_given_back(path):
    assert not exclusive(path)
    with SerialTransport(path):
        assert exclusive(path)
    assert not exclusive(path)


def test_the_port_can_be_opened_again_after_closing(path):
    for _ in range(3):
        with Board(SerialTransport(path)) as board:
            assert board.moving() is False


def test_a_second_greeting_ends_the_first_programs_say(path):
    first = Board(SerialTransport(path))
    set_up(first)
    first.hold({1: 1500})
    first._transport.close()  # as if the lock had not held
    second = Board(SerialTransport(path))
    first._transport, kept = second._transport, first._transport
    with pytest.raises(BenchError, match="another program has taken it over"):
        first.hold({1: 1600})
    first._transport = kept
    assert second.state(1)["now_ns"] == 1_500_000
    second.close()


@pytest.fixture
def pair():
    """A pseudo-terminal with nothing behind it: our end, and the port's name."""
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    name = os.ttyname(theirs)
    os.close(theirs)
    yield ours, name
    with contextlib.suppress(OSError):
        os.close(ours)


def fill(transport):
    """Write far more than a pseudo-terminal keeps."""
    for _ in range(100):
        transport.write(b"x" * 1000)


def test_a_port_that_nobody_reads_is_an_error_in_good_time(pair):
    _, name = pair
    with SerialTransport(name) as transport:
        started = time.monotonic()
        with pytest.raises(BenchError, match=r"did not take .* bytes in 0\.5 s"):
            fill(transport)
        assert WRITE_TIMEOUT_S * 0.9 < time.monotonic() - started < 2.5


def test_a_port_that_vanishes_is_an_error_of_every_call(pair):
    ours, name = pair
    transport = SerialTransport(name)
    os.close(ours)
    with pytest.raises(BenchError, match="the connection is lost"):
        transport.read(1.0)
    with pytest.raises(BenchError, match="the connection is lost"):
        fill(transport)
    transport.close()
    transport.close()


def test_a_port_that_vanishes_while_reading_does_not_wait_for_the_time_out(pair):
    ours, name = pair
    transport = SerialTransport(name)
    started = time.monotonic()
    vanishes = threading.Timer(0.2, os.close, [ours])
    vanishes.start()
    with pytest.raises(BenchError, match="the connection is lost"):
        transport.read(10.0)
    assert time.monotonic() - started < 5
    vanishes.join()
    transport.close()


def test_a_board_that_vanishes_in_use_is_named_and_leaving_is_quiet(pins):
    with running_board(pins=pins) as device:
        board = Board(SerialTransport(device))
        set_up(board)
        board.hold({1: 1500})
        # The lock and the handle stay; only what is behind them goes.
        board._transport._port.close()
    with pytest.raises(BenchError, match="the connection is lost"):
        board.hold({1: 1600})
    board.close()


def test_reading_returns_with_the_first_bytes_and_waits_no_longer_than_asked(pair):
    ours, name = pair
    with SerialTransport(name) as transport:
        os.write(ours, b"1 ok")
        select.select([transport._port.fileno()], [], [], 1.0)
        assert transport.read(5.0) == b"1 ok"
        started = time.monotonic()
        assert transport.read(0.2) == b""
        assert 0.15 < time.monotonic() - started < 2.0


def test_lines_in_halves_are_put_together(pair):
    """What comes in pieces is one line; a line without its end is none."""
    ours, name = pair
    from shared_protocol.framing import Frame, encode
    from shared_protocol.host_session import HostSession

    with SerialTransport(name) as transport:
        session = HostSession()
        line = encode(1, "ok", {"lasts_ms": 1500}, ("lasts_ms",))
        os.write(ours, line[:8])
        select.select([transport._port.fileno()], [], [], 1.0)
        assert session.receive(transport.read(1.0)) == []
        os.write(ours, line[8:])
        select.select([transport._port.fileno()], [], [], 1.0)
        (late,) = session.receive(transport.read(1.0))
        assert isinstance(late.frame, Frame)
        assert late.frame.values == {"lasts_ms": 1500}


def test_a_device_that_is_no_terminal_is_refused(tmp_path):
    file = tmp_path / "no-port"
    file.write_bytes(b"")
    with pytest.raises(BenchError, match="cannot be opened"):
        SerialTransport(str(file))
    with pytest.raises(BenchError, match="there is no such port"):
        SerialTransport(str(tmp_path / "ttyACM9"))
