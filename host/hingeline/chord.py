"""Degrees of throw to millimetres at a chord, and back.

Two measurements are in use and both are right, for what they measure:

- *drop*: square to the neutral plane, ``c sin d``: a ruler held upright;
- *straight*: from the neutral to the deflected trailing edge, ``2 c sin(d/2)``: a ruler
  laid between the two points.

(Elementary trigonometry; the chord is the distance from hinge line to trailing edge at
the measuring station.)
"""

from __future__ import annotations

import math
from typing import Literal

from hingeline.errors import UnitError

Measure = Literal["drop", "straight"]


def throw_mm(angle_deg: float, chord_mm: float, measure: Measure) -> float:
    """Return the throw in mm for a deflection in degrees; the sign is kept.

    Raises
    ------
    UnitError
        For a chord that is not greater than zero, or an angle beyond 90 degrees
        (drop) or 180 degrees (straight), where the measurement folds back.
    """
    _check_chord(chord_mm)
    most_deg = 90.0 if measure == "drop" else 180.0
    if not abs(angle_deg) <= most_deg:
        raise UnitError(
            f"{angle_deg:g} deg cannot be measured as {measure}: the limit is {most_deg:g} deg.",
            mend="Check the angle.",
        )
    angle = math.radians(angle_deg)
    if measure == "drop":
        return chord_mm * math.sin(angle)
    return 2.0 * chord_mm * math.sin(angle / 2.0)


def throw_deg(distance_mm: float, chord_mm: float, measure: Measure) -> float:
    """Return the deflection in degrees for a throw in mm; the sign is kept.

    Raises
    ------
    UnitError
        For a chord that is not greater than zero, or a distance longer than the
        chord can show (c as drop, 2 c straight).
    """
    _check_chord(chord_mm)
    most_mm = chord_mm if measure == "drop" else 2.0 * chord_mm
    if not abs(distance_mm) <= most_mm:
        raise UnitError(
            f"{distance_mm:g} mm {measure} is more than a chord of {chord_mm:g} mm can show "
            f"({most_mm:g} mm).",
            mend="Check the distance and the chord at the measuring station.",
        )
    if measure == "drop":
        return math.degrees(math.asin(distance_mm / chord_mm))
    return math.degrees(2.0 * math.asin(distance_mm / (2.0 * chord_mm)))


def deg_per_mm(angle_deg: float, chord_mm: float, measure: Measure) -> float:
    """Return how many degrees one mm is worth at ``angle_deg`` (for uncertainties)."""
    _check_chord(chord_mm)
    half = 1.0 if measure == "drop" else 2.0
    slope = math.cos(math.radians(angle_deg) / half)
    return math.degrees(1.0 / (chord_mm * slope)) if slope > 0 else math.inf


def _check_chord(chord_mm: float) -> None:
    if not (chord_mm > 0 and math.isfinite(chord_mm)):
        raise UnitError(
            f"A chord of {chord_mm:g} mm is not greater than zero.",
            mend="Measure from the hinge line to the trailing edge, at the measuring station.",
        )
