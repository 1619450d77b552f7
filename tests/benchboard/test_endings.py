"""Every way in which the board's program ends or is left alone: all outputs low, none stuck."""

import os
import signal
import subprocess
import sys
import time

import pytest

from shared_protocol import table
from shared_protocol.host_session import HostSession, Reply
from tests.support import micropython
from tests.support.micropython import FIRMWARE, MACHINE, ROOT, running_board
from tests.support.small_host import SWEEP, Client, read, states, until, widths

CHIPS = {
    "simulated": {},
    "rp2040": {"HINGELINE_ROW": "rp2040", "HINGELINE_CHIP": "rp2"},
    "rp2350": {"HINGELINE_ROW": "rp2350", "HINGELINE_CHIP": "rp2"},
    "esp32": {"HINGELINE_ROW": "esp32", "HINGELINE_CHIP": "esp32"},
}
ALL_LOW = {f"GP{n}": "low" for n in range(8)}


class Notes:
    """Files in which the stand-in for the chip notes what happens, and the board's own store."""

    def __init__(self, folder):
        self.pins, self.states, self.light = (folder / f"{n}.txt" for n in "psl")
        self.button = folder / "button"
        self.analogue = folder / "analogue.txt"
        self.store = folder / "store"
        self.store.mkdir()
        self.script = folder / "main.py"

    def main(self, text):
        self.script.write_text(text, encoding="utf-8")
        return self.script

    def more(self, **more):
        return {
            "HINGELINE_STATES": str(self.states),
            "HINGELINE_LIGHT": str(self.light),
            "HINGELINE_BUTTON": str(self.button),
            **({"HINGELINE_ANALOGUE": str(self.analogue)} if self.analogue.exists() else {}),
            **more,
        }

    def running(self, main=None, **more):
        return running_board(self.pins, main, self.store, self.more(**more))

    def read_analogue(self, **inputs):
        """Say what the analogue inputs read from now on: ``read_analogue(gp26=30000)``."""
        text = ",".join(f"{pin[2:]}={value}" for pin, value in inputs.items())
        fresh = self.analogue.with_suffix(".new")
        fresh.write_text(text, encoding="utf-8")
        fresh.replace(self.analogue)

    def low(self):
        """Whether every servo pin of the simulated board is a low output, at width zero."""
        now = states(self.states)
        return {pin: now.get(pin) for pin in ALL_LOW} == ALL_LOW and not any(
            widths(self.pins).values()
        )


@pytest.fixture
def notes(tmp_path):
    return Notes(tmp_path)


def moving(path, channels=(1, 2)):
    """Greet a board and let two channels sweep; return the host."""
    client = Client(path)
    client.ask("hello")
    client.setup(channels)
    assert isinstance(client.ask("sweep", **SWEEP), Reply)
    time.sleep(0.4)
    return client


@pytest.mark.parametrize("chip", CHIPS)
def test_quit_in_mid_motion_on_every_kind_of_chip(notes, chip):
    main = MACHINE / "on_chip.py" if CHIPS[chip] else None
    with notes.running(main, **CHIPS[chip]) as path:
        client = moving(path)
        assert "pwm" in states(notes.states).values()
        client.ask("quit")
        time.sleep(0.2)
        now = states(notes.states)
        board = {"esp32": (18, 19, 21, 22, 23, 25, 26, 27)}.get(chip, range(8))
        assert [now[f"GP{gpio}"] for gpio in board] == ["low"] * 8
        assert set(widths(notes.pins).values()) == {0}
        greeting = client.ask("hello").values
        assert table.name_of(table.BOARDS, greeting["board"]) == chip
        assert greeting["free_bytes"] > 0
        client.port.close()


def test_bytes_of_an_interruption_in_mid_motion_are_data(notes):
    with notes.running() as path:
        client = moving(path)
        for _ in range(5):
            client.port.write(b"\x03\r\x03\x03\n")
            time.sleep(0.02)
            assert client.ask("beat").values["on_mask"] == 3
        damaged = client.ask("beat").values["damaged"]
        assert damaged >= 5
        client.port.close()


ENDED = """
import micropython
from benchboard import app, bank

plain = bank.Bank.advance
chosen = {error}


def advance(self, ms):
    if self.channels[0].now_ns > 2050000:
        raise chosen
    plain(self, ms)


class Told:
    def kbd_intr(self, byte):
        print("kbd", byte)


bank.Bank.advance = advance
app.micropython = Told()
try:
    app.start()
except BaseException as error:
    print("ended", type(error).__name__)
"""


@pytest.mark.parametrize("error", ["KeyboardInterrupt", "SystemExit", "GeneratorExit"])
def test_what_is_no_fault_but_an_ending_stops_the_pulses_and_goes_on_its_way(notes, error):
    with notes.running(notes.main(ENDED.format(error=f"{error}()"))) as path:
        client = moving(path)
        client.ask("hold", p1_ns=2_080_000)
        client.port.timeout = 2
        wrote = client.port.read_until(b"ended " + error.encode())
        assert b"kbd 3" in wrote  # the prompt can be interrupted again
        assert wrote.endswith(error.encode())
        assert notes.low()
        client.port.close()


