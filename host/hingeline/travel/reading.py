"""One reading of a servo, and its conversion to a shaft angle with its uncertainty.

Shaft angles are positive anticlockwise, looking at the arm. A gauge of resolution r is
read to the nearest mark, so the true value lies anywhere in r around it: a rectangular
distribution of standard deviation r / sqrt(12) (JCGM 100:2008, clause 4.3.7).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from hingeline.chord import Measure, deg_per_mm, throw_deg
from hingeline.errors import TravelError

Approach = Literal["rising", "falling"]
Kind = Literal["shaft", "surface"]

#: Least surface degrees per shaft degree with which the surface still tells the shaft angle;
#: below it half a degree on the gauge is five or more at the arm. Our own choice.
LEAST_RATIO = 0.1


@dataclass(frozen=True)
class Reading:
    """What the gauge said at one pulse.

    Attributes
    ----------
    pulse_us : float
        The pulse, in us.
    approach : {"rising", "falling"}
        Whether the pulse was reached from shorter or from longer pulses.
    angle_deg : float
        Shaft angle, in degrees, anticlockwise positive looking at the arm.
    u_deg : float
        Standard uncertainty of ``angle_deg`` from the gauge alone, in degrees, above 0.
    as_typed : str
        What the person typed; kept for ever, never corrected.
    kind : {"shaft", "surface"}
        Where it was measured: at the arm, or at the surface and converted.
    settled : bool
        False when the arm was still turning; ``angle_deg`` is then a passing value.
    u_common_deg : float
        Standard uncertainty that all readings of this gauge share, such as that of a zero
        which was read itself, or set by hand; in degrees. It does not average out.
    through : str
        Mark of the linkage through which it was converted, the same for the same linkage;
        empty at the arm, or where that is not known.

    Raises
    ------
    TravelError
        For a value that is not finite, a pulse or uncertainty not above 0, or an unknown
        approach.
    """

    pulse_us: float
    approach: Approach
    angle_deg: float
    u_deg: float
    as_typed: str = ""
    kind: Kind = "shaft"
    settled: bool = True
    u_common_deg: float = 0.0
    through: str = ""

    def __post_init__(self) -> None:
        again = "Read the gauge again at this pulse."
        if not (math.isfinite(self.pulse_us) and self.pulse_us > 0):
            raise TravelError(
                f"A reading at a pulse of {self.pulse_us} us cannot be used: "
                "a pulse is a number above 0 us.",
                mend="Give the pulse that was sent.",
            )
        if self.approach not in ("rising", "falling"):
            raise TravelError(
                f'Approach "{self.approach}" at {self.pulse_us:g} us is not known.',
                mend='Use "rising" (from shorter pulses) or "falling" (from longer ones).',
            )
        if not math.isfinite(self.angle_deg):
            raise TravelError(
                f"The reading at {self.pulse_us:g} us is {self.angle_deg}, not a finite angle.",
                mend=again,
            )
        if not (math.isfinite(self.u_deg) and self.u_deg > 0):
            raise TravelError(
                f"The reading at {self.pulse_us:g} us has an uncertainty of {self.u_deg} deg; "
                "it must be above 0.",
                mend="State the gauge's resolution.",
            )
        if not (math.isfinite(self.u_common_deg) and self.u_common_deg >= 0):
            raise TravelError(
                f"The reading at {self.pulse_us:g} us shares an uncertainty of "
                f"{self.u_common_deg} deg; it must be 0 or above.",
                mend="Find the gauge's zero again.",
            )


def resolution_u(resolution: float) -> float:
    """Return the standard uncertainty r / sqrt(12) of a gauge, in the resolution's unit.

    Raises
    ------
    TravelError
        If the resolution is not a finite number above 0.
    """
    if not (math.isfinite(resolution) and resolution > 0):
        raise TravelError(
            f"A gauge resolution of {resolution} is not above 0.",
            mend="Give the smallest step that can be read off the gauge.",
        )
    return resolution / math.sqrt(12.0)


def shaft_reading(
    pulse_us: float,
    approach: Approach,
    angle_deg: float,
    *,
    resolution_deg: float = 0.5,
    as_typed: str = "",
    settled: bool = True,
    u_common_deg: float = 0.0,
) -> Reading:
    """Make a reading of the arm itself, off a protractor of ``resolution_deg``."""
    u_deg = resolution_u(resolution_deg)
    return Reading(pulse_us, approach, angle_deg, u_deg, as_typed, "shaft", settled, u_common_deg)


def surface_reading(
    pulse_us: float,
    approach: Approach,
    surface_deg: float,
    u_surface_deg: float,
    *,
    shaft_of_surface: Callable[[float], float],
    ratio: Callable[[float], float],
    u_common_deg: float = 0.0,
    as_typed: str = "",
    through: str = "",
) -> Reading:
    """Turn a deflection of the surface into a reading of the shaft.

    Parameters
    ----------
    pulse_us : float
        In us.
    approach : {"rising", "falling"}
        As in `Reading`.
    surface_deg : float
        Deflection in degrees, with the sign that ``shaft_of_surface`` expects.
    u_surface_deg : float
        Its standard uncertainty, in degrees.
    shaft_of_surface : callable, rad -> rad
        The linkage backwards: shaft angle for a surface angle; nan where there is none.
    ratio : callable, rad -> float
        The linkage's d(surface)/d(shaft) at a shaft angle.
    u_common_deg : float
        What all readings of this gauge share, in degrees of surface.
    as_typed : str
        What the person typed.
    through : str
        As in `Reading`.

    Returns
    -------
    Reading
        ``u_deg`` is ``u_surface_deg / |ratio|``, and so is what all share.

    Raises
    ------
    TravelError
        If no shaft angle gives this deflection, or the linkage is so near a dead point
        (ratio under `LEAST_RATIO`) that the surface hardly tells where the shaft is.
    """
    shaft_rad = float(shaft_of_surface(math.radians(surface_deg)))
    if not math.isfinite(shaft_rad):
        raise TravelError(
            f"A deflection of {surface_deg:g} deg at {pulse_us:g} us is beyond what the "
            "linkage can reach.",
            cause="Either the reading or the linkage's dimensions are wrong.",
            mend="Read again; then measure arm, horn and rod again.",
        )
    gain = abs(float(ratio(shaft_rad)))
    if not (math.isfinite(gain) and gain >= LEAST_RATIO):
        raise TravelError(
            f"At {pulse_us:g} us ({surface_deg:g} deg of surface) the surface moves only "
            f"{gain:.2f} deg per deg of shaft; {LEAST_RATIO:g} is the least that can be used.",
            cause="The arm is near a dead point, so the surface does not tell where it stands.",
            mend="Read the arm itself here, or leave this pulse out.",
        )
    return Reading(
        pulse_us,
        approach,
        math.degrees(shaft_rad),
        u_surface_deg / gain,
        as_typed,
        "surface",
        u_common_deg=u_common_deg / gain,
        through=through,
    )


def chord_reading(
    pulse_us: float,
    approach: Approach,
    throw_mm: float,
    *,
    chord_mm: float,
    measure: Measure,
    resolution_mm: float,
    shaft_of_surface: Callable[[float], float],
    ratio: Callable[[float], float],
    u_common_mm: float = 0.0,
    as_typed: str = "",
    through: str = "",
) -> Reading:
    """Turn a throw in mm at a chord into a reading of the shaft.

    Parameters
    ----------
    throw_mm : float
        With the sign that ``shaft_of_surface`` expects, in mm.
    chord_mm : float
        Hinge line to trailing edge at the measuring station, in mm.
    measure : {"drop", "straight"}
        How the ruler was held; see `hingeline.chord`.
    resolution_mm : float
        Smallest step read off the ruler, in mm.
    u_common_mm : float
        Standard uncertainty that all readings of this ruler share, in mm.
    pulse_us, approach, shaft_of_surface, ratio, as_typed, through
        As in `surface_reading`.

    Raises
    ------
    UnitError
        If the chord cannot show such a throw.
    TravelError
        As `surface_reading`; also where the ruler is square to the motion and hardly moves.
    """
    surface_deg = throw_deg(throw_mm, chord_mm, measure)
    by_mm = deg_per_mm(surface_deg, chord_mm, measure)
    u_surface_deg = resolution_u(resolution_mm) * by_mm
    if not (math.isfinite(u_surface_deg) and u_surface_deg < 90.0):
        raise TravelError(
            f"{throw_mm:g} mm {measure} at a chord of {chord_mm:g} mm is {surface_deg:.1f} deg, "
            "where the ruler no longer tells the angle.",
            mend="Read degrees here, or measure straight between the two edges.",
        )
    return surface_reading(
        pulse_us,
        approach,
        surface_deg,
        u_surface_deg,
        shaft_of_surface=shaft_of_surface,
        ratio=ratio,
        u_common_deg=u_common_mm * by_mm,
        as_typed=as_typed,
        through=through,
    )
