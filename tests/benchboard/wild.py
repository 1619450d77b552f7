# ruff: noqa: UP031
"""Runs under MicroPython: a thousand random requests to the whole core, pulses on the stand-in.

Time is invented, so that a thousand stops need no real frames. What the strict stand-in would
not let a chip do is a fault and fails the case.
"""

import random

import machine

from benchboard import pulses_pwm, pulses_rp2
from benchboard.boards import board_named
from benchboard.core import Core
from benchboard.pulses_pwm import PwmOutputs
from benchboard.pulses_rp2 import Rp2Outputs
from shared_protocol.host_session import HostSession, Refusal, Reply
from tests.support.cases import equal, run

US = 1000  # ns
ORDERS = 1000


class Clock:
    """Stands in for `time` in the stand-in for the chip and in the pulse files."""

    def __init__(self):
        self.us = 5

    def ticks_us(self):
        return self.us

    def ticks_diff(self, later, earlier):
        return later - earlier

    def sleep_us(self, us):
        self.us += us

    def sleep_ms(self, ms):
        self.us += 1000 * ms


def wild(board, kind, chip):
    random.seed(board.number)
    clock = Clock()
    plain = (machine.time, pulses_pwm.sleep_ms, pulses_pwm.sleep_us, pulses_rp2.sleep_ms)
    machine.time = clock
    pulses_pwm.sleep_ms, pulses_pwm.sleep_us = clock.sleep_ms, clock.sleep_us
    pulses_rp2.sleep_ms = clock.sleep_ms
    try:
        machine.forget(chip)
        play(board, kind(board), clock)
    finally:
        machine.time, pulses_pwm.sleep_ms, pulses_pwm.sleep_us, pulses_rp2.sleep_ms = plain


def play(board, out, clock):
    core = Core(out, board, lambda: random.randrange(1, 1 << 30), now_us=clock.us)
    host = HostSession()
    counts = {"obeyed": 0, "refused": 0, "frame": 0, "off": 0, "hold": 0}

    def ask(word, **values):
        _, data = host.hello(9) if word == "hello" else host.request(word, values)
        (event,) = host.receive(core.feed(data, clock.us & 0x3FFFFFFF))
        if isinstance(event, Refusal):
            counts["refused"] += 1
        else:
            counts["obeyed"] += 1
            counts[word] = counts.get(word, 0) + 1
        return event

    def wait(ms):
        for _ in range(ms):
            clock.us += 1000
            core.tick(clock.us & 0x3FFFFFFF)

    def setup():
        for ch in range(1, 9):
            values = {"low_ns": 600 * US, "high_ns": 2100 * US, "centre_ns": 1500 * US}
            values.update({"ch": ch, "class": 1, "slew_ns_per_ms": 50000})
            equal(isinstance(ask("setup", **values), Reply), True)

    ask("hello")
    ask("silence", hold_ms=5000, off_ms=10000)
    setup()
    for number in range(ORDERS):
        draw = random.random()
        mask = random.randrange(1, 256)
        if draw < 0.4:
            values = {}
            for ch in range(1, 9):
                if mask >> (ch - 1) & 1:
                    values["p%d_ns" % ch] = random.randrange(600 * US, 2100 * US)
            ask("hold", **values)
        elif draw < 0.5:
            ask("sweep", mask=mask, opposed_mask=mask & 15, low_ns=900 * US, high_ns=2000 * US,
                period_ms=400, cycles=random.randrange(3), shape=1 + number % 2)  # fmt: skip
        elif draw < 0.55:
            ask("freeze", mask=mask)
        elif draw < 0.75:
            ask("off", mask=mask)
        elif draw < 0.8:
            ask("centre", mask=mask)
        elif draw < 0.85:
            ask("frame", frame_hz=random.choice((50, 100, 333)))  # mostly refused: something is on
        elif draw < 0.9:
            ask("off", mask=255)
            wait(30)
            ask("frame", frame_hz=random.choice((50, 60, 200, 333)))
        elif draw < 0.92:
            ask("quit")
            wait(30)
            ask("hello")
            setup()
        else:
            ask("beat")
        wait(random.choice((0, 1, 3, 7, 21, 60, 150)))
    equal(min(counts["refused"], counts["frame"], counts["off"], counts["hold"]) > 20, True)
    equal(max(machine.widths().values()) > 0, True)
    out.close()
    equal(max(machine.widths().values()), 0)
    equal(sorted(machine.states().values()).count("low"), 8)


def a_thousand_random_requests_make_no_fault_on_an_rp2():
    wild(board_named("rp2040"), Rp2Outputs, "rp2")


def a_thousand_random_requests_make_no_fault_on_an_esp32():
    wild(board_named("esp32"), PwmOutputs, "esp32")


def a_thousand_random_requests_make_no_fault_on_an_unknown_chip():
    wild(board_named("simulated"), PwmOutputs, "plain")


CASES = (
    a_thousand_random_requests_make_no_fault_on_an_rp2,
    a_thousand_random_requests_make_no_fault_on_an_esp32,
    a_thousand_random_requests_make_no_fault_on_an_unknown_chip,
)

run(CASES)