FAULTY = """
from benchboard import app, bank

plain = bank.Bank.advance


def advance(self, ms):
    if self.channels[0].now_ns > 1600000:
        raise {error}
    plain(self, ms)


bank.Bank.advance = advance
app.start()
"""


@pytest.mark.parametrize("error", ["OSError('invented fault')", "MemoryError('invented fault')"])
def test_a_fault_stops_all_pulses_and_is_named_in_the_next_greeting(notes, error):
    with notes.running(notes.main(FAULTY.format(error=error))) as path:
        client = Client(path)
        client.ask("hello")
        client.setup([1, 2])
        client.ask("centre", mask=3)
        time.sleep(0.2)
        assert widths(notes.pins) == {0: 1_500_000, 1: 1_500_000}
        client.ask("hold", p1_ns=1_700_000)
        until(notes.low)
        time.sleep(0.2)
        refusal = client.ask("beat")
        assert refusal.code == "wrong_token"
        greeting = client.ask("hello").values
        assert table.name_of(table.REASONS, greeting["reason"]) == "crash"
        assert greeting["boots"] == 2
        assert "invented fault" in (notes.store / "last-crash.txt").read_text(encoding="utf-8")
        time.sleep(0.1)
        assert notes.low()
        ends = [at for at, _, width in read(notes.pins) if width == 0]
        last = max(at for at, _, width in read(notes.pins) if width)
        assert max(ends) - last < 100_000
        client.port.close()


def test_leave_gives_the_board_free_for_one_start(notes):
    with notes.running() as path:
        client = moving(path)
        assert isinstance(client.ask("leave"), Reply)
        time.sleep(0.3)
        client.port.close()
    assert notes.pins.read_text(encoding="utf-8").splitlines()[-1] == "RESET"
    assert notes.low()
    hello = HostSession().hello(5)[1]
    main = FIRMWARE / "main.py"
    assert micropython.run(main, given=hello, cwd=notes.store) == ""
    printed = micropython.run(main, given=hello, cwd=notes.store)
    assert " greeting " in printed
    assert " boots=2 " in printed


HOST = """
import sys, time
sys.path[:0] = [{root!r}]
from tests.support.small_host import SWEEP, Client

client = Client({path!r})
client.ask("hello")
client.setup([1, 2])
client.ask("silence", hold_ms=300, off_ms=900)
client.ask("sweep", **SWEEP)
print("moving", flush=True)
while True:
    client.ask("beat")
    time.sleep(0.1)
"""


def test_a_host_that_is_killed_leaves_pulses_held_and_then_off(notes):
    with notes.running() as path:
        text = HOST.format(root=str(ROOT), path=path)
        host = subprocess.Popen([sys.executable, "-c", text], stdout=subprocess.PIPE)
        assert host.stdout.readline() == b"moving\n"
        time.sleep(1.5)  # longer than the silence allowed: its beats keep the motion going
        moved = read(notes.pins)
        assert any(width for _, _, width in moved[-4:])
        os.kill(host.pid, signal.SIGKILL)
        assert host.wait() == -signal.SIGKILL
        host.stdout.close()
        until(notes.low, 3.0)
        changes = read(notes.pins)
        ends = [at for at, _, width in changes if width == 0]
        last = max(at for at, _, width in changes if width)
        assert 500_000 < ends[0] - last < 800_000  # held for the time between the two
        assert len(changes) > 50


TWICE = """
import machine
from benchboard import app
from benchboard.boards import board_named

# Another program, on pins of ours, and started again without a reset.
others = []
for gpio in (0, 1, 4):
    pin = machine.Pin(gpio, machine.Pin.OUT, value=0)
    others.append(machine.PWM(pin, freq=50, duty_ns=0))
for other in others:
    other.duty_ns(1700000)
machine.restart()
app.start_on(board_named("rp2040"))
"""


def test_a_start_without_a_reset_gives_no_old_pulse_and_says_so(notes):
    with notes.running(notes.main(TWICE), HINGELINE_CHIP="rp2") as path:
        client = Client(path)
        greeting = client.ask("hello").values
        assert table.name_of(table.REASONS, greeting["reason"]) == "soft"
        assert states(notes.states) == {
            **ALL_LOW, "GP22": "in", "GP16": "in", "GPLED": "low"
        }  # fmt: skip
        before = len(read(notes.pins))
        client.setup([1, 2, 5])
        client.ask("hold", p2_ns=1_234_000)
        time.sleep(0.2)
        assert read(notes.pins)[before:] == [(read(notes.pins)[-1][0], 1, 1_234_000)]
        client.ask("quit")
        time.sleep(0.1)
        client.port.close()


