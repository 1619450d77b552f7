"""A chip model under the board's pulse files: what the RP2 port of MicroPython does to registers.

The model of the RP2040's pulse counters, pins and clock is that of the package rp2040py. This
file stands between: a `machine` whose Pin, PWM and mem32 write to the model's registers what
``ports/rp2/machine_pwm.c`` of MicroPython (as of the releases with twelve slices for the RP2350,
1.24 and after) and ``machine_pin.c`` write, in the same order and with the same rounding.

Where the model is known to be simpler than the chip:

- A fractional divider counts evenly; on the chip single counts are one clock longer by turns, so
  an edge may be up to one clock (8 ns) off.
- A counter that is enabled takes waiting widths and wrap at once; what the chip does then is not
  said in its datasheet. Nothing here depends on it: no pin is routed while a counter is enabled.
"""

from __future__ import annotations

import importlib
import random
import sys
from dataclasses import dataclass
from types import ModuleType
from typing import Any
from unittest import mock

from rp2040py.gpio_pin import FUNCTION_PWM, FUNCTION_SIO, GPIOPinState
from rp2040py.rp2040 import RP2040

IO_BANK0, PWM_BASE, SIO = 0x40014000, 0x40050000, 0xD0000000
CSR, DIV, CTR, CC, TOP = 0x00, 0x04, 0x08, 0x0C, 0x10
TOP_MAX = 65534
DUTY_NOT_SET, DUTY_U16, DUTY_NS = 0, 1, 2


@dataclass(frozen=True)
class Pulse:
    """One pulse at a pin: when it rose, and how long it was high, both in ns."""

    at_ns: float
    width_ns: float


class Chip:
    """The model, its clock, and what is seen at its pins."""

    def __init__(self) -> None:
        self.model = RP2040()
        # Out of reset, as the port's own start leaves it.
        self.model.pwm.reset()
        self.edges: dict[int, list[tuple[float, bool]]] = {n: [] for n in range(30)}
        for number in range(30):
            self.model.gpio[number].add_listener(self._listener(number))
        self.port = Port(self)

    def _listener(self, number: int) -> Any:
        def note(state: GPIOPinState, before: GPIOPinState) -> None:
            if state == GPIOPinState.HIGH or before == GPIOPinState.HIGH:
                self.edges[number].append((self.now_ns, state == GPIOPinState.HIGH))

        return note

    @property
    def now_ns(self) -> float:
        """The time since the model was made."""
        return float(self.model.clock.nanos)

    def wait_us(self, us: float) -> None:
        """Let the clock run on."""
        self.model.clock.tick(us * 1000)

    def is_high(self, gpio: int) -> bool:
        """Return the level at a pin."""
        return bool(self.model.gpio[gpio].value == GPIOPinState.HIGH)

    def pulses(self, gpio: int) -> list[Pulse]:
        """Return the whole pulses that were seen at a pin."""
        found, rose = [], None
        for at, high in self.edges[gpio]:
            if high:
                rose = at
            elif rose is not None:
                found.append(Pulse(rose, at - rose))
                rose = None
        return found

    def forget(self) -> None:
        """Forget all edges seen so far."""
        for edges in self.edges.values():
            edges.clear()


