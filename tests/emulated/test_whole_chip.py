"""The compiled firmware on an emulated RP2040 that runs a real image of MicroPython.

Needs such an image, which cannot be part of this project: name one in HINGELINE_UF2. Then the
chip boots it, the files are put on its own flash over its own USB, it starts afresh, and a host
speaks to it while the levels at its pins are watched.
"""

from __future__ import annotations

import asyncio
import itertools
import os
import random
import subprocess
import time
from pathlib import Path

import pytest

from shared_protocol import table
from shared_protocol.framing import Damaged
from shared_protocol.host_session import Greeting, HostSession, Reply
from tests.emulated.putting import lines_to_write
from tests.support.firmware import compiled
from tests.support.micropython import interpreter

IMAGE = os.environ.get("HINGELINE_UF2", "")
PATIENCE_S = 600  # an emulated second may take a minute
SERVO = {"class": 1, "low_ns": 900_000, "high_ns": 2_100_000, "centre_ns": 1_500_000}
WIDTH_NS = 160
ORDERS = int(os.environ.get("HINGELINE_UF2_ORDERS", "1000"))


def test_the_lines_that_put_the_files_there_write_just_these_files(tmp_path):
    files = compiled(tmp_path)
    script = tmp_path / "put.py"
    script.write_text("\n".join(lines_to_write(files)), encoding="utf-8")
    there = tmp_path / "there"
    there.mkdir()
    subprocess.run([interpreter(), script], cwd=there, check=True)
    written = {
        str(path.relative_to(there)): path.read_bytes()
        for path in there.rglob("*")
        if path.is_file()
    }
    assert written == files
    assert len(files) > 25


class Chip:
    """An emulated board, what its host hears, and the edges at its servo pins."""

    def __init__(self, device):
        self.device = device
        self.session = HostSession()
        self.events = []
        self.edges = {gpio: [] for gpio in range(8)}
        for gpio in self.edges:
            device.mcu.gpio[gpio].add_listener(self.listener(gpio))

    def listener(self, gpio):
        def note(state, before):
            if 1 in (int(state), int(before)):  # HIGH
                self.edges[gpio].append((self.now_ns(), int(state) == 1))

        return note

    def now_ns(self):
        return self.device.simulator.clock.nanos

    def heard(self, data):
        self.events += [e for e in self.session.receive(bytes(data)) if not isinstance(e, Damaged)]

    async def until(self, condition):
        give_up = time.monotonic() + PATIENCE_S
        while not condition():
            assert time.monotonic() < give_up, "the emulated chip took too long"
            await asyncio.sleep(0.01)

    async def wait_ms(self, ms):
        end = self.now_ns() + ms * 1e6
        await self.until(lambda: self.now_ns() >= end)

    async def ask(self, word, **values):
        self.events.clear()
        self.device.cdc.on_serial_data = self.heard
        _, data = self.session.hello(5) if word == "hello" else self.session.request(word, values)
        for byte in data:
            self.device.cdc.send_serial_byte(byte)
        await self.until(lambda: self.events)
        return self.events[0]

    def widths(self, gpio):
        found, rose = [], None
        for at, high in self.edges[gpio]:
            if high:
                rose = at
            elif rose is not None:
                found.append(at - rose)
        return found


async def play(image, files):
    from rp2040py.boards import BoardSpec
    from rp2040py.device import MicroPythonDevice

    async with MicroPythonDevice(board=BoardSpec(image=image)) as device:
        for lines in lines_to_write(files):
            _, wrote = await device.aexec(lines, timeout=PATIENCE_S)
            assert wrote == b"", wrote
        await device.ahard_reset(timeout=PATIENCE_S)
        chip = Chip(device)
        await chip.wait_ms(500)
        greeting = await chip.ask("hello")
        assert isinstance(greeting, Greeting)
        assert table.name_of(table.BOARDS, greeting.values["board"]) == "rp2040"
        assert greeting.values["channels"] == 8
        assert greeting.values["free_bytes"] > 50_000
        assert not any(chip.edges.values())
        await chip.ask("silence", hold_ms=10_000, off_ms=60_000)
        for ch in range(1, 9):
            assert isinstance(
                await chip.ask("setup", ch=ch, slew_ns_per_ms=50_000, **SERVO), Reply
            )
        started = await chip.ask("centre", mask=255)
        await chip.wait_ms(started.values["settle_ms"] + 100)
        for gpio in range(8):
            widths = chip.widths(gpio)
            assert widths
            assert max(abs(width - 1_500_000) for width in widths) <= WIDTH_NS
        await chip.ask("hold", p1_ns=1_000_000, p8_ns=2_000_000)
        await chip.wait_ms(150)
        assert chip.widths(0)[-1] == pytest.approx(1_000_000, abs=WIDTH_NS)
        assert chip.widths(7)[-1] == pytest.approx(2_000_000, abs=WIDTH_NS)
        off = await chip.ask("off", mask=255)
        await chip.wait_ms(off.values["off_ms"] + 20)
        for edges in chip.edges.values():
            assert not edges[-1][1]
            edges.clear()
        await chip.wait_ms(100)
        assert not any(chip.edges.values())
        await many_orders(chip)


async def many_orders(chip):
    """Give orders at random; no pulse may be a runt, merged, or come sooner than its frame."""
    rng = random.Random(4)
    frame_hz = 50
    for _ in range(ORDERS):
        draw = rng.random()
        if draw < 0.5:
            some = rng.sample(range(1, 9), rng.randint(1, 8))
            await chip.ask("hold", **{f"p{ch}_ns": rng.randint(900_000, 2_100_000) for ch in some})
        elif draw < 0.8:
            await chip.ask("off", mask=rng.randint(1, 255))
        elif draw < 0.9:
            await chip.ask("centre", mask=rng.randint(1, 255))
        else:
            off = await chip.ask("off", mask=255)
            await chip.wait_ms(off.values["off_ms"] + 5)
            check_pulses(chip, frame_hz)
            frame_hz = rng.choice([50, 60, 100, 200, 333])
            assert isinstance(await chip.ask("frame", frame_hz=frame_hz), Reply)
        await chip.wait_ms(rng.uniform(0, 60))
    off = await chip.ask("off", mask=255)
    await chip.wait_ms(off.values["off_ms"] + 5)
    check_pulses(chip, frame_hz)


def check_pulses(chip, frame_hz):
    for gpio, edges in chip.edges.items():
        assert not edges or not edges[-1][1], gpio
        for width in chip.widths(gpio):
            assert 900_000 - WIDTH_NS <= width <= 2_100_000 + WIDTH_NS, (gpio, width)
        rises = [at for at, high in edges if high]
        for before, after in itertools.pairwise(rises):
            assert after - before >= 1e9 / frame_hz * 0.999, (gpio, before, after)
        edges.clear()


@pytest.mark.slow
def test_the_firmware_on_the_whole_emulated_chip(tmp_path):
    if not IMAGE:
        pytest.skip("no image: name a UF2 file of MicroPython for the RP2040 in HINGELINE_UF2")
    pytest.importorskip("rp2040py", reason="no emulated chip: rp2040py is not installed")
    assert Path(IMAGE).is_file(), f"HINGELINE_UF2 names {IMAGE}, which is no file"
    asyncio.run(play(Path(IMAGE), compiled(tmp_path)))
