"""Hinge moment of the air on a surface: thin-aerofoil theory, and an upper estimate.

*Linear* estimate. Glauert's thin aerofoil with a plain flap, hinged at the flap's nose:

    H = (b1 alpha + b2 eta) 1/2 rho V^2 S c

with S the area and c the chord of the surface aft of the hinge. It is exact for a thin, sealed
surface of great span at small angles. Real surfaces at small deflections have less: the
theory is commonly 1.4 to 1.6 times what wind tunnels measure on a thick section (wartime
NACA series on the 0009 section with a 30 % flap, from memory). Beyond about 15 to 20 deg the
flow leaves the surface, the theory does not hold and may give too little.

*Upper* estimate. The surface taken as a flat plate by itself in the stream, at its deflection,
with the flow fully separated, and the pressure even over the plate so that its centre is at half
chord (it lies ahead of that until the plate stands broadside). A wing ahead of the hinge
only takes load off the surface: b2 grows in size with the surface's part of the chord, and is
largest without any wing. Where the linear estimate is the larger, that is taken.
An estimate, no bound: gusts, sideslip and flutter are not in it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from hingeline.errors import LinkageError
from hingeline.linkage.loop import Floats

#: Density of air at sea level in the International Standard Atmosphere (ISO 2533), kg/m^3.
SEA_LEVEL_KG_M3 = 1.225
#: Deflection beyond which the linear estimate is not to be trusted, in degrees.
LINEAR_UP_TO_DEG = 15.0
#: How many times too large the linear estimate commonly is at small deflections.
OVER_ESTIMATE = (1.4, 1.6)
# Below this the closed forms lose their digits to rounding; no surface is so narrow.
_LEAST_PART = 0.001
# Normal force on a flat plate in separated flow, 1 / (0.222 + 0.283 / sin a), which is 1.98
# broadside: S. F. Hoerner, Fluid-Dynamic Drag, 1965, chapter 3 (read as quoted by others).
_PLATE = (0.222, 0.283)
_CENTRE_OF_PRESSURE = 0.5


@dataclass(frozen=True)
class FlapSlopes:
    """What a plain flap adds to a thin aerofoil.

    Attributes
    ----------
    incidence : float
        b1, hinge-moment coefficient per radian of incidence. Negative: turned into the
        wind.
    deflection : float
        b2, hinge-moment coefficient per radian of deflection. Negative: turned back.
    lift : float
        a2, lift coefficient of the whole aerofoil per radian of deflection.
    """

    incidence: float
    deflection: float
    lift: float


def plain_flap(part: float) -> FlapSlopes:
    """Give the hinge-moment and lift slopes of a plain flap on a thin aerofoil.

    Parameters
    ----------
    part : float
        E, chord of the surface aft of its hinge over the whole chord, 0.001 to 1; at 1 the
        whole aerofoil turns about its leading edge.

    Raises
    ------
    LinkageError
        For any other ``part``.

    Notes
    -----
    E. L. Houghton & P. W. Carpenter, Aerodynamics for Engineering Students, 5th ed., section
    4.5.1, after H. Glauert, ARC R&M 1095 (1927). The angle p used here is pi less the book's
    phi: cos p = 1 - 2 E.
    """
    if not _LEAST_PART <= part <= 1.0:
        raise LinkageError(
            f"a surface of {part:g} of the whole chord is outside {_LEAST_PART:g} to 1.",
            mend="Check chord and whole_chord.",
        )
    p = math.acos(1.0 - 2.0 * part)
    cos, sin, sin_twice = math.cos(p), math.sin(p), math.sin(2.0 * p)
    incidence = 2.0 * p * (2.0 * cos + 1.0) - 4.0 * sin - sin_twice
    deflection = (1.0 - math.cos(2.0 * p)) - 2.0 * p * p * (1.0 + 2.0 * cos) + 4.0 * p * sin
    square = part * part
    return FlapSlopes(
        incidence=incidence / (4.0 * square),
        deflection=-deflection / (4.0 * math.pi * square),
        lift=2.0 * (p + sin),
    )


@dataclass(frozen=True)
class Airload:
    """The air on one surface at one speed.

    Attributes
    ----------
    part : float
        E, chord of the surface over the whole chord.
    area_chord_m3 : float
        Area of the surface aft of the hinge times its chord, in m^3.
    airspeed_m_s : float
    density_kg_m3 : float
    """

    part: float
    area_chord_m3: float
    airspeed_m_s: float
    density_kg_m3: float = SEA_LEVEL_KG_M3

    @property
    def unit_nm(self) -> float:
        """Hinge moment at a coefficient of 1, in N m."""
        return 0.5 * self.density_kg_m3 * self.airspeed_m_s**2 * self.area_chord_m3

    def linear_nm(self, deflection_rad: ArrayLike, incidence_rad: float = 0.0) -> Floats:
        """Estimate the hinge moment by thin-aerofoil theory.

        Parameters
        ----------
        deflection_rad : array_like, shape (...)
        incidence_rad : float
            Of the wing or tail, in the sense in which the deflection counts positive.

        Returns
        -------
        ndarray, shape (...)
            In N m, in the sense of the deflection: negative against a positive one.
        """
        slopes = plain_flap(self.part)
        deflection = np.asarray(deflection_rad, dtype=np.float64)
        moment: Floats = self.unit_nm * (
            slopes.incidence * incidence_rad + slopes.deflection * deflection
        )
        return moment

    def upper_nm(self, deflection_rad: ArrayLike) -> Floats:
        """Estimate the hinge moment on the high side, at zero incidence.

        Parameters
        ----------
        deflection_rad : array_like, shape (...)
            From -pi/2 to pi/2.

        Returns
        -------
        ndarray, shape (...)
            As `linear_nm`.
        """
        deflection = np.asarray(deflection_rad, dtype=np.float64)
        sine = np.abs(np.sin(deflection))
        force = sine / (_PLATE[0] * sine + _PLATE[1])
        plate = self.unit_nm * _CENTRE_OF_PRESSURE * force
        linear = np.abs(self.linear_nm(deflection))
        moment: Floats = -np.sign(deflection) * np.maximum(plate, linear)
        return moment
