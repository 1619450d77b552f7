"""The board measures its own pulses: a wire leads from a servo pin to its measuring pin.

Both pins are the same chip's, so its clock is not put to the test: only that the pulses
which leave the pin are those that were asked for.
"""

from __future__ import annotations

import statistics
from dataclasses import dataclass

from hingeline.bench.client import Board
from hingeline.bench.procedures.channels import Channel, in_use

#: From end to end of the widest class.
PULSES_US = (500, 1000, 1500, 2000, 2500)
READINGS = 20
#: A new pulse counts from the next frame on: by then it has surely come.
_FRAMES = 3
#: Servo pins by channel, and the measuring pin, of boards that use their usual pins; held equal
#: to the firmware's own table by a test.
USUAL_PINS = {
    "rp2040": (tuple(f"GP{n}" for n in range(8)), "GP16"),
    "rp2350": (tuple(f"GP{n}" for n in range(8)), "GP16"),
    "esp32": (tuple(f"GPIO{n}" for n in (18, 19, 21, 22, 23, 25, 26, 27)), "GPIO32"),
}


@dataclass(frozen=True)
class Width:
    """One pulse, measured several times.

    Attributes
    ----------
    pulse_us : int
        What was asked for.
    measured_us : tuple of float
        What came.
    """

    pulse_us: int
    measured_us: tuple[float, ...]

    @property
    def error_us(self) -> float:
        """Mean departure."""
        return statistics.fmean(self.measured_us) - self.pulse_us

    @property
    def worst_us(self) -> float:
        """Departure of the reading that is furthest off, with its sign."""
        return max((width - self.pulse_us for width in self.measured_us), key=abs)

    @property
    def jitter_us(self) -> float:
        """Standard deviation."""
        return statistics.stdev(self.measured_us)


@dataclass(frozen=True)
class LoopBack:
    """What the measuring pin saw of one channel.

    Attributes
    ----------
    channel : int
        Its number.
    tick_us : float
        Step in which the board sets pulses.
    step_us : float
        Finest difference that the measuring pin can tell.
    widths : tuple of Width
        In the order of the pulses; ends where no pulse came.
    """

    channel: int
    tick_us: float
    step_us: float
    widths: tuple[Width, ...]

    @property
    def seen(self) -> bool:
        """Whether every pulse came."""
        return len(self.widths) == len(PULSES_US)

    @property
    def allowed_us(self) -> float:
        """What no reading may be off by: rounding to a step, and a step of the measuring."""
        return self.tick_us / 2 + self.step_us

    @property
    def passed(self) -> bool:
        """Whether every reading of every pulse was near enough."""
        # The wire rounds to whole ns.
        return self.seen and all(abs(w.worst_us) <= self.allowed_us + 0.001 for w in self.widths)


def without_servo(number: int) -> Channel:
    """Return a channel on which no servo hangs, so that it may give any pulse."""
    return Channel(number, "no servo", "standard", 1500, (PULSES_US[0], PULSES_US[-1]))


def wire(board: str, channel: int) -> tuple[str, str]:
    """Return the two pins to be joined for a channel, by the usual pins of a kind of board."""
    if board not in USUAL_PINS:
        return f"the servo pin of channel {channel}", "the measuring pin"
    pins, measuring = USUAL_PINS[board]
    return f"{pins[channel - 1]} (channel {channel})", f"{measuring} (the measuring pin)"


def loop_back(board: Board, channel: int) -> LoopBack:
    """Measure pulses of a channel through the wire.

    Raises
    ------
    BenchError
        When the bench fails.
    """
    widths = []
    step_us = 0.0
    with in_use(board, [without_servo(channel)]):
        for pulse_us in PULSES_US:
            board.hold({channel: pulse_us})
            board.wait(_FRAMES / board.frame_hz)
            measured = []
            for _ in range(READINGS):
                width_us, step_us = board.measure(channel)
                measured.append(width_us)
                if not width_us:
                    break
            if not measured[-1]:
                break
            widths.append(Width(pulse_us, tuple(measured)))
    return LoopBack(channel, board.tick_ns / 1000, step_us, tuple(widths))
