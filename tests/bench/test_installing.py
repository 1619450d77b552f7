"""The firmware gets onto a board whole, or the board waits; whatever was there before.

The board is real MicroPython behind a pseudo-terminal, and mpremote the real tool.
"""

from __future__ import annotations

import os
import signal
import subprocess
import time

import pytest
from serial.tools import list_ports

from hingeline.bench.client import Board
from hingeline.bench.identifying import identify
from hingeline.bench.installing import procedure, tool
from hingeline.bench.installing.contents import Contents
from hingeline.bench.installing.firmware import MAIN, Payload, compiled, sources, version
from hingeline.bench.installing.procedure import install
from hingeline.bench.transport import SerialTransport
from hingeline.errors import BenchError, Stopped
from tests.cli.running import start
from tests.support.prompted import PromptedBoard

pytest.importorskip("mpremote", reason="no mpremote: it comes with hingeline[board], on Linux")

OTHER = b"""
import select, sys
poller = select.poll()
poller.register(sys.stdin, select.POLLIN)
while True:
    print("temperature 21.4")
    if poller.poll(50) and sys.stdin.buffer.read(1) == b"\\x03":
        raise KeyboardInterrupt
"""


def everything(store):
    """Return what is in a store, without what the board itself keeps there."""
    return {
        str(file.relative_to(store)): file.read_bytes()
        for file in store.rglob("*")
        if file.is_file() and file.name not in ("starts.txt", "stay-out.txt")
    }


def put(store, files):
    for path, data in files.items():
        (store / path).parent.mkdir(exist_ok=True)
        (store / path).write_bytes(data)


def when_free(port):
    """Wait until a killed program's hold on a port is gone."""
    end = time.monotonic() + 5.0
    while True:
        try:
            SerialTransport(port).close()
            return
        except BenchError:
            assert time.monotonic() < end
            time.sleep(0.05)


@pytest.fixture(autouse=True)
def impatient(monkeypatch):
    """No board here is reset by the opening of its port."""
    monkeypatch.setattr(procedure, "PATIENCE_S", 0.5)


@pytest.fixture(scope="module")
def payload():
    made = compiled(sources())
    if made.why_sources:
        pytest.skip(made.why_sources)
    return made


class Installing:
    """One run of the procedure: what was told, what was asked, how it was answered."""

    def __init__(self, answers=None):
        self.told, self.asked = [], []
        self._answers = answers

    def __call__(self, port, files=None, **how):
        options = {"as_sources": False, "pins": None, **how}
        return install(
            port, files or sources(), tell=self.told.append, agree=self._agree, **options
        )

    def _agree(self, question):
        self.asked.append(question)
        return self._answers.pop(0) if self._answers else True


@pytest.fixture
def one_by_one(monkeypatch):
    """Let the compiled files be made once: compiling is not what is tested."""

    def keep(made):
        monkeypatch.setattr(procedure, "compiled", lambda _files: made)

    return keep


# -- onto a board --------------------------------------------------------------------------


@pytest.mark.slow
def test_a_bare_board_gets_the_firmware_and_a_second_run_copies_nothing(tmp_path, payload):
    put(tmp_path, {"diary.txt": b"mine"})
    with PromptedBoard(tmp_path) as board:
        first = Installing()
        done = first(board.port)
        assert done.payload == payload
        assert done.info.firmware == version()
        assert done.info.free_bytes
        assert list(done.plan.copy) == list(payload.files)
        assert everything(tmp_path) == {**payload.files, "diary.txt": b"mine"}
        (question,) = first.asked
        assert "without Hingeline's firmware" in question
        count = len(payload.files)
        assert f"  {count:2d} of {count}  main.py" in first.told
        second = Installing()
        done = second(board.port)
        assert (done.plan.copy, done.plan.remove) == ({}, [])
        assert "Every file is there already." in second.told
        assert f"Hingeline firmware {version()}. Asking has ended its pulses" in second.asked[0]
        assert done.info.boots >= 2
        with Board(SerialTransport(board.port)) as again:
            assert again.info.firmware == version()


def old_firmware():
    """The firmware as sources, of an older version of the wire, with files since given up."""
    files = {
        path: data.replace(b"\nVERSION = 2", b"\nVERSION = 1") for path, data in sources().items()
    }
    assert files != sources()
    return {**files, "benchboard/given_up.py": b"", "settings.json": b"{}", "pins.json": b"{}"}


