"""Several boards as one: their channels are numbered through, and they stop together."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from types import TracebackType

from hingeline.bench.assuring import assured
from hingeline.bench.client import BEAT_S, LATE_S, Board
from hingeline.bench.greeting import BoardInfo
from hingeline.errors import BenchError, LostError

#: How a board that was started in an ordinary way says so; whatever else one says goes first.
_ORDINARY = ("unknown", "power", "button", "soft")


class Row:
    """Greeted boards in a row: with two of 8 channels, channel 9 is the second's channel 1.

    Offers what a :class:`Board` offers to procedures. A request goes to each board that it
    concerns; whenever one of them refuses or fails, all are switched off. Once one is lost,
    nothing more is asked of any.

    Parameters
    ----------
    boards : sequence of Board
        In the order of their channels; closed again by :meth:`close`.

    Raises
    ------
    BenchError
        When one fails at once, or real and simulated boards are mixed.
    """

    def __init__(self, boards: Sequence[Board]) -> None:
        if len({board.simulated for board in boards}) > 1:
            raise BenchError(
                "real and simulated boards cannot work together.",
                mend="Name either kind with --port.",
            )
        self._boards = tuple(boards)
        self._lost: LostError | None = None
        # Each board has its own clock, and the first were silent while the last were greeted.
        self._began_s = [board.now_s() for board in self._boards]
        for board in self._boards:
            with self._together(board):
                board.refresh()

    def __enter__(self) -> Row:
        return self

    def __exit__(
        self,
        _type: type[BaseException] | None,
        _value: BaseException | None,
        _trace: TracebackType | None,
    ) -> None:
        self.close()

    @property
    def parts(self) -> tuple[Board, ...]:
        """The boards, in the order of their channels."""
        return self._boards

    @property
    def info(self) -> BoardInfo:
        """What they say of themselves: channels summed, numbers and versions side by side."""
        infos = [board.info for board in self._boards]
        unusual = [info.started for info in infos if info.started not in _ORDINARY]
        return replace(
            infos[0],
            board=_listed(info.board for info in infos),
            firmware=_listed(info.firmware for info in infos),
            channels=sum(info.channels for info in infos),
            tick_ns=max(info.tick_ns for info in infos),
            frame_hz=min(info.frame_hz for info in infos),
            started=unusual[0] if unusual else infos[0].started,
            board_id=" ".join(info.board_id for info in infos),
        )

    @property
    def frame_hz(self) -> int:
        """Frames per second now, of the slowest."""
        return min(board.frame_hz for board in self._boards)

    @property
    def tick_ns(self) -> float:
        """Finest step of a pulse now, of the coarsest."""
        return max(board.tick_ns for board in self._boards)

    @property
    def simulated(self) -> bool:
        """Whether the bench behind it is simulated."""
        return self._boards[0].simulated

    @property
    def port(self) -> str:
        """Names of the ports."""
        return ", ".join(board.port for board in self._boards)

    def close(self) -> None:
        """Switch every channel off and give the ports back, also of boards that are gone."""
        with contextlib.ExitStack() as closing:
            for board in self._boards:
                closing.callback(board.close)

    # -- requests ----------------------------------------------------------------------

    def setup(
        self,
        channel: int,
        *,
        pulse_class: str,
        limits_us: tuple[int, int],
        centre_us: int,
        slew_us_per_s: int,
    ) -> None:
        """Say what servo is on a channel; nothing is sent to it yet."""
        board, number = self._place(channel)
        with self._together(board):
            board.setup(
                number,
                pulse_class=pulse_class,
                limits_us=limits_us,
                centre_us=centre_us,
                slew_us_per_s=slew_us_per_s,
            )

    def hold(self, pulses_us: Mapping[int, int], *, ramp_s: float | None = None) -> None:
        """Go to a pulse on each channel, and wait until all are there."""
        seconds = 0.0
        for board, channels in self._shared(pulses_us):
            pulses = {number: pulses_us[channel] for channel, number in channels.items()}
            with self._together(board):
                seconds = max(seconds, board.begin_hold(pulses, ramp_s=ramp_s))
        self._arrive(seconds, pulses_us)

    def centre(self, channels: Sequence[int], *, ramp_s: float | None = None) -> None:
        """Go to each channel's centre and wait until all are there."""
        seconds = 0.0
        for board, numbers in self._shared(channels):
            with self._together(board):
                took_s = board.begin_centre(list(numbers.values()), ramp_s=ramp_s)
            seconds = max(seconds, took_s)
        self._arrive(seconds, channels)

    def sweep(
        self,
        channels: Sequence[int],
        *,
        opposed: Sequence[int] = (),
        ends_us: tuple[int, int],
        period_s: float,
        cycles: int,
        shape: str,
        lag_s: float = 0.0,
    ) -> None:
        """Start a sweep, the boards one right after the other; for the rest as a board does."""
        for board, numbers in self._one_after_other(channels, lag_s):
            with self._together(board):
                board.sweep(
                    list(numbers.values()),
                    opposed=[numbers[one] for one in opposed if one in numbers],
                    ends_us=ends_us,
                    period_s=period_s,
                    cycles=cycles,
                    shape=shape,
                    lag_s=lag_s,
                )

    def steps(
        self,
        channels: Sequence[int],
        pulses_us: Sequence[int],
        dwell_s: float,
        *,
        lag_s: float = 0.0,
    ) -> float:
        """Start a list of pulses; return how long it still lasts, in seconds."""
        end_s = 0.0
        for board, numbers in self._one_after_other(channels, lag_s):
            with self._together(board):
                lasts_s = board.steps(list(numbers.values()), pulses_us, dwell_s, lag_s=lag_s)
            end_s = max(end_s, self._now_s() + lasts_s)
        return max(0.0, end_s - self._now_s())

    def freeze(self, channels: Sequence[int]) -> None:
        """Stop where they are and hold."""
        for board, numbers in self._shared(channels):
            with self._together(board):
                board.freeze(list(numbers.values()))

    def off(self, channels: Sequence[int]) -> None:
        """Stop the pulses, and wait until the pins are released."""
        for board, numbers in self._shared(channels):
            with self._together(board):
                board.off(list(numbers.values()))

    def frame_rate(self, frame_hz: int) -> None:
        """Set the frame rate of all boards; every channel must be off."""
        for board in self._boards:
            with self._together(board):
                board.frame_rate(frame_hz)

    def silence(self, *, hold_s: float, off_s: float) -> None:
        """Say how long the host may be silent before motion stops, and before pulses stop."""
        for board in self._boards:
            with self._together(board):
                board.silence(hold_s=hold_s, off_s=off_s)

    def state(self, channel: int) -> dict[str, int]:
        """Return what one channel is doing, as the table of the wire lists it."""
        board, number = self._place(channel)
        with self._together(board):
            return board.state(number)

    def moving(self) -> bool:
        """Show all boards that the host is there; return whether any channel has to change."""
        moving = False
        for board in self._boards:
            with self._together(board):
                moving = board.moving() or moving
        return moving

    def measure(self, channel: int) -> tuple[float, float]:
        """Measure one pulse of a channel that holds, at the measuring pin of its board."""
        board, number = self._place(channel)
        with self._together(board):
            return board.measure(number)

    # -- time --------------------------------------------------------------------------

    def wait(self, seconds: float) -> None:
        """Let time pass on all boards alike, and show them that the host is there."""
        end = self._now_s() + seconds
        while (left := end - self._now_s()) > 0:
            self._rest(min(left, BEAT_S))
            if left > BEAT_S:
                self.moving()

    @contextlib.contextmanager
    def attended(self) -> Iterator[None]:
        """Keep the boards assured while something else, such as a person, takes its time."""
        if self.simulated:
            yield
            return
        with assured(self.moving, BEAT_S):
            yield

    # -- within ------------------------------------------------------------------------

    def _now_s(self) -> float:
        """Return the time of the board whose clock is furthest on.

        On a simulated bench a request takes time on one board alone; the others catch up in
        the next wait.
        """
        return max(
            board.now_s() - began_s
            for board, began_s in zip(self._boards, self._began_s, strict=True)
        )

    def _rest(self, seconds: float) -> None:
        end = self._now_s() + seconds
        for board, began_s in zip(self._boards, self._began_s, strict=True):
            if (left := began_s + end - board.now_s()) > 0:
                with self._together(board):
                    board.rest(left)

    def _arrive(self, seconds: float, channels: Iterable[int]) -> None:
        self.wait(seconds)
        end = self._now_s() + LATE_S
        for board, numbers in self._shared(channels):
            while self._now_s() < end:
                with self._together(board):
                    if board.arrived(numbers.values()):
                        break
                self._rest(LATE_S / 20)

    def _place(self, channel: int) -> tuple[Board, int]:
        """Return the board of a channel, and the channel's number there."""
        number = channel
        for board in self._boards:
            if 1 <= number <= board.info.channels:
                return board, number
            number -= board.info.channels
        raise BenchError(
            f"there is no channel {channel}: these {len(self._boards)} boards have "
            f"{self.info.channels}.",
            mend="Name a further board with another --port.",
        )

    def _shared(self, channels: Iterable[int]) -> list[tuple[Board, dict[int, int]]]:
        """Return the boards concerned, each with its channels: number in the row to its own."""
        found: dict[int, dict[int, int]] = {}
        for channel in channels:
            board, number = self._place(channel)
            found.setdefault(self._boards.index(board), {})[channel] = number
        return [(self._boards[index], found[index]) for index in sorted(found)]

    def _one_after_other(
        self, channels: Sequence[int], lag_s: float
    ) -> Iterator[tuple[Board, dict[int, int]]]:
        """Yield the boards concerned, each when the lag of those before it has passed."""
        began = self._now_s()
        before = 0
        for board, numbers in self._shared(channels):
            self.wait(began + before * lag_s - self._now_s())
            yield board, numbers
            before += len(numbers)

    @contextlib.contextmanager
    def _together(self, board: Board) -> Iterator[None]:
        """Switch all boards off when what is asked of one of them fails, and say which."""
        if self._lost is not None:
            raise self._lost
        try:
            yield
        except BenchError as error:
            gone = isinstance(error, LostError)
            others = [one for one in self._boards if one is not board]
            deaf = list(_deaf(others if gone else self._boards))
            failed = _of(board, error, deaf)
            if isinstance(failed, LostError):
                self._lost = failed
            raise failed from None


def _deaf(boards: Iterable[Board]) -> Iterator[Board]:
    """Switch all channels off; yield the boards that did not answer."""
    for board in boards:
        try:
            board.off(range(1, board.info.channels + 1))
        except BenchError:
            yield board


def _of(board: Board, error: BenchError, deaf: Sequence[Board]) -> BenchError:
    """Return an error of one board of the row, with what became of the others."""
    message = error.message
    if not message.startswith(f"{board.port}: "):
        message = f"{board.port}: {message}"
    others = "All other boards were switched off."
    if deaf:
        silent = ", ".join(one.port for one in deaf)
        others = f"All others were told to switch off; {silent} did not answer: see that it did."
    cause = " ".join(filter(None, (error.cause, others)))
    return type(error)(message, cause=cause, mend=error.mend)


def _listed(words: Iterable[str]) -> str:
    """Join what differs, in order."""
    return " ".join(dict.fromkeys(words))
