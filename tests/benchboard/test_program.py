"""The board's whole program under real MicroPython, spoken to over a pseudo-terminal."""

import itertools
import random
import time

import pytest

from shared_protocol import table
from shared_protocol.host_session import Greeting, Refusal, Reply
from tests.support.micropython import running_board
from tests.support.small_host import PATIENCE_S, SWEEP, Client, read, widths


@pytest.fixture
def pins(tmp_path):
    return tmp_path / "pins.txt"


@pytest.fixture
def board(pins):
    with running_board(pins=pins) as path:
        client = Client(path)
        yield client
        client.port.close()


def test_greets_and_works_a_session_without_a_fault_at_the_pins(board, pins):
    greeting = board.ask("hello")
    assert isinstance(greeting, Greeting)
    assert greeting.values["proto"] == table.VERSION
    assert table.name_of(table.BOARDS, greeting.values["board"]) == "simulated"
    assert table.name_of(table.REASONS, greeting.values["reason"]) == "power"
    assert greeting.values["tick_ps"] == 305_500
    assert greeting.values["boots"] == 1
    assert greeting.values["board_id"] == 0x0102030405060708  # from the stand-in for the chip
    board.setup(range(1, 9))
    started = board.ask("centre", mask=255)
    time.sleep(started.values["start_ms"] / 1000 + 0.2)
    firsts = [at for at, _, width in read(pins) if width == 1_500_000]
    assert len(firsts) == 8
    assert min(b - a for a, b in itertools.pairwise(firsts)) > 65_000
    board.ask("sweep", **{**SWEEP, "cycles": 1})
    time.sleep(0.4)
    board.ask("freeze", mask=255)
    board.ask("steps", mask=4, dwell_ms=10, s1_ns=1_400_000, s2_ns=1_600_000)
    board.ask("off", mask=1)
    board.ask("hold", p1_ns=1_450_000)
    time.sleep(0.3)
    assert widths(pins)[0] == 1_450_000
    assert widths(pins)[2] == 1_600_000
    assert isinstance(board.ask("frame", frame_hz=100), Refusal)
    off = board.ask("off", mask=255)
    time.sleep(off.values["off_ms"] / 1000 + 0.1)
    assert board.ask("frame", frame_hz=100).values["tick_ps"] == 153_000
    board.ask("hold", p5_ns=1_700_000)
    time.sleep(0.1)
    board.ask("quit")
    time.sleep(0.1)
    assert set(widths(pins).values()) == {0}


def test_every_greeting_has_another_token(board):
    assert len({board.ask("hello").values["token"] for _ in range(5)}) == 5


def test_bytes_of_other_programs_change_nothing(board, pins):
    board.ask("hello")
    board.setup([1])
    board.ask("centre", mask=1)
    time.sleep(0.1)
    before = read(pins)
    noise = bytes(random.Random(5).randrange(256) for _ in range(200))
    for probe in (noise, b"AT\r", b"\x7e\x00", b"M105\n", b"\x03\x03", b"\x04", b"\x01"):
        board.port.write(probe)
        time.sleep(0.02)
        assert board.ask("beat").values["on_mask"] == 1
    assert read(pins) == before


def test_half_a_line_holds_nothing_up(board, pins):
    board.ask("hello")
    board.setup([1, 2, 3])
    board.ask("silence", hold_ms=5000, off_ms=10000)
    board.ask("sweep", **SWEEP)
    _, data = board.session.request("hold", {"p3_ns": 1_500_000})
    board.port.write(data[:15])
    time.sleep(1.5)
    half_way = read(pins)
    assert half_way[-1][0] - half_way[0][0] > 1_400_000
    assert 2 not in widths(pins)
    board.port.write(data[15:])
    assert board.answer().word == "hold"
    time.sleep(0.15)
    assert [width for _, pin, width in read(pins) if pin == 2] == [1_500_000]


def test_a_hundred_thousand_random_bytes_change_nothing(board, pins):
    board.ask("hello")
    board.setup([1])
    board.ask("silence", hold_ms=10_000, off_ms=60_000)
    board.ask("centre", mask=1)
    time.sleep(0.1)
    before = read(pins)
    rng = random.Random(6)
    for _ in range(100):
        board.port.write(rng.randbytes(1000))
        board.port.read(board.port.in_waiting)
    board.port.write(b"\n")
    give_up = time.monotonic() + 20
    while True:  # until it has got through all of that
        try:
            answer = board.ask("beat")
            break
        except AssertionError:
            assert time.monotonic() < give_up
    assert (answer.values["on_mask"], answer.values["moving_mask"]) == (1, 0)
    assert answer.values["damaged"] > 100
    assert read(pins) == before


@pytest.mark.parametrize("length", [64, 128])
def test_whole_blocks_of_the_port_are_answered(board, length):
    board.ask("hello")
    _, data = board.session.request("beat")
    board.port.write(data.rjust(length, b"\n"))
    assert board.answer().word == "beat"


@pytest.mark.slow
def test_a_host_that_does_not_read_does_not_stop_the_motion(board, pins):
    board.ask("hello")
    board.setup([1, 2])
    board.ask("sweep", **SWEEP)
    until = time.monotonic() + 1.5
    asked = 0
    while time.monotonic() < until:
        _, data = board.session.request("state", {"ch": 1})
        board.port.write(data)
        asked += 1
        time.sleep(0.01)
    assert asked * 180 > 3 * 4096  # replies for far more than a pseudo-terminal keeps
    end = read(pins)[-1][0]
    # The last second: all replies have long filled the way back.
    moments = [at for at, pin, _ in read(pins) if pin == 0 and at > end - 1_000_000]
    assert max(b - a for a, b in itertools.pairwise(moments)) < 400_000
    board.port.reset_input_buffer()
    give_up = time.monotonic() + PATIENCE_S
    while board.session._open and time.monotonic() < give_up:
        board.session.receive(board.port.read(4096))
    _, data = board.session.request("beat")
    for _ in range(50):  # what was cut off or dropped is asked for again
        board.port.write(data)
        if any(isinstance(e, Reply) for e in board.session.receive(board.port.read(4096))):
            break
    else:
        raise AssertionError("the board does not answer any more")