class Port:
    """The state that the port keeps beside the registers, and what its functions write."""

    def __init__(self, chip: Chip) -> None:
        self.chip = chip
        self.read, self.write = chip.model.read_uint32, chip.model.write_uint32
        self.outputs = [[DUTY_NOT_SET, 0] for _ in range(16)]  # kind of duty, duty
        self.freq_set = [False] * 8

    def soft_reset(self) -> None:
        """Do what a start without a reset does: the loop stops slices 0 to 3, two by two."""
        for n in range(8):
            self.freq_set[n] = False
            self.enable(n // 2, False)

    def register(self, number: int, name: int) -> int:
        return PWM_BASE + 0x14 * number + name

    def enable(self, number: int, on: bool) -> None:
        csr = self.read(self.register(number, CSR))
        self.write(self.register(number, CSR), csr | 1 if on else csr & ~1)

    def start(self, index: int, deferred: bool) -> None:
        number = index // 2
        if not deferred and self.freq_set[number] and self.outputs[index][0] != DUTY_NOT_SET:
            csr = self.read(self.register(number, CSR))
            self.write(self.register(number, CSR), csr & ~0xC)  # polarity: not inverted
            self.enable(number, True)

    def level(self, index: int, count: int) -> None:
        shift = 16 * (index & 1)
        cc = self.read(self.register(index // 2, CC))
        self.write(self.register(index // 2, CC), cc & ~(0xFFFF << shift) | count << shift)

    def set_ns(self, index: int, ns: int, deferred: bool = False) -> None:
        clock_hz = self.chip.model.clk_sys
        div16 = self.read(self.register(index // 2, DIV))
        slice_hz = (16 * clock_hz + div16 // 2) // div16
        count = ((ns & 0xFFFFFFFFFFFFFFFF) * slice_hz + 500000000) // 1000000000 & 0xFFFFFFFF
        top = self.read(self.register(index // 2, TOP))
        self.level(index, min(count, top + 1))
        self.outputs[index] = [DUTY_NS, ns]
        self.start(index, deferred)

    def set_u16(self, index: int, duty: int, deferred: bool = False) -> None:
        top = self.read(self.register(index // 2, TOP))
        self.level(index, (min(duty, 65535) * (top + 1) + 65535 // 2) // 65535)
        self.outputs[index] = [DUTY_U16, duty]
        self.start(index, deferred)

    def set_freq(self, index: int, freq: int, deferred: bool = False) -> None:
        clock_hz = self.chip.model.clk_sys
        if (clock_hz + freq // 2) // freq < TOP_MAX:
            div16, top = 16, (clock_hz + freq // 2) // freq - 1
        else:
            div16 = -(-16 * clock_hz // (TOP_MAX * freq))
            top = (16 * clock_hz + div16 * freq // 2) // (div16 * freq) - 1
        if not 16 <= div16 < 256 * 16:
            raise ValueError("freq too large or too small")
        self.write(self.register(index // 2, DIV), div16)
        self.write(self.register(index // 2, TOP), top)
        self.freq_set[index // 2] = True
        for one in (index, index ^ 1):
            kind, duty = self.outputs[one]
            if kind == DUTY_NS:
                self.set_ns(one, duty, deferred)
            elif kind == DUTY_U16:
                self.set_u16(one, duty, deferred)

    def route(self, gpio: int, function: int) -> None:
        self.write(IO_BANK0 + 8 * gpio + 4, function)


def machine_of(chip: Chip) -> ModuleType:
    """Return a `machine` module that works this chip."""
    port = chip.port

    class Pin:
        IN, OUT, PULL_UP = 0, 1, 1

        def __init__(self, gpio: int, mode: int | None = None, value: int | None = None) -> None:
            self.gpio = gpio
            if mode is not None:
                self.init(mode, value=value)

        def init(self, mode: int, _pull: int | None = None, value: int | None = None) -> None:
            bit = 1 << self.gpio
            if value is not None:
                port.write(SIO + (0x14 if value else 0x18), bit)
            if mode == Pin.OUT:
                port.write(SIO + 0x24, bit)
                port.route(self.gpio, FUNCTION_SIO)

        def value(self) -> int:
            return int(chip.is_high(self.gpio))

    class PWM:
        def __init__(
            self,
            pin: Pin,
            freq: int | None = None,
            duty_u16: int | None = None,
            duty_ns: int | None = None,
        ) -> None:
            self.index = 2 * ((pin.gpio >> 1) & 7) + (pin.gpio & 1)
            port.outputs[self.index][0] = DUTY_NOT_SET
            if freq is not None:
                port.set_freq(self.index, freq, deferred=True)
            if duty_u16 is not None:
                port.set_u16(self.index, duty_u16, deferred=True)
            if duty_ns is not None:
                port.set_ns(self.index, duty_ns, deferred=True)
            port.start(self.index, deferred=False)
            port.route(pin.gpio, FUNCTION_PWM)

        def freq(self, hz: int) -> None:
            port.set_freq(self.index, hz)

        def duty_ns(self, ns: int) -> None:
            if not isinstance(ns, int):
                raise TypeError("can't convert to int")
            port.set_ns(self.index, ns)

        def deinit(self) -> None:
            port.enable(self.index // 2, False)

    class Memory:
        def __getitem__(self, address: int) -> int:
            return int(port.read(address))

        def __setitem__(self, address: int, value: int) -> None:
            port.write(address, value)

    module = ModuleType("machine")
    module.__dict__.update(Pin=Pin, PWM=PWM, mem32=Memory(), freq=lambda: int(chip.model.clk_sys))
    return module


def load(chip: Chip, *names: str) -> list[ModuleType]:
    """Import files of the board anew, on this chip and its clock."""
    clock = ModuleType("time")
    clock.__dict__.update(
        sleep_ms=lambda ms: chip.wait_us(1000 * ms), sleep_us=lambda us: chip.wait_us(us)
    )
    machine = machine_of(chip)
    hardware = ("pulses_pwm", "pulses_rp2", "resets_rp2")
    with mock.patch.dict(sys.modules):
        for name in hardware:
            sys.modules.pop(f"benchboard.{name}", None)
        importlib.import_module("benchboard.pulses")
        sys.modules["machine"] = machine
        sys.modules["time"] = clock
        return [importlib.import_module(f"benchboard.{name}") for name in names]


def random_phase(chip: Chip, rng: random.Random, most_us: float) -> None:
    """Let the clock run on to a moment that nothing on the chip is in step with."""
    chip.wait_us(rng.uniform(0, most_us))
