"""Bringing a channel to life, and back to silence."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

from hingeline.bench.client import Board
from hingeline.model.schema import PulseClass, Servo

#: Greatest change of pulse, in us per s: 72 deg/s for a common servo, slow enough to pull
#: the power plug before something bends. Our own choice.
SLEW_US_PER_S = 800
#: After the pulse has arrived: a loaded servo catches up and the surface stops swinging.
REST_S = 0.4


@dataclass(frozen=True)
class Channel:
    """A servo on a channel of the bench.

    Attributes
    ----------
    number : int
        Channel of the bench, from 1.
    label : str
        What hangs on it, for people: "A1, left aileron".
    pulse_class : {"standard", "narrow"}
        Class of its pulses.
    centre_us : int
        Where it is centred.
    limits_us : tuple of int
        Lowest and highest pulse that it may ever get.
    """

    number: int
    label: str
    pulse_class: PulseClass
    centre_us: int
    limits_us: tuple[int, int]


def channel_of(servo: Servo, number: int, label: str) -> Channel:
    """Describe a servo of a model file on its channel."""
    return Channel(number, label, servo.pulse_class, servo.centre_us, servo.pulse_limits_us)


@contextmanager
def in_use(board: Board, channels: Sequence[Channel]) -> Iterator[None]:
    """Set channels up; whatever happens inside, switch them off at the end."""
    for channel in channels:
        board.setup(
            channel.number,
            pulse_class=channel.pulse_class,
            limits_us=channel.limits_us,
            centre_us=channel.centre_us,
            slew_us_per_s=SLEW_US_PER_S,
        )
    try:
        yield
    finally:
        board.off([channel.number for channel in channels])


def go(board: Board, pulses_us: dict[int, int]) -> None:
    """Go to a pulse on each channel, together, and let everything come to rest."""
    board.hold(pulses_us)
    board.wait(REST_S)
