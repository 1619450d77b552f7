"""The simulated board: the firmware core itself, run in its own time."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from hingeline.bench.simulated.station import Station

if TYPE_CHECKING:
    from benchboard.core import Core
    from benchboard.pulses import Recorder

_STEP_US = 10_000  # how finely time passes: half a frame
_CLOCK_MASK = 0x3FFFFFFF  # the board's microsecond counter starts again at 2**30
MOST_ALIKE = 16  # boards of one seed
_LAG_S = 0.001  # a board answers within a few milliseconds


class SimulatedTransport:
    """Bytes to and from the firmware core, with modelled servos on its outputs.

    Time stands still between calls and passes as fast as it can be computed; nothing of
    the firmware is skipped: every byte is framed, checked and obeyed by it, and the
    servos see only the pulses that it puts out.

    Parameters
    ----------
    stations : mapping of int to Station
        What stands on each channel of the bench; channels left out drive nothing. Plugs that
        are exchanged in it are exchanged at the board.
    seed : int
        For the board's tokens.
    place : int
        Which of several boards with this seed it is, from 0. Seed and place make its number.
    before : int
        Channels of the bench that are other boards'.
    """

    simulated = True

    def __init__(
        self, stations: Mapping[int, Station], seed: int = 0, place: int = 0, before: int = 0
    ) -> None:
        again = f" (board {place + 1})" if place else ""
        self.name = f"sim:{seed or ''}{again}"
        self.stations = stations
        self._before = before
        self._now_us = 0
        self._inbox = b""
        self._core, self._outputs = _board(
            np.random.default_rng([seed, 0]), seed * MOST_ALIKE + place
        )

    @property
    def pulses_us(self) -> list[float]:
        """The pulse that each channel sends now, in us; 0: none."""
        return [pulse / 1000 for pulse in self._outputs.pulses_ns]

    def write(self, data: bytes) -> None:
        """Hand bytes to the firmware; its answer can be read a moment later."""
        self._pass(_LAG_S)
        self._inbox += self._core.feed(data, self._now_us & _CLOCK_MASK)

    def read(self, timeout_s: float) -> bytes:
        """Return the firmware's answers; without any, the whole time-out passes."""
        if not self._inbox:
            self._pass(timeout_s)
        data, self._inbox = self._inbox, b""
        return data

    def wait(self, seconds: float) -> None:
        """Let the board and the servos work for a while."""
        self._pass(seconds)

    def now_s(self) -> float:
        """Return the simulated time."""
        return self._now_us / 1e6

    def close(self) -> None:
        """Stop the board as its main program does when it ends."""
        self._outputs.close()

    def _pass(self, seconds: float) -> None:
        # Rounded up: however short a wait, time moves on and no loop waits for ever.
        end = self._now_us + max(0, math.ceil(seconds * 1e6))
        while self._now_us < end:
            step = min(_STEP_US, end - self._now_us)
            self._now_us += step
            self._core.tick(self._now_us & _CLOCK_MASK)
            pulses_ns = self._outputs.pulses_ns
            for channel, station in self.stations.items():
                if 0 <= (index := channel - 1 - self._before) < len(pulses_ns):
                    station.advance(pulses_ns[index] / 1000, step / 1e6)


def _board(rng: np.random.Generator, number: int) -> tuple[Core, Recorder]:
    # Imported here and nowhere else on the host: only a simulated bench needs the firmware.
    from benchboard.boards import board_named
    from benchboard.core import Core
    from benchboard.fittings import Fittings
    from benchboard.pulses import Recorder

    board = board_named("simulated")
    outputs = Recorder(board)

    class LoopBack(Fittings):
        """No button, no knob, no divider; a wire from the first channel that gives pulses."""

        probe_step_ns = 16  # two clocks of 125 MHz

        def measure(self) -> int:
            """Return the pulse as the counters of a board round it."""
            pulse_ps = next((1000 * pulse for pulse in outputs.pulses_ns if pulse), 0)
            tick_ps = outputs.tick_ps()
            width_ns = round(pulse_ps / tick_ps) * tick_ps // 1000
            return width_ns // self.probe_step_ns * self.probe_step_ns

    core = Core(
        outputs,
        board,
        lambda: int(rng.integers(1, 1 << 30)),
        "power",
        board_id=number,
        fittings=LoopBack(),
        keep=lambda _settings: None,  # for as long as this bench lives
    )
    return core, outputs
