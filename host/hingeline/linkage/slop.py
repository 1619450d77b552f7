"""Free play of joints and gears, as it shows at the trailing edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from hingeline.linkage.closure import Floats, Linkage, surface_angle
from hingeline.linkage.levers import levers
from hingeline.model.schema import Servo, Surface

_POINTS = 361


@dataclass(frozen=True, eq=False)
class Slop:
    """Whole free play of a surface, from one side to the other, at some shaft angles.

    Attributes
    ----------
    joints_rad, gears_rad : ndarray, shape (...)
        What the rod's two ends and the servo's gears leave to the surface.
    total_rad : ndarray, shape (...)
        Their sum, which is what a gauge shows.
    drop_mm : ndarray, shape (...)
        The same at the trailing edge, square to the neutral plane.
    """

    joints_rad: Floats
    gears_rad: Floats
    total_rad: Floats
    drop_mm: Floats


@dataclass(frozen=True)
class SlopAt:
    """Whole free play of a surface at one shaft angle.

    Attributes
    ----------
    shaft_deg, surface_deg : float
        Where, in the engine's signs.
    joints_deg : float
        Of the rod's two ends.
    gears_deg : float or None
        Of the servo's gears; None when their play is not known.
    total_deg : float
        What is known of both.
    drop_mm : float
        The same at the trailing edge, square to the neutral plane.
    """

    shaft_deg: float
    surface_deg: float
    joints_deg: float
    gears_deg: float | None
    total_deg: float
    drop_mm: float


@dataclass(frozen=True)
class SurfaceSlop:
    """Free play of one surface.

    Attributes
    ----------
    neutral, worst : SlopAt
        With the shaft at zero, and where the play is largest in degrees.
    missing : tuple of str
        What is not counted, as sentences to be shown with the figures.
    """

    neutral: SlopAt
    worst: SlopAt
    missing: tuple[str, ...]


def slop(
    linkage: Linkage,
    shaft_rad: ArrayLike,
    *,
    play_mm: float,
    gear_play_rad: float,
    chord_mm: float,
) -> Slop:
    """Turn play of joints and gears into play of the surface.

    Parameters
    ----------
    linkage : Linkage
    shaft_rad : array_like, shape (...)
    play_mm : float
        Along the rod, of both ends together, from one side to the other.
    gear_play_rad : float
        At the arm, from one side to the other.
    chord_mm : float
        From hinge line to trailing edge.

    Returns
    -------
    Slop
        nan where the linkage does not close, infinite where rod and horn are in line.

    Notes
    -----
    To first order in the play, which is small: a play p along the rod turns the horn
    through p over its effective lever, and the gears' play reaches it times the ratio.
    """
    lever = levers(linkage, shaft_rad)
    with np.errstate(divide="ignore"):
        per_mm = 1.0 / np.abs(lever.horn_mm)
    joints = play_mm * per_mm
    gears = gear_play_rad * np.abs(lever.arm_mm) * per_mm
    total = joints + gears
    half = np.minimum(total, np.pi) / 2.0
    # sin(d + h) - sin(d - h): exact, whatever the deflection d.
    drop = 2.0 * chord_mm * np.cos(surface_angle(linkage, shaft_rad)) * np.sin(half)
    return Slop(joints, gears, total, drop)


def surface_slop(
    surface: Surface, servo: Servo, linkage: Linkage, shaft_low_rad: float, shaft_high_rad: float
) -> SurfaceSlop:
    """Work out the free play of a surface from the model file.

    Parameters
    ----------
    surface, servo : Surface, Servo
    linkage : Linkage
    shaft_low_rad, shaft_high_rad : float
        Shaft angles of the two throws, within which the linkage closes.
    """
    known = servo.gear_play_deg is not None
    shaft = np.append(np.linspace(shaft_low_rad, shaft_high_rad, _POINTS), 0.0)
    found = slop(
        linkage,
        shaft,
        play_mm=surface.rod.play_mm,
        gear_play_rad=np.radians(servo.gear_play_deg or 0.0),
        chord_mm=surface.chord_mm,
    )
    deflection = surface_angle(linkage, shaft)

    def at(place: int) -> SlopAt:
        return SlopAt(
            shaft_deg=float(np.degrees(shaft[place])),
            surface_deg=float(np.degrees(deflection[place])),
            joints_deg=float(np.degrees(found.joints_rad[place])),
            gears_deg=float(np.degrees(found.gears_rad[place])) if known else None,
            total_deg=float(np.degrees(found.total_rad[place])),
            drop_mm=float(found.drop_mm[place]),
        )

    missing = []
    if not known:
        missing.append(
            f"The play of the gears is not counted: gear_play of servo {surface.servo} "
            "is not given."
        )
    if surface.rod.play_mm == 0.0:
        missing.append("The rod's ends are taken as free of play: rod.play is 0 or not given.")
    return SurfaceSlop(at(-1), at(int(np.nanargmax(found.total_rad))), tuple(missing))


def cable_slack_mm(first_mm: float, second_mm: float, turn_rad: ArrayLike) -> Floats:
    """Give the slack between two cables that pull by turns on unequal levers.

    Parameters
    ----------
    first_mm, second_mm : float
        Levers of the two cables on the same arm or horn; at the other end they are equal.
    turn_rad : array_like, shape (...)
        From square to the cables.

    Returns
    -------
    ndarray, shape (...)
        In mm, never negative: what one cable gives and the other does not take up, so 0 for
        equal levers. The cables are taken as long.
    """
    turn = np.asarray(turn_rad, dtype=np.float64)
    slack: Floats = abs(first_mm - second_mm) * np.abs(np.sin(turn))
    return slack
