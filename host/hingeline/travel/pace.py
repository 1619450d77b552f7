"""How long a calibration may take, and how many readings that leaves time for."""

from __future__ import annotations

from collections.abc import Callable

#: Seconds that a reading is thought to take before any was timed. Our own choice.
USUAL_PACE_S = 15.0


class Budget:
    """Time for readings, measured as they are taken.

    Parameters
    ----------
    minutes : float
        What there is, from now on.
    now_s : callable
        A clock that never goes back, in seconds: of the person, not of a simulated bench.
    """

    def __init__(self, minutes: float, now_s: Callable[[], float]) -> None:
        self._now_s = now_s
        self._start_s = now_s()
        self._whole_s = 60.0 * minutes
        self._taken = 0

    def count(self) -> None:
        """Note that a reading was taken."""
        self._taken += 1

    @property
    def pace_s(self) -> float:
        """Seconds for one reading, with all that belongs to it."""
        if self._taken == 0:
            return USUAL_PACE_S
        return (self._now_s() - self._start_s) / self._taken

    def room(self) -> int:
        """Return for how many more readings there is time."""
        left_s = self._whole_s - (self._now_s() - self._start_s)
        # However quick: a reading takes a moment.
        return max(0, int(left_s / max(self.pace_s, 1e-3)))

    def needed_min(self, readings: int) -> float:
        """Return how many minutes so many readings would take."""
        return readings * self.pace_s / 60.0