def test_a_start_by_the_watchdog_is_told_and_everything_rests(notes):
    main = notes.main(
        "import machine\nmachine.cause[0] = machine.WDT_RESET\n"
        "from benchboard.app import start\nstart()\n"
    )
    with notes.running(main) as path:
        client = Client(path)
        greeting = client.ask("hello").values
        assert table.name_of(table.REASONS, greeting["reason"]) == "watchdog"
        time.sleep(0.1)
        client.port.close()
    assert states(notes.states).items() >= ALL_LOW.items()
    assert not notes.pins.exists()


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


FREE = """
import machine
from benchboard.app import start
start()
print("free", [entry for entry in machine.history if entry[0] == "watchdog"])
"""


def test_a_button_held_at_the_start_keeps_the_program_from_running(notes):
    notes.button.touch()
    hello = HostSession().hello(5)[1]
    printed = micropython.run(
        notes.main(FREE), given=hello, cwd=notes.store, pins=notes.pins, more=notes.more()
    )
    assert printed == "free []\n"  # and no watchdog that nobody feeds
    assert states(notes.states).items() >= ALL_LOW.items()
    assert not (notes.store / "starts.txt").exists()


OLD = """
from benchboard import app
from benchboard.boards import board_named
app.ESP32_NEEDS = (9, 1)
app.start_on(board_named("esp32"))
"""


def test_an_esp32_whose_port_makes_wrong_pulses_does_not_begin(notes):
    printed = micropython.run(
        notes.main(OLD), cwd=notes.store, more=notes.more(HINGELINE_CHIP="esp32")
    )
    assert printed == "The servos need MicroPython 9.1 or newer on this board.\n"


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ('{"gpios": [0, 16], "probe": null}', "GP0 and GP16"),
        ('{"gpios": [2, 2]}', "used twice"),
        ('{"gpios": [', "ValueError"),
        ('{"servos": [2]}', "'servos' is no pin"),
        ("[]", "not an object"),
        ('{"gpios": []}', "no servo pins"),
        (" " * 2000, "longer than"),
    ],
)
def test_impossible_pins_leave_a_board_that_can_only_say_so(notes, text, complaint):
    (notes.store / "pins.json").write_text(text, encoding="utf-8")
    with notes.running() as path:
        client = Client(path)
        greeting = client.ask("hello").values
        assert greeting["channels"] == 0
        assert table.name_of(table.REASONS, greeting["reason"]) == "pins"
        assert client.ask("state", ch=1).code == "no_such_channel"
        assert client.ask("off", mask=255).code == "no_such_channel"
        assert client.ask("beat").values["on_mask"] == 0
        assert isinstance(client.ask("quit"), Reply)
        client.port.close()
    assert complaint in (notes.store / "last-crash.txt").read_text(encoding="utf-8")
    assert states(notes.states) == {"GP22": "in"}


def test_pins_of_the_user_s_choice_are_used(notes):
    (notes.store / "pins.json").write_text(
        '{"gpios": [8, 9, 12], "button": null, "light": 25}', encoding="utf-8"
    )
    notes.button.touch()  # there is no button: the program runs
    with notes.running() as path:
        client = Client(path)
        assert client.ask("hello").values["channels"] == 3
        client.setup([3])
        client.ask("centre", mask=4)
        time.sleep(0.2)
        assert widths(notes.pins) == {12: 1_500_000}
        client.ask("quit")
        time.sleep(0.1)
        client.port.close()
    assert states(notes.states) == {
        "GP8": "low", "GP9": "low", "GP12": "low", "GP25": "low", "GP16": "in"
    }  # fmt: skip


FED = {"HINGELINE_WATCHDOG_MS": "400"}


def test_the_watchdog_is_fed_while_servos_move_and_while_nobody_is_there(notes):
    with notes.running(**FED) as path:
        client = moving(path)
        time.sleep(1.0)
        assert isinstance(client.ask("quit"), Reply)
        time.sleep(1.0)
        client.ask("hello")  # and the board is still there
        client.setup([3])
        client.ask("centre", mask=4)
        time.sleep(0.2)
        assert widths(notes.pins)[2] == 1_500_000
        client.port.close()


STUCK = """
import time
from benchboard import app, bank

plain = bank.Bank.advance


def advance(self, ms):
    if self.channels[0].now_ns > 1600000:
        time.sleep_ms(600)
    plain(self, ms)


bank.Bank.advance = advance
app.start()
"""


def test_a_program_that_is_stuck_does_not_feed_it(notes):
    with notes.running(notes.main(STUCK), **FED) as path:
        client = moving(path)
        time.sleep(1.5)
        client.port.close()
    assert "FAULT the watchdog would have reset the chip" in notes.pins.read_text("utf-8")


AGAIN = """
from benchboard import app, bank


def advance(self, ms):
    raise OSError("invented fault")


bank.Bank.advance = advance
app.start()
"""


def test_a_fault_that_comes_back_at_once_does_not_wear_out_the_store(notes):
    with notes.running(notes.main(AGAIN)) as path:
        client = Client(path)
        time.sleep(3.5)
        client.port.close()
    assert 2 <= int((notes.store / "starts.txt").read_text("utf-8")) <= 4
    assert "invented fault" in (notes.store / "last-crash.txt").read_text("utf-8")