def test_an_older_firmware_ends_and_leaves_nothing_behind(
    tmp_path, payload, one_by_one, monkeypatch
):
    one_by_one(payload)
    put(tmp_path, old_firmware())
    (tmp_path / "pins.json").unlink()
    with PromptedBoard(tmp_path, moves=True) as board:
        running = Installing()
        monkeypatch.setattr(list_ports, "comports", board.comports)
        done = running(board.port)
        first, second = running.asked
        assert "speaks version 1 of the wire" in first
        assert "Asking has ended" not in first  # it refused the greeting and went on
        assert "belong to it and are removed: benchboard/given_up.py." in second
        assert done.plan.strays == ["benchboard/given_up.py"]
        # A .py beside the .mpy would be loaded in its place.
        assert set(done.plan.remove) == set(old_firmware()) - {MAIN, "settings.json", "pins.json"}
        assert everything(tmp_path) == {**payload.files, "settings.json": b"{}"}
        # It came back under other names, twice, and was found by its USB serial number.
        assert len(set(board.devices)) >= 2
        assert done.port == board.device == board.devices[-1]
        assert done.info.protocol == 2


@pytest.mark.slow
def test_another_program_is_kept_and_only_when_agreed(tmp_path, payload, one_by_one):
    one_by_one(payload)
    put(tmp_path, {MAIN: OTHER})
    with PromptedBoard(tmp_path) as board:
        refusing = Installing([False])
        with pytest.raises(Stopped, match="stopped; the board's program is as it was"):
            refusing(board.port)
        assert "it sends '" in refusing.asked[0]
        assert "its program is interrupted" in refusing.asked[0]
        assert board.ended == []
        halfway = Installing([True, False])
        with pytest.raises(Stopped, match="nothing was written"):
            halfway(board.port)
        assert "It is kept there as main-before.py" in halfway.asked[1]
        assert everything(tmp_path) == {MAIN: OTHER}
        done = Installing()(board.port)
        assert done.plan.keep_main == "main-before.py"
        assert everything(tmp_path) == {**payload.files, "main-before.py": OTHER}


def test_a_power_cut_in_the_middle_leaves_a_board_that_waits(tmp_path, payload, one_by_one):
    one_by_one(payload)
    put(tmp_path, sources())  # an update: there is a main.py that would start what is half there
    with PromptedBoard(tmp_path, dies_at="benchboard/core.mpy") as board:
        cut = Installing()
        with pytest.raises(BenchError) as caught:
            cut(board.port)
        assert "goes on where it stopped" in caught.value.mend
        assert board.device is None
    half = everything(tmp_path)
    assert MAIN not in half
    assert 0 < len(half["benchboard/core.mpy"]) < len(payload.files["benchboard/core.mpy"])
    with PromptedBoard(tmp_path) as board:
        with SerialTransport(board.port) as transport:
            assert identify(transport).held
        done = Installing()(board.port)
    assert everything(tmp_path) == payload.files
    assert "shared_protocol/table.mpy" not in done.plan.copy  # it goes on where it stopped


@pytest.mark.slow
def test_a_program_killed_in_the_middle_is_simply_run_again(tmp_path, payload, one_by_one):
    one_by_one(payload)
    with PromptedBoard(tmp_path) as board:
        killed = start(
            "board", "install", "--yes", "--port", board.port,
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, start_new_session=True,
        )  # fmt: skip
        assert killed.stderr is not None
        for line in killed.stderr:
            if b" 9 of " in line:
                os.killpg(killed.pid, signal.SIGKILL)  # the terminal was closed: mpremote too
                break
        killed.wait(10)
        killed.stderr.close()
        when_free(board.port)
        half = everything(tmp_path)
        assert half
        assert MAIN not in half
        done = Installing()(board.port)
        assert 0 < len(done.plan.copy) < len(payload.files)
        assert everything(tmp_path) == payload.files


def test_a_file_that_arrives_damaged_is_named(tmp_path, payload, one_by_one):
    one_by_one(payload)
    with PromptedBoard(tmp_path, spoils="benchboard/guard.mpy") as board:
        with pytest.raises(BenchError, match="did not arrive whole") as caught:
            Installing()(board.port)
        assert f"1 of {len(payload.files) - 1} files" in caught.value.message
        assert "benchboard/guard.mpy" in caught.value.message
        assert MAIN not in everything(tmp_path)


def test_a_board_that_takes_other_bytecode_gets_sources(tmp_path, payload, one_by_one):
    one_by_one(Payload(payload.files, bytecode=5))
    with PromptedBoard(tmp_path) as board:
        running = Installing()
        done = running(board.port)
        assert not done.payload.bytecode
        assert everything(tmp_path) == sources()
        told = " ".join(running.told)
        assert "starts slower" in told
        assert "takes version 6 of compiled files, the compiler makes 5" in told


