"""Throw in degrees and throw in mm at a chord station, both ways.

Two measurements are in use and neither is an arc or a tangent. The drop is taken square
to the surface's neutral plane, the straight throw with a ruler from where the edge stands
in neutral to where it stands deflected:

    drop = c sin d        straight = 2 c sin(d / 2)

with c the chord from the hinge line to the edge at the measuring station. Degrees are the
same everywhere along a tapered surface; mm are not, so each goes with its chord. Signs are
kept: a throw the other way is negative in degrees and in mm.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hingeline.errors import LinkageError

Floats = NDArray[np.float64]


def drop_mm(throw_deg: ArrayLike, chord_mm: ArrayLike) -> Floats:
    """Convert a throw to the edge's distance from the neutral plane.

    Parameters
    ----------
    throw_deg : array_like, shape (...)
        From -90 to 90: beyond that the drop grows smaller again.
    chord_mm : array_like, shape (...)
        Hinge line to edge at the measuring station, above 0.

    Returns
    -------
    ndarray, shape (...)
        In mm, with the sign of the throw.

    Raises
    ------
    LinkageError
        If the chord is not above 0, or the throw is outside its range or not finite.
    """
    throw, chord = _throw(throw_deg, 90.0, "a drop"), _chord(chord_mm)
    return chord * np.sin(np.radians(throw))


def straight_mm(throw_deg: ArrayLike, chord_mm: ArrayLike) -> Floats:
    """Convert a throw to the straight distance between neutral and deflected edge.

    Parameters
    ----------
    throw_deg : array_like, shape (...)
        From -180 to 180.
    chord_mm : array_like, shape (...)
        Hinge line to edge at the measuring station, above 0.

    Returns
    -------
    ndarray, shape (...)
        In mm, with the sign of the throw.

    Raises
    ------
    LinkageError
        If the chord is not above 0, or the throw is outside its range or not finite.
    """
    throw, chord = _throw(throw_deg, 180.0, "a straight measurement"), _chord(chord_mm)
    return 2.0 * chord * np.sin(0.5 * np.radians(throw))


def deg_from_drop(drop: ArrayLike, chord_mm: ArrayLike) -> Floats:
    """Convert a drop to degrees.

    Parameters
    ----------
    drop : array_like, shape (...)
        In mm; at most the chord, either way.
    chord_mm : array_like, shape (...)
        Hinge line to edge at the measuring station, above 0.

    Returns
    -------
    ndarray, shape (...)
        In degrees, with the sign of the drop.

    Raises
    ------
    LinkageError
        If the chord is not above 0, or the drop is more than the chord or not finite.
    """
    chord = _chord(chord_mm)
    measured = _measured(drop, chord, "drop", "the chord itself")
    return np.degrees(np.arcsin(measured / chord))


def deg_from_straight(straight: ArrayLike, chord_mm: ArrayLike) -> Floats:
    """Convert a straight measurement to degrees.

    Parameters
    ----------
    straight : array_like, shape (...)
        In mm; at most twice the chord, either way.
    chord_mm : array_like, shape (...)
        Hinge line to edge at the measuring station, above 0.

    Returns
    -------
    ndarray, shape (...)
        In degrees, with the sign of the measurement.

    Raises
    ------
    LinkageError
        If the chord is not above 0, or the measurement is more than twice the chord or not
        finite.
    """
    chord = _chord(chord_mm)
    measured = _measured(straight, 2.0 * chord, "straight throw", "twice the chord")
    return 2.0 * np.degrees(np.arcsin(measured / (2.0 * chord)))


def _chord(chord_mm: ArrayLike) -> Floats:
    chord = np.asarray(chord_mm, dtype=np.float64)
    bad = ~(np.isfinite(chord) & (chord > 0.0))
    if bad.any():
        raise LinkageError(
            f"chord {chord[bad].flat[0]:g} mm must be a number above 0 mm.",
            mend="Measure from the hinge line to the edge where the throw is measured.",
        )
    return chord


def _throw(throw_deg: ArrayLike, limit_deg: float, by: str) -> Floats:
    throw = np.asarray(throw_deg, dtype=np.float64)
    bad = ~(np.abs(throw) <= limit_deg)
    if bad.any():
        raise LinkageError(
            f"throw {throw[bad].flat[0]:g} deg cannot be told by {by}: "
            f"the limit is {limit_deg:g} deg either way.",
            mend="Check the throw, or give it in degrees.",
        )
    return throw


def _measured(value_mm: ArrayLike, limit_mm: Floats, what: str, limit_is: str) -> Floats:
    value, limit = np.broadcast_arrays(np.asarray(value_mm, dtype=np.float64), limit_mm)
    bad = ~(np.abs(value) <= limit)
    if bad.any():
        raise LinkageError(
            f"{what} {value[bad].flat[0]:g} mm is not possible: the limit is "
            f"{limit[bad].flat[0]:g} mm, {limit_is}.",
            mend="Check the measurement, and that the chord was taken at the same station.",
        )
    return value
