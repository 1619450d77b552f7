"""Making a board ready for its servos, bringing channels to life, and back to silence."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

from hingeline.bench.boards import Boards
from hingeline.bench.greeting import USUAL_DEG_PER_US
from hingeline.errors import BenchError
from hingeline.model.checks import USUAL_FRAME_HZ
from hingeline.model.schema import PulseClass, Servo

#: Greatest change of pulse, in us per s: 72 deg/s for a common servo, slow enough to pull
#: the power plug before something bends. Our own choice.
SLEW_US_PER_S = 800
#: After the pulse has arrived: a loaded servo catches up and the surface stops swinging.
REST_S = 0.4
#: Steps of the pulse beyond which a person is told, and beyond which nothing moves. Our own
#: choice: at the second a common servo moves by half a degree or not at all.
COARSE_US, TOO_COARSE_US = 2.0, 5.0


@dataclass(frozen=True)
class Channel:
    """A servo on a channel of the bench.

    Attributes
    ----------
    number : int
        Channel of the bench, from 1.
    label : str
        What hangs on it, for people: "A1, left aileron".
    pulse_class : {"standard", "narrow", "custom"}
        Class of its pulses.
    centre_us : int
        Where it is centred.
    limits_us : tuple of int
        Lowest and highest pulse that it may ever get.
    frame_hz : int
        Frames per second that it may get.
    """

    number: int
    label: str
    pulse_class: PulseClass
    centre_us: int
    limits_us: tuple[int, int]
    frame_hz: int = USUAL_FRAME_HZ


def channel_of(servo: Servo, number: int, label: str) -> Channel:
    """Describe a servo of a model file on its channel."""
    rate = servo.frame_rate_hz or USUAL_FRAME_HZ
    return Channel(number, label, servo.pulse_class, servo.centre_us, servo.pulse_limits_us, rate)


def frame_rate(channels: Sequence[Channel]) -> int:
    """Return the one frame rate that all these servos may get: the lowest of theirs."""
    return min(channel.frame_hz for channel in channels)


def prepare(board: Boards, channels: Sequence[Channel]) -> str:
    """Set the frame rate for servos, and see whether the board is good enough for them.

    The board itself goes back to its own rate when the session ends. Of several boards each
    gets the lowest rate of its own servos.

    Returns
    -------
    str
        What a person should know of the fineness of the pulses; empty when they are fine.

    Raises
    ------
    BenchError
        When the board lacks a channel, or its pulses are too coarse.
    """
    for part in board.parts:
        if not part.info.channels:
            raise _pinless(part)
    have = board.info.channels
    lacking = [channel.number for channel in channels if channel.number > have]
    if lacking:
        many = len(board.parts)
        who = "this board has" if many == 1 else f"these {many} boards have"
        raise BenchError(
            f"{board.port}: there is no channel {lacking[0]}: {who} {have}.",
            mend="Plug the servo into another channel, and say so in the model file; or name a "
            "further board with another --port.",
        )
    told = []
    first = 1
    for part in board.parts:
        numbers = range(first, first + part.info.channels)
        if own := [channel for channel in channels if channel.number in numbers]:
            told.append(_made_ready(part, own))
        first += part.info.channels
    return " ".join(filter(None, told))


def _made_ready(board: Boards, channels: Sequence[Channel]) -> str:
    wanted = frame_rate(channels)
    if board.frame_hz != wanted:
        board.frame_rate(wanted)
    step_us = board.tick_ns / 1000
    text = (
        f"{board.port}: this board sets pulses in steps of {step_us:.2f} us: about "
        f"{step_us * USUAL_DEG_PER_US:.2f} deg of a common servo ({USUAL_DEG_PER_US} deg/us)"
    )
    if step_us > TOO_COARSE_US:
        raise BenchError(
            f"{text}; more than {TOO_COARSE_US:g} us is no bench.",
            mend="Use another board; see hardware/README.md.",
        )
    return f"{text}. No throw can be set more closely." if step_us > COARSE_US else ""


def _pinless(board: Boards) -> BenchError:
    cause = "It does not know which of its pins lead to servos."
    if board.info.started == "pins":
        cause = "Its list of pins, pins.json, is missing, damaged or impossible."
    return BenchError(
        f"{board.port}: this board has no channels.",
        cause=cause,
        mend="Write a pins.json as hardware/README.md says, and put it on the board: "
        f"hingeline board install --port {board.port} --pins pins.json",
    )


@contextmanager
def in_use(board: Boards, channels: Sequence[Channel]) -> Iterator[None]:
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


def go(board: Boards, pulses_us: dict[int, int]) -> None:
    """Go to a pulse on each channel, together, and let everything come to rest."""
    board.hold(pulses_us)
    board.wait(REST_S)
