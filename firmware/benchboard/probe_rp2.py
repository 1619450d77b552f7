"""Pulses measured by a programmable state machine of an RP2 chip, to two clock cycles."""

# ruff: noqa: F821
# mypy: disable-error-code="name-defined"
# The words of the state machine's program below are not names of this file: the assembler of
# the port provides them.

from time import ticks_diff, ticks_us  # type: ignore[attr-defined]

import machine
import rp2

CYCLES = 2  # of one turn round "high" below


@rp2.asm_pio()  # type: ignore[untyped-decorator]
def count_while_high() -> None:
    """Count down from the top while the pin is high; hand over how far it came."""
    mov(x, invert(null))
    wait(0, pin, 0)
    wait(1, pin, 0)
    label("high")
    jmp(x_dec, "look")  # whether or not it was zero: the next instruction follows
    label("look")
    jmp(pin, "high")
    mov(isr, invert(x))
    push(noblock)


def width_ns(count: int, clock_hz: int) -> int:
    """Return the width of a pulse from its count.

    A pulse of 2n - 1 or 2n cycles gives n: the greater is taken.
    """
    return (count * CYCLES * 1000000000 + clock_hz // 2) // clock_hz


class CountingProbe:
    """Measures pulses on one pin.

    Parameters
    ----------
    gpio : int
        The pin.
    patience_us : int
        How long a pulse is waited for.
    """

    def __init__(self, gpio: int, patience_us: int):
        pin = machine.Pin(gpio, machine.Pin.IN, machine.Pin.PULL_DOWN)
        self._patience_us = patience_us
        self._machine = rp2.StateMachine(0, count_while_high, in_base=pin, jmp_pin=pin)
        self.step_ns = width_ns(1, machine.freq())

    def measure(self) -> int:
        """Return the width of the next whole pulse in ns; 0 when none comes."""
        counter = self._machine
        counter.restart()  # from its first instruction: it may have been left in mid-pulse
        while counter.rx_fifo():
            counter.get()
        counter.active(1)
        start_us = ticks_us()
        while not counter.rx_fifo() and ticks_diff(ticks_us(), start_us) < self._patience_us:
            pass
        counter.active(0)
        return width_ns(counter.get(), machine.freq()) if counter.rx_fifo() else 0
