"""Where the linkage stops: limits of closing, dead points, and the reach between them.

With (-R, P, Q) as in `hingeline.linkage.loop`, the linkage closes where
W^2 = P^2 + Q^2 - R^2 is not negative. W^2 is a trigonometric polynomial of degree 2 in the
shaft angle, hence a quartic in z = exp(i t), whose roots on the unit circle are all the
places where closing begins or ends: nothing is searched in steps and nothing is missed.
There the rod is in line with the horn. The same roots of the transposed matrix are the
surface angles at which the rod is in line with the arm: the dead points, where the surface
turns back while the shaft goes on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from hingeline.errors import LinkageError
from hingeline.linkage.closure import Linkage, surface_angle
from hingeline.linkage.loop import IN_LINE, Floats

_TURN = 2.0 * np.pi

# A root this near the unit circle is on it. A double root, where the linkage just touches
# its limit, is split by rounding to about the square root of the rounding itself.
_ON_CIRCLE = 1e-6


@dataclass(frozen=True)
class Limits:
    """Two shaft angles, one each side of rest.

    Parameters
    ----------
    low_rad : float
        At or below 0; -inf when there is none within a turn.
    high_rad : float
        At or above 0; inf when there is none within a turn.
    """

    low_rad: float
    high_rad: float


@dataclass(frozen=True)
class Reach:
    """What the surface does over a range of the shaft.

    Parameters
    ----------
    low_rad, high_rad : float
        Extreme surface angles over the whole range, ends included.
    at_low_rad, at_high_rad : float
        Shaft angles at which they occur.
    dead_rad : tuple of float
        Shaft angles inside the range, ascending, at which the surface turns back. Empty
        when the surface follows the shaft one way all along.
    """

    low_rad: float
    high_rad: float
    at_low_rad: float
    at_high_rad: float
    dead_rad: tuple[float, ...]


def closing_limits(matrix: ArrayLike) -> tuple[Floats, Floats]:
    """Find the nearest driver angles each side of rest beyond which linkages do not close.

    Parameters
    ----------
    matrix : array_like, shape (..., 3, 3)
        From `hingeline.linkage.loop.closure_matrix`.

    Returns
    -------
    low, high : ndarray, shape (...)
        Radians; -inf and inf where the driver can turn the whole way round, nan where the
        linkage does not even close at rest. A place where it only touches its limit counts,
        since the branch is undecided there.
    """
    m = np.asarray(matrix, dtype=np.float64)
    low, high = _nearest(_turning_points(m))
    minus_r, p, q = np.moveaxis(m[..., 0, :] + m[..., 1, :], -1, 0)
    broken = ~(np.hypot(p, q) >= np.abs(minus_r))
    return np.where(broken, np.nan, low)[()], np.where(broken, np.nan, high)[()]


def shaft_limits(linkage: Linkage) -> Limits:
    """Find the nearest shaft angles each side of rest beyond which the linkage cannot close.

    Parameters
    ----------
    linkage : Linkage

    Returns
    -------
    Limits

    Raises
    ------
    LinkageError
        If it does not close at rest; the message says which rods would.
    """
    low, high = closing_limits(linkage.matrix)
    if np.isnan(low):
        minus_r, p, q = linkage.matrix[0] + linkage.matrix[1]
        middle, swing = linkage.length_mm**2 + minus_r, np.hypot(p, q)
        shortest, longest = np.sqrt(max(middle - swing, 0.0)), np.sqrt(middle + swing)
        raise LinkageError(
            f"with the arm at centre a rod of {linkage.length_mm:.2f} mm does not reach the "
            f"horn: {shortest:.2f} mm to {longest:.2f} mm would.",
            mend=f"Make the rod {linkage.rest_distance_mm:.2f} mm from hole to hole.",
        )
    return Limits(float(low), float(high))


def dead_points(linkage: Linkage) -> Limits:
    """Find the nearest shaft angles each side of rest at which the surface turns back.

    Parameters
    ----------
    linkage : Linkage

    Returns
    -------
    Limits
        Infinite where closing ends before the surface turns back.

    Raises
    ------
    LinkageError
        If the linkage does not close at rest.
    """
    limits = shaft_limits(linkage)
    dead = _dead_between(linkage, limits)
    return Limits(
        max((angle for angle in dead if angle <= 0.0), default=-np.inf),
        min((angle for angle in dead if angle >= 0.0), default=np.inf),
    )


def reach(linkage: Linkage, shaft_low_rad: float, shaft_high_rad: float) -> Reach:
    """Find how far the surface goes while the shaft runs through a range.

    Parameters
    ----------
    linkage : Linkage
    shaft_low_rad, shaft_high_rad : float
        Ends of the range, low first.

    Returns
    -------
    Reach
        Exact: the surface is extreme at an end or at a dead point.

    Raises
    ------
    LinkageError
        If the range is not one, or the linkage does not close all the way through it.
    """
    if not (
        np.isfinite([shaft_low_rad, shaft_high_rad]).all() and shaft_low_rad <= shaft_high_rad
    ):
        raise LinkageError(
            f"shaft range {np.degrees(shaft_low_rad):g} to {np.degrees(shaft_high_rad):g} deg "
            "is not a range.",
            mend="Give two angles, the lower one first.",
        )
    limits = shaft_limits(linkage)
    for asked, stop in ((shaft_low_rad, limits.low_rad), (shaft_high_rad, limits.high_rad)):
        if not limits.low_rad <= asked <= limits.high_rad:
            raise LinkageError(
                f"the linkage cannot close at a shaft angle of {np.degrees(asked):.1f} deg: "
                f"it stops at {np.degrees(stop):.1f} deg.",
                cause="There the rod is in line with the horn and would force it over.",
                mend="Use a shorter arm hole, a longer horn hole, or less travel.",
            )
    inside = Limits(shaft_low_rad, shaft_high_rad)
    dead = _dead_between(linkage, inside)
    shaft = np.array([shaft_low_rad, *dead, shaft_high_rad])
    surface = surface_angle(linkage, shaft)
    least, most = int(np.argmin(surface)), int(np.argmax(surface))
    return Reach(
        low_rad=float(surface[least]),
        high_rad=float(surface[most]),
        at_low_rad=float(shaft[least]),
        at_high_rad=float(shaft[most]),
        dead_rad=tuple(dead),
    )


def _dead_between(linkage: Linkage, limits: Limits) -> list[float]:
    """List the dead points between two shaft angles, at most a turn from rest, ascending."""
    m = linkage.matrix
    surface = _turning_points(m.T)
    surface = surface[np.isfinite(surface)]
    minus_r, p, q = _row(m.T, surface)
    shaft = np.arctan2(-minus_r * q, -minus_r * p)  # the double root: its acos is 0 or pi
    _, p, q = _row(m, shaft)
    slope = q * np.cos(surface) - p * np.sin(surface)
    at_rest = m[0, 2] + m[1, 2]
    ours = shaft[slope * at_rest > 0.0]  # the others belong to the horn's mirror position
    ours[np.abs(ours) < IN_LINE] = 0.0  # an arm that rests at a dead point is on both sides
    turns = [ours - _TURN, ours, ours + _TURN]
    return sorted(float(a) for a in np.concatenate(turns) if limits.low_rad < a < limits.high_rad)


def _nearest(angles: Floats) -> tuple[Floats, Floats]:
    """Pick along the last axis the nearest angle below and above 0, infinite where none."""
    above = np.mod(angles, _TURN)
    below = above - _TURN
    high = np.min(np.where(np.isnan(above), np.inf, above), axis=-1)
    low = np.max(np.where(np.isnan(below), -np.inf, below), axis=-1)
    return low, high


def _turning_points(m: Floats) -> Floats:
    """Find all driver angles at which W^2 is zero, shape (..., 4); nan for roots elsewhere."""
    signs = np.array([-1.0, 1.0, 1.0])
    s = np.einsum("...ij,...kj,j->...ik", m, m, signs)  # W^2 = x S x, x = (1, cos, sin)
    constant = s[..., 0, 0] + 0.5 * (s[..., 1, 1] + s[..., 2, 2])
    first = s[..., 0, 1] - 1j * s[..., 0, 2]
    second = 0.25 * (s[..., 1, 1] - s[..., 2, 2]) - 0.5j * s[..., 1, 2]
    # z^2 W^2 = second z^4 + first z^3 + constant z^2 + conj(first) z + conj(second)
    size = np.abs(constant) + np.abs(first) + np.abs(second)
    with np.errstate(invalid="ignore", divide="ignore"):
        second = np.where(np.abs(second) > 1e-14 * size, second, 1e-14 * size)
        companion = np.zeros((*m.shape[:-2], 4, 4), dtype=np.complex128)
        for place, entry in enumerate((first, constant, np.conj(first), np.conj(second))):
            companion[..., 0, place] = -entry / second
    companion[..., [1, 2, 3], [0, 1, 2]] = 1.0
    known = np.isfinite(companion).all(axis=(-2, -1), keepdims=True)
    z = np.linalg.eigvals(np.where(known, companion, 0.0))
    return np.where(np.abs(np.abs(z) - 1.0) < _ON_CIRCLE, np.angle(z), np.nan)


def _row(m: Floats, angles: Floats) -> list[Floats]:
    """Give (-R, P, Q) at some driver angles."""
    cos, sin = np.cos(angles), np.sin(angles)
    return [m[..., 0, j] + m[..., 1, j] * cos + m[..., 2, j] * sin for j in range(3)]