def test_a_firmware_that_does_not_start_says_why(tmp_path, payload, one_by_one):
    broken = {**payload.files, "benchboard/core.mpy": b"M\x05\x00\x00"}
    one_by_one(Payload(broken, bytecode=payload.bytecode))
    with PromptedBoard(tmp_path) as board:
        with pytest.raises(BenchError, match="on the board, but did not greet") as caught:
            Installing()(board.port)
        assert (
            caught.value.cause == "When it is started it says: ValueError: incompatible .mpy file"
        )
        assert "board info" in caught.value.mend


def test_a_list_of_pins_is_put_beside_it(tmp_path, payload, one_by_one):
    one_by_one(payload)
    put(tmp_path, payload.files)
    with PromptedBoard(tmp_path) as board:
        done = Installing()(board.port, pins=b'{"gpios": [2, 3]}')
        assert list(done.plan.copy) == ["pins.json", MAIN]
        assert (tmp_path / "pins.json").read_bytes() == b'{"gpios": [2, 3]}'
        Installing()(board.port)  # and stays when nothing is said of it
        assert (tmp_path / "pins.json").exists()


def test_pins_that_the_board_cannot_use_are_told_before_its_start(tmp_path, payload, one_by_one):
    one_by_one(payload)
    put(tmp_path, payload.files)
    with PromptedBoard(tmp_path) as board:
        with pytest.raises(BenchError, match="cannot use its list of pins") as caught:
            Installing()(board.port, pins=b'{"gpios":[0,16]}')
        assert "GP0 and GP16 are the same pulse output" in caught.value.message
        assert "with --pins" in caught.value.mend
        with pytest.raises(BenchError, match="same pulse output"):  # the list that is there
            Installing()(board.port)
        done = Installing()(board.port, pins=b'{"gpios":[0,17],"probe":null}')
        assert (list(done.plan.copy), done.info.channels) == (["pins.json", MAIN], 2)


def test_a_no_after_the_greeting_says_that_the_pulses_were_ended(tmp_path, payload):
    put(tmp_path, payload.files)
    with PromptedBoard(tmp_path) as board:
        with pytest.raises(Stopped) as caught:
            Installing([False])(board.port)
        assert caught.value.message == (
            "stopped; its pulses were ended; the board's program is as it was."
        )
        with Board(SerialTransport(board.port)) as again:
            assert again.info.boots == 1


@pytest.mark.slow
def test_a_port_on_which_no_micropython_answers_is_given_up(monkeypatch):
    monkeypatch.setattr(tool, "QUIET_S", 1.5)
    board_end, host_end = os.openpty()
    try:
        started = time.monotonic()
        with pytest.raises(BenchError, match="no MicroPython answers there") as caught:
            Installing()(os.ttyname(host_end))
        assert time.monotonic() - started < 12
        assert "while plugging it in" in caught.value.mend
    finally:
        os.close(host_end)
        os.close(board_end)


def test_a_board_that_does_not_come_back_is_given_up(tmp_path, payload, monkeypatch):
    monkeypatch.setattr(procedure, "BACK_S", 1.0)
    put(tmp_path, payload.files)
    with PromptedBoard(tmp_path, comes_back=False) as board:
        port = board.port
        with pytest.raises(BenchError, match="did not come back to its prompt in 1 s") as caught:
            Installing()(port)
    assert f"{port}: nothing there answers" in caught.value.message
    assert "while plugging it in" in caught.value.mend
    assert everything(tmp_path) == payload.files


def test_without_mpremote_the_mend_is_named(monkeypatch):
    find = tool.importlib.util.find_spec
    monkeypatch.setattr(
        tool.importlib.util, "find_spec", lambda name: None if name == "mpremote" else find(name)
    )
    with pytest.raises(BenchError, match=r"mpremote.* is not installed") as caught:
        Installing()("/dev/ttyACM0")
    assert "pip install 'hingeline[board]'" in caught.value.mend
    assert "--into" in caught.value.mend


def test_an_old_micropython_is_refused_with_both_versions():
    with pytest.raises(BenchError, match=r"version 1\.20\.0; 1\.24 is the oldest") as caught:
        procedure._check_interpreter("COM3", Contents(version=(1, 20, 0)))
    assert "micropython.org" in caught.value.mend
    procedure._check_interpreter("COM3", Contents(version=(1, 24, 0)))
