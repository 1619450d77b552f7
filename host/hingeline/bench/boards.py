"""What procedures and commands ask of the bench: one board, or several in a row."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager
from typing import TYPE_CHECKING, Protocol

from hingeline.bench.greeting import BoardInfo

if TYPE_CHECKING:
    from hingeline.bench.client import Board


class Boards(Protocol):
    """One greeted board, or several whose channels are numbered through.

    :class:`~hingeline.bench.client.Board` and :class:`~hingeline.bench.row.Row` are such; what
    each request does is said there.
    """

    @property
    def info(self) -> BoardInfo:
        """What it says of itself; the channels of several boards are summed."""

    @property
    def frame_hz(self) -> int:
        """Frames per second now; of several boards the least."""

    @property
    def tick_ns(self) -> float:
        """Finest step of a pulse now; of several boards the coarsest."""

    @property
    def simulated(self) -> bool:
        """Whether the bench behind it is simulated."""

    @property
    def port(self) -> str:
        """Name of the port, or of all ports."""

    @property
    def parts(self) -> tuple[Board, ...]:
        """The boards, in the order of their channels."""

    def setup(
        self,
        channel: int,
        *,
        pulse_class: str,
        limits_us: tuple[int, int],
        centre_us: int,
        slew_us_per_s: int,
    ) -> None:
        """Say what servo is on a channel."""

    def hold(self, pulses_us: Mapping[int, int], *, ramp_s: float | None = None) -> None:
        """Go to a pulse on each channel, and wait until they are there."""

    def centre(self, channels: Sequence[int], *, ramp_s: float | None = None) -> None:
        """Go to each channel's centre, and wait until they are there."""

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
        """Start a sweep."""

    def steps(
        self,
        channels: Sequence[int],
        pulses_us: Sequence[int],
        dwell_s: float,
        *,
        lag_s: float = 0.0,
    ) -> float:
        """Start a list of pulses; return how long it lasts, in seconds."""

    def freeze(self, channels: Sequence[int]) -> None:
        """Stop where they are and hold."""

    def off(self, channels: Sequence[int]) -> None:
        """Stop the pulses, and wait until the pins are released."""

    def frame_rate(self, frame_hz: int) -> None:
        """Set the frame rate; every channel must be off."""

    def silence(self, *, hold_s: float, off_s: float) -> None:
        """Say how long the host may be silent."""

    def state(self, channel: int) -> dict[str, int]:
        """Return what one channel is doing."""

    def moving(self) -> bool:
        """Show that the host is there; return whether any channel has still to change."""

    def measure(self, channel: int) -> tuple[float, float]:
        """Measure one pulse of a channel: width and finest step, in us."""

    def wait(self, seconds: float) -> None:
        """Let time pass, and show that the host is there."""

    def attended(self) -> AbstractContextManager[None]:
        """Keep it assured while something else takes its time."""

    def close(self) -> None:
        """Switch every channel off and give the port back."""
