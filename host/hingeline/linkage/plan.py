"""What the holes, teeth and mounting of one surface give: throws, reach and warnings."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from hingeline.linkage.closure import Linkage, shaft_angle, surface_angle
from hingeline.linkage.limits import shaft_limits
from hingeline.linkage.mounting import lean_deg, mounted, tooth_deg
from hingeline.model import throws, words
from hingeline.model.schema import Servo, Surface

#: Differences of throw below this are called even: finer than a builder can measure.
EVEN_DEG = 0.3
# Places looked at between neutral and the end of the servo's travel.
_POINTS = 181


@dataclass(frozen=True)
class Way:
    """One direction of a surface.

    Attributes
    ----------
    wanted_deg : float
        The throw asked for, without sign.
    shaft_deg : float or None
        Shaft angle that gives it, counter-clockwise positive looking at the arm; None
        when the linkage cannot give it.
    reach_deg : float or None
        Deflection at the end of the servo's travel on this side; None when the linkage
        locks before.
    peak_deg : float
        Greatest deflection on this side anywhere within the servo's travel: more than
        ``reach_deg`` where the surface turns back before the travel ends.
    free_deg : float
        How far the bare surface moves.
    """

    wanted_deg: float
    shaft_deg: float | None
    reach_deg: float | None
    peak_deg: float
    free_deg: float


@dataclass(frozen=True)
class SurfacePlan:
    """What one surface's linkage does.

    Attributes
    ----------
    arm_mm, horn_mm : float
        Radii of the chosen holes.
    lean_deg : float
        Lean of the arm from square, positive ahead.
    rod_mm : float
        From hole to hole.
    ways : dict of str to Way
        By direction word.
    locks_deg : tuple of float
        Shaft angles each side of neutral beyond which the linkage cannot close;
        infinite when there is none.
    bias_deg : float
        How much further the surface goes in its first direction (up, left) than in the
        other, for equal turns of the servo both ways.
    warnings : tuple of str
        What a builder must know before cutting wire.
    """

    arm_mm: float
    horn_mm: float
    lean_deg: float
    rod_mm: float
    ways: dict[str, Way]
    locks_deg: tuple[float, float]
    bias_deg: float
    warnings: tuple[str, ...]


def plan_surface(surface: Surface, servo: Servo, travel_deg: tuple[float, float]) -> SurfacePlan:
    """Work out one surface for the holes, tooth and mounting in the model file.

    Parameters
    ----------
    surface, servo : Surface, Servo
        As in the model file, with both holes chosen.
    travel_deg : tuple of float
        Lowest and highest shaft angle at the servo's pulse limits.

    Raises
    ------
    ModelError, LinkageError
        When the mounting makes no linkage.
    """
    linkage = mounted(surface, servo)
    limits = shaft_limits(linkage)
    locks = (math.degrees(limits.low_rad), math.degrees(limits.high_rad))
    ways = {word: _way(surface, linkage, word, travel_deg) for word in words.directions(surface)}
    bias = _bias_deg(surface, linkage, ways, travel_deg)
    return SurfacePlan(
        arm_mm=float(surface.arm.holes_mm[(surface.arm.hole or 1) - 1]),
        horn_mm=float(surface.horn.holes_mm[(surface.horn.hole or 1) - 1]),
        lean_deg=lean_deg(surface, servo),
        rod_mm=linkage.length_mm,
        ways=ways,
        locks_deg=locks,
        bias_deg=bias,
        warnings=tuple(_warnings(surface, servo, ways, locks, travel_deg, bias)),
    )


def lean_in_words(surface: Surface, servo: Servo) -> str:
    """Say how the arm leans: "square", or teeth, degrees and which way."""
    lean = lean_deg(surface, servo)
    part = f" on arm {surface.arm.part_arm} of {servo.arm_count}" if servo.arm_count > 1 else ""
    if abs(lean) < 1e-9:
        return f"square to the rod{part}"
    way = "AWAY from the hinge line" if lean > 0 else "TOWARDS the hinge line"
    return f"leaning {lean_size(lean, servo)} {way}{part}"


def lean_size(angle_deg: float, servo: Servo) -> str:
    """Say how large a lean is: in whole teeth where it is that, and in degrees."""
    teeth = abs(angle_deg) / tooth_deg(servo)
    if abs(teeth - round(teeth)) > 1e-9:
        return f"{abs(angle_deg):.1f} deg"
    plural = "tooth" if round(teeth) == 1 else "teeth"
    return f"{round(teeth)} {plural} ({abs(angle_deg):.1f} deg)"


def _way(surface: Surface, linkage: Linkage, word: str, travel_deg: tuple[float, float]) -> Way:
    sign = words.sign_of(surface, word)
    wanted = throws.throw_deg(surface, word)
    shaft = math.degrees(float(shaft_angle(linkage, math.radians(sign * wanted))))
    # The servo's end on the side that moves the surface this way.
    ends = [math.degrees(float(surface_angle(linkage, math.radians(end)))) for end in travel_deg]
    forward = math.degrees(float(surface_angle(linkage, math.radians(1.0)))) > math.degrees(
        float(surface_angle(linkage, math.radians(-1.0)))
    )
    side = 1 if forward == (sign > 0) else 0
    end = ends[side]
    passed = surface_angle(linkage, np.radians(np.linspace(0.0, travel_deg[side], _POINTS)))
    return Way(
        wanted_deg=wanted,
        shaft_deg=None if math.isnan(shaft) else shaft,
        reach_deg=None if math.isnan(end) else sign * end,
        peak_deg=float(np.nanmax(sign * np.degrees(passed))),
        free_deg=throws.free_travel_deg(surface, word),
    )


def _bias_deg(
    surface: Surface, linkage: Linkage, ways: dict[str, Way], travel_deg: tuple[float, float]
) -> float:
    turns = [abs(way.shaft_deg) for way in ways.values() if way.shaft_deg is not None]
    turn = math.radians(min([*turns, *map(abs, travel_deg)]))
    first = words.sign_of(surface, words.directions(surface)[0])
    one, other = (float(surface_angle(linkage, side * turn)) for side in (1, -1))
    return first * math.degrees(one + other)


def _warnings(
    surface: Surface,
    servo: Servo,
    ways: dict[str, Way],
    locks_deg: tuple[float, float],
    travel_deg: tuple[float, float],
    bias_deg: float,
) -> list[str]:
    found = []
    low, high = travel_deg
    for word, way in ways.items():
        if way.shaft_deg is None:
            found.append(
                f"{way.wanted_deg:.1f} deg {word} cannot be reached: the arm's whole swing does "
                "not move the surface so far. Take a longer arm hole or a shorter horn hole."
            )
        elif not low <= way.shaft_deg <= high:
            at = f", and at its limit the surface stands {way.reach_deg:.1f} deg {word}"
            found.append(
                f"{way.wanted_deg:.1f} deg {word} needs the servo to turn "
                f"{abs(way.shaft_deg):.1f} deg, more than its pulse limits allow"
                f"{at if way.reach_deg is not None else ''}. "
                "Take a longer arm hole or a shorter horn hole."
            )
        if way.peak_deg > way.free_deg:
            found.append(
                f"within the servo's pulse limits the surface would go to {way.peak_deg:.1f} deg "
                f"{word}, beyond its free travel of {way.free_deg:.1f} deg: the radio's limit "
                "must stop it before."
            )
        if way.reach_deg is not None and way.peak_deg > way.reach_deg + EVEN_DEG:
            found.append(
                f"the surface turns back at {way.peak_deg:.1f} deg {word}, before the servo's "
                "pulse limit: the radio's limit must stop it before."
            )
    for lock, end in zip(locks_deg, travel_deg, strict=True):
        if abs(lock) < abs(end):
            found.append(
                f"the linkage locks when the servo has turned {abs(lock):.1f} deg; its pulse "
                f"limits allow {abs(end):.1f} deg. Take a shorter arm hole."
            )
    found.extend(_lean_warnings(surface, servo, ways, bias_deg))
    return found


def _lean_warnings(
    surface: Surface, servo: Servo, ways: dict[str, Way], bias_deg: float
) -> list[str]:
    """Flag a lean that works against the wanted difference of throws."""
    first, second = ways.values()
    wanted_bias = first.wanted_deg - second.wanted_deg
    lean = lean_deg(surface, servo)
    if abs(lean) < 1e-9 or abs(wanted_bias) < EVEN_DEG or abs(bias_deg) < EVEN_DEG:
        return []
    if wanted_bias * bias_deg > 0:
        return []
    first_word, second_word = ways
    more, less = (first_word, second_word) if wanted_bias > 0 else (second_word, first_word)
    return [
        f"WRONG WAY ROUND: {more} should go further than {less}, but the arm "
        f"{lean_in_words(surface, servo)} makes {less} go further. "
        "Lean it the other way."
    ]
