"""Whether servos may get the frames that a board keeps for all of them."""

from __future__ import annotations

from collections.abc import Mapping

from hingeline.bench.keeping import Kept
from hingeline.cli.models import ModelFile
from hingeline.errors import BenchError
from hingeline.model.checks import USUAL_FRAME_HZ


def check_rate(
    rate_hz: int,
    file: ModelFile | None,
    channels: Mapping[int, Kept | None],
    *,
    said_digital: bool,
) -> None:
    """Refuse to give servos more frames than they are said to be made for.

    Parameters
    ----------
    rate_hz : int
        Frames per second that the board will keep.
    file : ModelFile or None
        Where the servos are described, all of which are meant; None: ``channels`` tells.
    channels : mapping of int to Kept or None
        What will be kept for channels.
    said_digital : bool
        The user said that every servo on the board is digital. A model file is not overruled.

    Raises
    ------
    BenchError
        Naming the servo, the rate that it would get and what to do.
    """
    if rate_hz <= USUAL_FRAME_HZ:
        return
    lower = f'Lower it: --frame-rate "{USUAL_FRAME_HZ} Hz"'
    if file is None:
        number = next((number for number, what in channels.items() if what is not None), None)
        if number is not None and not said_digital:
            raise _too_many(
                rate_hz,
                f"the servo on channel {number}, which is not said to be digital",
                f'{lower}; or say that every servo is digital: --frame-rate "{rate_hz} Hz" '
                "--digital",
            )
        return
    for surface in file.model.surfaces:
        servo = file.model.servo_of(surface)
        named = f"servo {surface.servo} on channel {surface.channel}"
        if not servo.digital:
            raise _too_many(
                rate_hz,
                f"{named}, which is not said to be digital",
                f"{lower}; or, when its maker says so, write digital = true for {surface.servo} "
                f"in {file.path}.",
            )
        if servo.frame_rate_hz is not None and servo.frame_rate_hz < rate_hz:
            raise _too_many(
                rate_hz,
                f"{named}, which takes {servo.frame_rate_hz} Hz at most",
                f'Lower it: --frame-rate "{servo.frame_rate_hz} Hz" --digital',
            )


def _too_many(rate_hz: int, servo: str, mend: str) -> BenchError:
    return BenchError(
        f"with {rate_hz} frames per second on this board, they would go to {servo}.",
        cause="More frames per second than the usual 50 heat servos that are not made for them.",
        mend=mend,
    )
