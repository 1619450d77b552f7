"""Button, light, knob, supply divider and measuring pin, on the pins that a board names."""

from time import ticks_diff, ticks_us  # type: ignore[attr-defined]

import machine

from .boards import Board
from .fittings import Fittings

try:
    from typing import Any  # the board has no typing; nothing there looks at annotations
except ImportError:
    pass

TWO_FRAMES_US = 41000  # at the slowest rate, 50 Hz, and a little more


class PinFittings(Fittings):
    """What is fitted according to the board's row; a pin that is None is not.

    The analogue inputs are made whether or not the settings use them: settings can change while
    the program runs, and reading takes no heap only when the input is there already.

    Raises
    ------
    ValueError
        When the chip has no such pin, or cannot use it so.
    """

    def __init__(self, board: Board):
        self._button = button_of(board)
        self._light = _light_of(board)
        self._lit = False
        self._knob = _input_of(board.knob_gpio)
        self.has_knob = self._knob is not None
        self._rail = _input_of(board.rail_gpio)
        self._probe = _probe_of(board)
        if self._probe is not None:
            self.probe_step_ns = self._probe.step_ns

    def pressed(self) -> bool:
        """Return whether the button is down at this moment; bounces and all."""
        return self._button is not None and self._button.value() == 0

    def knob(self) -> int:
        """Return what the knob's input reads, 0 to ``FULL``."""
        return self._knob.read_u16() if self._knob is not None else 0

    def rail(self) -> int:
        """Return what the supply divider's input reads, 0 to ``FULL``."""
        return self._rail.read_u16() if self._rail is not None else 0

    def light(self, on: bool) -> None:
        """Switch the light."""
        # Some lights hang on a second chip, and each order to it takes a while.
        if self._light is not None and on != self._lit:
            self._light.value(1 if on else 0)
            self._lit = on

    def measure(self) -> int:
        """Wait for a whole pulse on the measuring pin; return its width in ns, or 0 for none."""
        return self._probe.measure() if self._probe is not None else 0


class TimedProbe:
    """Measures pulses with the interpreter's own time, in whole microseconds."""

    step_ns = 1000

    def __init__(self, gpio: int):
        self._pin = machine.Pin(gpio, machine.Pin.IN, machine.Pin.PULL_DOWN)

    def measure(self) -> int:
        """Return the width of the next whole pulse in ns; 0 when none comes."""
        start_us = ticks_us()
        while self._pin.value():  # part of a pulse is not a pulse
            if ticks_diff(ticks_us(), start_us) > TWO_FRAMES_US:
                return 0
        width_us = machine.time_pulse_us(self._pin, 1, TWO_FRAMES_US)
        return width_us * 1000 if width_us > 0 else 0


def button_of(board: Board) -> "Any":
    """Return the button's pin, high while it is not pressed; None where there is none."""
    if board.button_gpio is None:
        return None
    return machine.Pin(board.button_gpio, machine.Pin.IN, machine.Pin.PULL_UP)


def _light_of(board: Board) -> "Any":
    if board.light is None:
        return None
    try:
        return machine.Pin(board.light, machine.Pin.OUT, value=0)
    except Exception:
        if isinstance(board.light, int):
            raise
        return None  # a board whose port knows no light of that name, or cannot reach it


def _input_of(gpio: int | None) -> "Any":
    if gpio is None:
        return None
    widest = getattr(machine.ADC, "ATTN_11DB", None)
    if widest is None:
        return machine.ADC(machine.Pin(gpio))
    # Without it the ESP32 reads its full value already at about a third of its supply.
    return machine.ADC(machine.Pin(gpio), atten=widest)


def _probe_of(board: Board) -> "Any":
    if board.probe_gpio is None:
        return None
    if board.family == "rp2":
        from .probe_rp2 import CountingProbe  # needs a module that only that port has

        return CountingProbe(board.probe_gpio, TWO_FRAMES_US)
    return TimedProbe(board.probe_gpio)
