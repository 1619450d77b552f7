"""One side of a pair, as a radio drives it: pulses in, deflection out.

Signs are the pair's own: positive is towards the surface's first direction (up, left),
whichever way its servo, arm and horn stand, so that two sides match when they are equal.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from hingeline.errors import TravelError
from hingeline.linkage.closure import Floats, ratio, surface_angle
from hingeline.model import words
from hingeline.model.throws import free_travel_deg
from hingeline.travel.curve import TravelCurve
from hingeline.travel.reading import Approach
from hingeline.travel.setting import FREE_MARGIN_DEG, Setting

#: What is reached is said to this many parts of a degree, rounded down.
_PARTS = 100.0


class Side(Protocol):
    """What is matched: a surface behind its linkage, or a bare servo arm."""

    @property
    def name(self) -> str:
        """What it is called."""

    @property
    def centre_us(self) -> float:
        """Pulse that brings it to neutral, in us."""

    def reach_deg(self, way: int) -> float:
        """Return how far it can go, in degrees without sign; ``way`` +1 first, -1 second."""

    def end_us(self, deflection_deg: float) -> int:
        """Return the pulse for a deflection reached from neutral, in whole us."""

    def deflection_deg(self, pulses_us: Floats) -> Floats:
        """Return the deflections at pulses reached from neutral, shape as given."""

    def u_deg(self, pulses_us: Floats) -> Floats:
        """Return their standard uncertainties from the servo's curve, in degrees."""

    def coverage_factor(self) -> float:
        """Return how many standard uncertainties make a 95 % interval."""


@dataclass(frozen=True)
class SurfaceSide:
    """A surface behind its linkage.

    Attributes
    ----------
    setting : Setting
        With a measured curve.
    curve : TravelCurve
        That curve.
    """

    setting: Setting
    curve: TravelCurve

    @property
    def name(self) -> str:
        """The surface's name."""
        return self.setting.surface.name

    @property
    def centre_us(self) -> float:
        """Pulse at which the surface stands at neutral, in us."""
        return self.setting.centre_us

    @property
    def first(self) -> int:
        """The engine's sign of the first direction."""
        surface = self.setting.surface
        return words.sign_of(surface, words.directions(surface)[0])

    def reach_deg(self, way: int) -> float:
        """Return how far servo, linkage and free travel let the surface go that way.

        Parameters
        ----------
        way : int
            +1 towards the first direction, -1 towards the second.
        """
        setting, sign = self.setting, self.first * way
        turn = sign if float(ratio(setting.linkage, 0.0)) > 0 else -sign
        approach: Approach = (
            "rising" if (turn > 0) == (self.curve.rate_deg_per_us > 0) else "falling"
        )
        allowed, servo = setting.allowed_shaft_deg(), self.curve.reach_deg(approach)
        end = min(allowed[1], servo[1]) if turn > 0 else max(allowed[0], servo[0])
        there = sign * math.degrees(float(surface_angle(setting.linkage, math.radians(end))))
        word = words.word_of(setting.surface, sign)
        free = free_travel_deg(setting.surface, word) - FREE_MARGIN_DEG
        return math.floor(max(min(there, free), 0.0) * _PARTS) / _PARTS

    def end_us(self, deflection_deg: float) -> int:
        """Return the pulse for a deflection reached from neutral, in whole us.

        Raises
        ------
        LinkageError, TravelError
            When linkage, servo or free travel do not allow it.
        """
        return self.setting.pulse_us(self.first * deflection_deg)

    def deflection_deg(self, pulses_us: Floats) -> Floats:
        """Return the deflections at pulses reached from neutral, in degrees."""
        shaft = np.radians(self._shaft_deg(pulses_us))
        return np.asarray(self.first * np.degrees(surface_angle(self.setting.linkage, shaft)))

    def u_deg(self, pulses_us: Floats) -> Floats:
        """Return their standard uncertainties, in degrees: the curve's, through the linkage."""
        shaft = np.radians(self._shaft_deg(pulses_us))
        return np.abs(ratio(self.setting.linkage, shaft)) * self.curve.angle_u_deg(pulses_us)

    def coverage_factor(self) -> float:
        """Return how many standard uncertainties make a 95 % interval."""
        return self.curve.coverage_factor(0.95)

    def _shaft_deg(self, pulses_us: Floats) -> Floats:
        above = self.curve.angle_deg(pulses_us, "falling")
        below = self.curve.angle_deg(pulses_us, "rising")
        centre = round(self.centre_us)
        # At neutral the arm may have come from either side.
        middle = (above + below) / 2.0
        shaft = np.where(pulses_us > centre, below, np.where(pulses_us < centre, above, middle))
        return np.asarray(shaft)


@dataclass(frozen=True)
class ArmSide:
    """A servo by itself, with whatever arm it had when it was calibrated.

    Attributes
    ----------
    name : str
        The servo's label.
    curve : TravelCurve
        Its curve; the mean of both directions counts.
    mirrored : bool
        Whether clockwise counts as positive, as for a servo that is mounted as the mirror
        image of its partner.
    """

    name: str
    curve: TravelCurve
    mirrored: bool = False

    @property
    def centre_us(self) -> float:
        """Pulse at which the arm stands at neutral, in us.

        Raises
        ------
        TravelError
            When it does not pass neutral.
        """
        if self.curve.centre_us is None:
            raise TravelError(
                f"servo {self.name} does not reach neutral within its limits.",
                mend="Fit its arm nearer to its place at centre and calibrate again.",
            )
        return self.curve.centre_us

    def reach_deg(self, way: int) -> float:
        """Return how far the arm turns that way, in degrees without sign."""
        low, high = self.curve.reach_deg()
        end = high if way * self._sense > 0 else -low
        return math.floor(max(end, 0.0) * _PARTS) / _PARTS

    def end_us(self, deflection_deg: float) -> int:
        """Return the pulse for a turn of the arm, in whole us."""
        return round(float(self.curve.pulse_us(self._sense * deflection_deg)))

    def deflection_deg(self, pulses_us: Floats) -> Floats:
        """Return the turns of the arm at pulses, in degrees."""
        return self._sense * self.curve.angle_deg(pulses_us)

    def u_deg(self, pulses_us: Floats) -> Floats:
        """Return their standard uncertainties, in degrees."""
        return self.curve.angle_u_deg(pulses_us)

    def coverage_factor(self) -> float:
        """Return how many standard uncertainties make a 95 % interval."""
        return self.curve.coverage_factor(0.95)

    @property
    def _sense(self) -> int:
        return -1 if self.mirrored else 1


@dataclass(frozen=True)
class Radio:
    """What a radio is set to for one side.

    Attributes
    ----------
    centre_us : int
        Pulse at neutral.
    ends_us : tuple of int
        Pulses at full stick towards the first and towards the second direction.
    """

    centre_us: int
    ends_us: tuple[int, int]

    @property
    def first_rises(self) -> bool:
        """Whether the first direction (up, left) needs longer pulses."""
        return self.ends_us[0] > self.ends_us[1]

    def pulses_us(self, ways: ArrayLike) -> Floats:
        """Return the pulses as a radio mixes them: straight from centre to either end.

        Parameters
        ----------
        ways : array_like
            -1 to 1; positive towards the first direction.
        """
        way = np.asarray(ways, dtype=np.float64)
        end = np.where(way >= 0, self.ends_us[0], self.ends_us[1])
        return np.asarray(self.centre_us + np.abs(way) * (end - self.centre_us))
