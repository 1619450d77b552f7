"""A digital level on a surface: it reads against gravity, so its zero is found, not known."""

from __future__ import annotations

import math
from dataclasses import dataclass

from hingeline.errors import TravelError
from hingeline.travel.reading import resolution_u

#: Standard uncertainty with which a surface is held at its neutral, by eye along its trailing
#: edge, in degrees: a quarter of a mm at a chord of 50 mm. Our own choice.
HELD_U_DEG = 0.3


def within_half_turn(angle_deg: float) -> float:
    """Return the same direction between -180 and 180 deg: 359.5 is -0.5.

    A scale of 0 to 360 jumps where the angle does not. No arm and no surface turns further
    than half a turn, so what is meant is never in doubt.

    Raises
    ------
    TravelError
        For more than one whole turn, which no scale shows.
    """
    if not (math.isfinite(angle_deg) and abs(angle_deg) <= 360.0):
        raise TravelError(
            f"{angle_deg:g} deg is more than a whole turn.",
            mend="Read the gauge and its unit again.",
        )
    wrapped = angle_deg - 360.0 * round(angle_deg / 360.0)
    return wrapped + 0.0  # never -0.0


@dataclass(frozen=True)
class Zero:
    """What a level shows while the surface is at neutral.

    Attributes
    ----------
    shown_deg : float
        What it shows there, in degrees.
    sense : int
        1 when the number rises with a positive deflection, else -1.
    u_deg : float
        Standard uncertainty of ``shown_deg``. All readings taken from this zero share it, so
        no number of readings makes it smaller.
    """

    shown_deg: float
    sense: int
    u_deg: float

    def deflection_deg(self, shown_deg: float) -> float:
        """Return the signed deflection at which the level shows so much.

        Raises
        ------
        TravelError
            As for `within_half_turn`.
        """
        turned = within_half_turn(within_half_turn(shown_deg) - within_half_turn(self.shown_deg))
        return self.sense * turned + 0.0

    def shown_at(self, deflection_deg: float) -> float:
        """Return what the level shows at a deflection, between 0 and 360 deg."""
        return (self.shown_deg + self.sense * deflection_deg) % 360.0


def zero_of(shown_deg: float, sense: int, resolution_deg: float) -> Zero:
    """Make the zero of a level from one reading at neutral.

    Parameters
    ----------
    shown_deg : float
        What it showed with the surface held at neutral.
    sense : int
        1 or -1, as in `Zero`.
    resolution_deg : float
        Finest step of the level.
    """
    within_half_turn(shown_deg)  # refuses what no level shows
    return Zero(shown_deg, sense, math.hypot(resolution_u(resolution_deg), HELD_U_DEG))
