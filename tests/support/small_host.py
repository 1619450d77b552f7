"""The simplest host, for tests of the board's program; and what the chip's stand-in noted."""

from __future__ import annotations

import random
import time
from pathlib import Path
from typing import Any

import serial

from shared_protocol.framing import Damaged
from shared_protocol.host_session import HostSession, Reply

PATIENCE_S = 5.0  # the machine may be busy; no test measures against this
SERVO = {"class": 1, "low_ns": 900_000, "high_ns": 2_100_000, "centre_ns": 1_500_000}
SWEEP = {
    "mask": 3,
    "opposed_mask": 2,
    "low_ns": 1_000_000,
    "high_ns": 2_000_000,
    "period_ms": 1000,
    "cycles": 0,
    "shape": 1,
}


class Client:
    """One request at a time, and it waits for the reply."""

    def __init__(self, path: str) -> None:
        self.port = serial.Serial(path, timeout=0.05, write_timeout=2)
        self.session = HostSession()

    def ask(self, word: str, **values: int) -> Any:
        """Ask, and return the reply, refusal or greeting."""
        if word == "hello":
            _, data = self.session.hello(random.randrange(1, 2**30))
        else:
            _, data = self.session.request(word, values)
        self.port.write(data)
        return self.answer()

    def answer(self) -> Any:
        """Return the next whole answer."""
        give_up = time.monotonic() + PATIENCE_S
        while time.monotonic() < give_up:
            for event in self.session.receive(self.port.read(self.port.in_waiting or 1)):
                if not isinstance(event, Damaged):
                    return event
        raise AssertionError("no answer")

    def setup(self, channels: Any, slew: int = 4000) -> None:
        """Say that standard servos hang on these channels."""
        for ch in channels:
            assert isinstance(self.ask("setup", ch=ch, slew_ns_per_ms=slew, **SERVO), Reply)


def read(pins: Path) -> list[tuple[int, int, int]]:
    """Return the changes of width as (microseconds, pin, width in ns); fail on any fault."""
    changes: list[tuple[int, int, int]] = []
    if not pins.exists():  # nothing has changed yet
        return changes
    for line in pins.read_text(encoding="utf-8").splitlines():
        assert not line.startswith("FAULT"), line
        if line != "RESET":
            at, pin, width = line.split()
            changes.append((int(at), int(pin[2:]), int(width)))
    return changes


def widths(pins: Path) -> dict[int, int]:
    """Return the present width of each pin that ever had one."""
    return {pin: width for _, pin, width in read(pins)}


def states(noted: Path) -> dict[str, str]:
    """Return what each pin is at the end: low, in or pwm."""
    lines = noted.read_text(encoding="utf-8").splitlines()
    return {line.split()[1]: line.split()[2] for line in lines}


def until(condition: Any, seconds: float = PATIENCE_S) -> None:
    """Wait until something is so; fail when that takes too long."""
    give_up = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < give_up
        time.sleep(0.02)
