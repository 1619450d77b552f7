"""The board's whole program under real MicroPython, spoken to over a pseudo-terminal."""

import itertools
import random
import time

import pytest
import serial

from shared_protocol import table
from shared_protocol.framing import Damaged
from shared_protocol.session import Greeting, HostSession, Refusal, Reply
from tests.support import micropython
from tests.support.micropython import FIRMWARE, running_board

PATIENCE_S = 5.0  # the machine may be busy; nothing below is measured against this
SERVO = {"class": 1, "low_ns": 900_000, "high_ns": 2_100_000, "centre_ns": 1_500_000}
SWEEP = {"mask": 3, "opposed_mask": 2, "low_ns": 1_000_000, "high_ns": 2_000_000}
SWEEP.update({"period_ms": 1000, "cycles": 0, "shape": 1})


class Client:
    """The simplest host: one request at a time, and it waits for the reply."""

    def __init__(self, path):
        self.port = serial.Serial(path, timeout=0.05, write_timeout=2)
        self.session = HostSession()

    def ask(self, word, **values):
        if word == "hello":
            _, data = self.session.hello(random.randrange(1, 2**30))
        else:
            _, data = self.session.request(word, values)
        self.port.write(data)
        return self.answer()

    def answer(self):
        give_up = time.monotonic() + PATIENCE_S
        while time.monotonic() < give_up:
            for event in self.session.receive(self.port.read(self.port.in_waiting or 1)):
                if not isinstance(event, Damaged):
                    return event
        raise AssertionError("no answer")

    def setup(self, channels, slew=4000):
        for ch in channels:
            assert isinstance(self.ask("setup", ch=ch, slew_ns_per_ms=slew, **SERVO), Reply)


@pytest.fixture
def pins(tmp_path):
    return tmp_path / "pins.txt"


@pytest.fixture
def board(pins):
    with running_board(pins=pins) as path:
        client = Client(path)
        yield client
        client.port.close()


def read(pins):
    """Return the changes of width as (microseconds, pin, width in ns); fail on any fault."""
    changes = []
    for line in pins.read_text(encoding="utf-8").splitlines():
        assert not line.startswith("FAULT"), line
        if line != "RESET":
            at, pin, width = line.split()
            changes.append((int(at), int(pin[2:]), int(width)))
    return changes


def widths(pins):
    return {pin: width for _, pin, width in read(pins)}


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


@pytest.mark.parametrize("length", [64, 128])
def test_whole_blocks_of_the_port_are_answered(board, length):
    board.ask("hello")
    _, data = board.session.request("beat")
    board.port.write(data.rjust(length, b"\n"))
    assert board.answer().word == "beat"


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


def test_a_killed_host_leaves_pulses_held_and_then_off(pins):
    with running_board(pins=pins) as path:
        client = Client(path)
        client.ask("hello")
        client.setup([1, 2])
        client.ask("silence", hold_ms=300, off_ms=900)
        client.ask("sweep", **SWEEP)
        client.port.close()
        time.sleep(1.2)
        changes = read(pins)
        assert set(widths(pins).values()) == {0}
        ends = [at for at, _, width in changes if width == 0]
        last = max(at for at, _, width in changes if width)
        assert ends[0] - last > 500_000  # held for the time between the two
        assert len(changes) > 50


FAULTY = """
from benchboard import app, bank

plain = bank.Bank.advance


def advance(self, ms):
    if self.channels[0].now_ns > 1600000:
        raise OSError("invented fault")
    plain(self, ms)


bank.Bank.advance = advance
app.start()
"""


def test_a_fault_stops_all_pulses_and_is_named_in_the_next_greeting(tmp_path, pins):
    main = tmp_path / "faulty.py"
    main.write_text(FAULTY, encoding="utf-8")
    store = tmp_path / "store"
    store.mkdir()
    with running_board(pins=pins, main=main, store=store) as path:
        client = Client(path)
        client.ask("hello")
        client.setup([1, 2])
        client.ask("centre", mask=3)
        time.sleep(0.2)
        assert widths(pins) == {0: 1_500_000, 1: 1_500_000}
        client.ask("hold", p1_ns=1_700_000)
        time.sleep(0.3)
        assert widths(pins) == {0: 0, 1: 0}
        refusal = client.ask("beat")
        assert refusal.code == "wrong_token"
        greeting = client.ask("hello").values
        assert table.name_of(table.REASONS, greeting["reason"]) == "crash"
        assert greeting["boots"] == 2
        assert "invented fault" in (store / "last-crash.txt").read_text(encoding="utf-8")
        time.sleep(0.1)
        assert widths(pins) == {0: 0, 1: 0}
        client.port.close()


def test_leave_gives_the_board_free_for_one_start(tmp_path, pins):
    store = tmp_path / "store"
    store.mkdir()
    with running_board(pins=pins, store=store) as path:
        client = Client(path)
        client.ask("hello")
        client.setup([1])
        client.ask("centre", mask=1)
        time.sleep(0.1)
        assert isinstance(client.ask("leave"), Reply)
        time.sleep(0.2)
        client.port.close()
    assert pins.read_text(encoding="utf-8").splitlines()[-1] == "RESET"
    assert widths(pins) == {0: 0}
    hello = HostSession().hello(5)[1]
    main = FIRMWARE / "main.py"
    assert micropython.run(main, given=hello, cwd=store) == ""
    printed = micropython.run(main, given=hello, cwd=store)
    assert " greeting " in printed
    assert " boots=2 " in printed


def test_starts_are_counted_and_a_damaged_count_begins_again(tmp_path):
    main = FIRMWARE / "main.py"
    seen = []
    for kept in (None, None, "nonsense", "-5", None):
        if kept is not None:
            (tmp_path / "starts.txt").write_text(kept, encoding="utf-8")
        session = HostSession()
        _, hello = session.hello(5)
        printed = micropython.run(main, given=hello, cwd=tmp_path)
        (greeting,) = session.receive(printed.encode())
        seen.append(greeting.values["boots"])
    assert seen == [1, 2, 1, 1, 2]


def test_a_strap_to_ground_keeps_the_program_from_running(tmp_path):
    main = tmp_path / "strapped.py"
    main.write_text(
        "import machine\nmachine.Pin.value = lambda self: 0\n"
        "from benchboard.app import start\nstart()\nprint('free')\n",
        encoding="utf-8",
    )
    printed = micropython.run(main, given=HostSession().hello(5)[1], cwd=tmp_path)
    assert printed == "free\n"
