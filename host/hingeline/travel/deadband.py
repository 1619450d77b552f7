"""The dead band of a servo, by small steps back: which is the least that moves it.

Dead band is the range through which the pulse may be varied, upon reversal of direction,
without an observable change of the arm (the term of ISA-51.1): what the electronics ignore
and what the play of the gears swallows, together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from hingeline.errors import TravelError
from hingeline.travel.reading import resolution_u

#: Largest step that is tried: a servo that ignores more is no servo for a control surface.
#: Common practice, no source: good ones ignore 2 to 5 us.
MOST_US = 40


@dataclass(frozen=True)
class Threshold:
    """The least step that moves, from one side.

    Attributes
    ----------
    still_us : int
        Largest step at which the arm stood still; 0: none did.
    moved_us : int
        Smallest step at which it moved.
    """

    still_us: int
    moved_us: int

    @property
    def middle_us(self) -> float:
        """Best estimate, half-way between the two."""
        return (self.still_us + self.moved_us) / 2.0

    @property
    def u_us(self) -> float:
        """Standard uncertainty: anywhere between the two is as likely (rectangular)."""
        return resolution_u(self.moved_us - self.still_us)


class Staircase:
    """Closes in on the least step that moves: each answer halves what is left.

    Parameters
    ----------
    finest_us : int
        Smallest step that the board can make; all steps are multiples of it.
    most_us : int
        Largest step to be tried.
    """

    def __init__(self, finest_us: int = 1, most_us: int = MOST_US) -> None:
        self._finest_us = finest_us
        self._still = 0  # both counted in finest steps
        self._moved = most_us // finest_us + 1

    @property
    def next_us(self) -> int | None:
        """The step to try next; None when nothing is left between still and moved."""
        if self._moved - self._still <= 1:
            return None
        return (self._still + self._moved) // 2 * self._finest_us

    def answer(self, moved: bool) -> None:
        """Take what the last step did."""
        step_us = self.next_us
        if step_us is None:
            raise ValueError("nothing was left to ask")
        if moved:
            self._moved = step_us // self._finest_us
        else:
            self._still = step_us // self._finest_us

    def threshold(self, most_us: int = MOST_US) -> Threshold:
        """Return what was found.

        Raises
        ------
        TravelError
            When not even the largest step moved the arm.
        """
        moved_us = self._moved * self._finest_us
        if moved_us > most_us:
            raise TravelError(
                f"The arm did not move by a step of {self._still * self._finest_us} us back.",
                cause="So much is ignored by no servo fit for a control surface; or it had no "
                "power, or the arm was not watched closely.",
                mend="Check supply and lead, fix a long pointer to the arm, and try again.",
            )
        return Threshold(self._still * self._finest_us, moved_us)


@dataclass(frozen=True)
class DeadBand:
    """The dead band at one pulse, from both sides.

    Attributes
    ----------
    pulse_us : int
        Where it was found.
    back_down, back_up : Threshold
        After a rising pulse, steps down; after a falling one, steps up.
    rate_deg_per_us, rate_deg_per_us_u : float
        Of the servo there; the uncertainty is 0 for a maker's figure.
    """

    pulse_us: int
    back_down: Threshold
    back_up: Threshold
    rate_deg_per_us: float
    rate_deg_per_us_u: float = 0.0

    @property
    def dead_band_us(self) -> float:
        """Mean of both sides, in us."""
        return (self.back_down.middle_us + self.back_up.middle_us) / 2.0

    @property
    def dead_band_us_u(self) -> float:
        """Its standard uncertainty: by the last steps, or by how the sides differ if that is more.

        Of two values the mean has the standard deviation ``|difference| / 2``.
        """
        by_steps = math.hypot(self.back_down.u_us, self.back_up.u_us) / 2.0
        differ = abs(self.back_down.middle_us - self.back_up.middle_us) / 2.0
        return max(by_steps, differ)

    @property
    def dead_band_deg(self) -> float:
        """The same as an angle of the arm, in degrees."""
        return abs(self.rate_deg_per_us) * self.dead_band_us

    @property
    def dead_band_deg_u(self) -> float:
        """Its standard uncertainty, in degrees."""
        return math.hypot(
            self.rate_deg_per_us * self.dead_band_us_u,
            self.rate_deg_per_us_u * self.dead_band_us,
        )
