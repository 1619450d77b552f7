"""The pulse counter of the measuring pin, run by another party's model of the state machines.

The model: package rp2040-pio-emulator. The words it runs are put together by the stand-in for the
port's assembler, from the RP2040 datasheet; what they do is the model's affair.
"""

from __future__ import annotations

import importlib
import random
import sys
from types import ModuleType
from unittest import mock

import pytest

pioemu = pytest.importorskip(
    "pioemu", reason="no model of the state machines: rp2040-pio-emulator is not installed"
)

from tests.support.micropython import MACHINE  # noqa: E402

CLOCK_HZ = 125_000_000
CYCLE_NS = 1e9 / CLOCK_HZ
TOP = 0xFFFFFFFF


@pytest.fixture(scope="module")
def probe():
    clock = ModuleType("time")
    clock.__dict__.update(ticks_us=lambda: 0, ticks_diff=lambda a, b: a - b)
    with mock.patch.dict(sys.modules):
        sys.path.insert(0, str(MACHINE))
        try:
            sys.modules.pop("benchboard.probe_rp2", None)
            sys.modules["time"] = clock
            sys.modules["machine"] = ModuleType("machine")
            return importlib.import_module("benchboard.probe_rp2")
        finally:
            sys.path.remove(str(MACHINE))


def counted(probe, edges):
    """Return what the program hands over first; edges: cycles at which the level changes."""

    def level(clock):
        return sum(clock >= edge for edge in edges) & 1

    machine = pioemu.emulate(
        probe.count_while_high.words,
        stop_when=lambda _, state: len(state.receive_fifo) > 0,
        input_source=level,
        jmp_pin=0,
    )
    *_, (_, last) = machine
    return last.receive_fifo[0]


def test_the_words_are_those_of_the_datasheet(probe):
    # MOV X, ~NULL; WAIT 0 PIN 0; WAIT 1 PIN 0; JMP X--, 4; JMP PIN, 3; MOV ISR, ~X; PUSH noblock;
    # put together by hand from the tables of the RP2040 datasheet, section 3.4
    words = [0xA02B, 0x2020, 0x20A0, 0x0044, 0x00C3, 0xA0C9, 0x8000]
    assert probe.count_while_high.words == words


@pytest.mark.parametrize(("us", "times"), [(3, 20), (40, 6), (500, 1)])
def test_a_pulse_is_measured_to_two_cycles(probe, us, times):
    rng = random.Random(us)
    for _ in range(times):
        start = rng.randrange(40, 90)
        cycles = us * 125 + rng.randrange(125)
        measured = probe.width_ns(counted(probe, (start, start + cycles)), CLOCK_HZ)
        assert abs(measured - cycles * CYCLE_NS) <= probe.CYCLES * CYCLE_NS


def test_every_short_width_gives_the_count_of_its_pair_of_cycles(probe):
    for cycles in range(3, 60):
        assert counted(probe, (20, 20 + cycles)) == (cycles + 1) // 2


@pytest.mark.slow
def test_a_servo_s_longest_pulse_is_measured_to_two_cycles(probe):
    cycles = 2500 * 125 + 61
    measured = probe.width_ns(counted(probe, (30, 30 + cycles)), CLOCK_HZ)
    assert abs(measured - cycles * CYCLE_NS) <= probe.CYCLES * CYCLE_NS


def test_the_rest_of_a_pulse_that_was_there_before_is_not_counted(probe):
    for begun in range(1, 40):
        edges = (-begun, 25, 60, 60 + 100)
        assert counted(probe, edges) == 50


def test_a_count_becomes_nanoseconds_at_any_clock(probe):
    assert probe.width_ns(93750, 125_000_000) == 1_500_000
    assert probe.width_ns(112500, 150_000_000) == 1_500_000
    assert probe.width_ns(1, 125_000_000) == 16
