"""What answers on a port is told apart, and each has its mend; no program is interrupted."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import threading
import tty

import pytest

from hingeline.bench import client, identifying
from hingeline.bench.client import Board
from hingeline.bench.identifying import Answer, identify, mend, summary
from hingeline.bench.installing.firmware import sources, version
from hingeline.bench.transport import SerialTransport
from hingeline.errors import BenchError
from tests.support.prompted import PromptedBoard


def put(store, **changed):
    """Put the firmware's sources in a store; ``changed`` gives constants other values."""
    for path, data in sources().items():
        text = data.decode()
        for name, value in changed.items():
            text = re.sub(rf"^{name} = \d+", f"{name} = {value}", text, flags=re.MULTILINE)
        (store / path).parent.mkdir(exist_ok=True)
        (store / path).write_text(text, "utf-8")


def ask(board, patience_s=3.0):
    with SerialTransport(board.port) as transport:
        return identify(transport, patience_s)


@contextlib.contextmanager
def a_port(talk=None):
    """Give a port behind which something talks over and over, or is silent."""
    board_end, host_end = os.openpty()
    tty.setraw(board_end)
    tty.setraw(host_end)
    done = threading.Event()
    heard = []

    def run():
        while not done.wait(0.05):
            os.write(board_end, talk)

    def listen():
        with contextlib.suppress(OSError):
            while data := os.read(board_end, 4096):
                heard.append(data)

    threads = [threading.Thread(target=listen, daemon=True)]
    if talk:
        threads.append(threading.Thread(target=run, daemon=True))
    for thread in threads:
        thread.start()
    yield os.ttyname(host_end), heard
    done.set()
    for thread in threads[1:]:
        thread.join()
    os.write(host_end, b"end")
    os.close(host_end)
    threads[0].join(5)
    os.close(board_end)


def test_a_board_of_this_version(tmp_path):
    put(tmp_path)
    with PromptedBoard(tmp_path) as board:
        answer = ask(board)
        assert (answer.kind, answer.wire) == ("firmware", 2)
        assert summary(answer) == f"Hingeline firmware {version()}"
        assert mend(answer, board.port) == ""
        with Board(SerialTransport(board.port)) as again:  # asking has cost it nothing
            assert again.info.boots == answer.info.boots == 1


@pytest.mark.parametrize(
    ("number", "word", "advice"),
    [(99, "0.0.99, older", "Put this"), (990000, "99.0.0, newer", "pip install --upgrade")],
)
def test_an_older_and_a_newer_board(tmp_path, number, word, advice):
    put(tmp_path, FIRMWARE=number)
    with PromptedBoard(tmp_path) as board:
        answer = ask(board)
        assert summary(answer) == (
            f"Hingeline firmware {word} than that of this Hingeline ({version()})"
        )
        assert advice in mend(answer, board.port)
        assert f"hingeline board install --port {board.port}" in mend(answer, board.port)


@pytest.mark.parametrize(("wire", "advice"), [(1, "Put this"), (3, "pip install --upgrade")])
def test_a_board_of_another_wire(tmp_path, wire, advice):
    put(tmp_path, VERSION=wire)
    with PromptedBoard(tmp_path) as board:
        answer = ask(board)
        assert (answer.kind, answer.wire, answer.info) == ("other wire", wire, None)
        assert f"speaks version {wire} of the wire, this Hingeline version 2" in summary(answer)
        assert advice in mend(answer, board.port)
        with pytest.raises(BenchError, match=f"speaks version {wire} of the wire"):
            Board(SerialTransport(board.port))


def test_a_bare_board_says_its_version_and_chip(tmp_path):
    with PromptedBoard(tmp_path) as board:
        for keys in (b"", b"\x01", b"\x01half a progr", b"typed but not ended"):
            # Also when another tool was stopped in the middle, or somebody had begun to type.
            with SerialTransport(board.port) as transport:
                transport.write(keys)
            answer = ask(board, 0.5)
            assert (answer.kind, answer.held) == ("micropython", False), keys
            assert re.fullmatch(r"v1\.\d+\.\d+ on [\d-]+; .* with \w+", answer.banner)
        assert summary(answer) == f"MicroPython {answer.banner}, without Hingeline's firmware"
        assert mend(answer, "COM3").endswith("hingeline board install --port COM3")
        assert board.ended == []


def test_a_board_held_at_its_prompt_is_not_taken_for_a_bare_one(tmp_path):
    put(tmp_path)
    (tmp_path / "main.py").unlink()  # as with the button held: it is not started
    with PromptedBoard(tmp_path) as board:
        answer = ask(board)
        assert (answer.kind, answer.held) == ("micropython", True)
        assert "is there but does not run" in summary(answer)
        assert "Let go of the board's button" in mend(answer, board.port)


def test_a_command_that_meets_a_bare_board_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr(client, "GREETING_S", 0.8)
    with PromptedBoard(tmp_path) as board:
        with pytest.raises(BenchError, match="without Hingeline's firmware") as caught:
            Board(SerialTransport(board.port))
        assert "board install" in caught.value.mend


@pytest.mark.parametrize(
    "talk", [b"temperature 21.4\r\n", b"\x00\xff\x80junk", b"12 ok 00000000\n"]
)
def test_another_program_that_sends(talk, monkeypatch):
    monkeypatch.setattr(identifying, "_PROMPT_S", 0.3)
    with a_port(talk) as (port, heard), SerialTransport(port) as transport:
        answer = identify(transport, 0.5)
    assert answer.kind == "something"
    assert "something that is no bench board; it sends '" in summary(answer)
    assert summary(answer).isprintable()
    assert "Close other programs" in mend(answer, port)
    assert b"\x03" not in b"".join(heard)  # nothing was interrupted


def test_a_silent_port():
    with a_port() as (port, heard), SerialTransport(port) as transport:
        started = transport.now_s()
        answer = identify(transport, 0.5)
        assert transport.now_s() - started < 3.0
    assert answer == Answer("silence")
    assert summary(answer) == "nothing there answers"
    assert "https://micropython.org/download" in mend(answer, port)
    assert b"\x03" not in b"".join(heard)


def test_an_echo_is_no_board(monkeypatch):
    monkeypatch.setattr(identifying, "_PROMPT_S", 0.3)
    board_end, host_end = os.openpty()
    tty.setraw(board_end)
    tty.setraw(host_end)

    def echo():
        with contextlib.suppress(OSError):
            while data := os.read(board_end, 4096):
                if data == b"end":
                    return
                os.write(board_end, data)

    thread = threading.Thread(target=echo, daemon=True)
    thread.start()
    with SerialTransport(os.ttyname(host_end)) as transport:
        assert identify(transport, 0.5).kind == "something"
    os.write(host_end, b"end")
    thread.join(5)
    os.close(host_end)
    os.close(board_end)


def test_the_stand_in_keeps_what_it_is_given(tmp_path):
    """The board under test really runs what lies in its store, not what lies in the clone."""
    put(tmp_path)
    shutil.rmtree(tmp_path / "shared_protocol")
    with PromptedBoard(tmp_path) as board:
        assert ask(board).kind == "micropython"
