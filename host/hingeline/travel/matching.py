"""Two sides set to equal throws by the radio, and how far they differ in between.

A radio knows centre, two ends and which way round, and goes from one to the other in
proportion to the pulse. Sides that agree at neutral and at both ends can still differ part
way, where one servo bends or one linkage leans; so they are compared at every point.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import minimize_scalar

from hingeline.errors import TravelError
from hingeline.linkage.closure import Floats
from hingeline.travel.sides import Radio, Side

#: Points at which two sides are compared, neutral and both ends among them.
POINTS = 9
LEAST_POINTS = 5
#: Mismatch that may remain. Our own choice: about 0.8 mm at a 45 mm chord.
TOLERANCE_DEG = 1.0
#: The same for two servos on one surface, which then pull against each other. Our own choice.
ONE_SURFACE_DEG = 0.5
# Ends are found to a fraction of the whole microsecond to which they are then rounded.
_FINE_US = 0.2


@dataclass(frozen=True)
class Set:
    """One side with its radio set.

    Attributes
    ----------
    name : str
    radio : Radio
        Its centre and ends.
    wanted_deg : tuple of float
        Throws asked for, towards the first and the second direction.
    reach_deg : tuple of float
        How far it could go.
    deflection_deg, u_deg : tuple of float
        Where it stands at each point, positive in the first direction, and the standard
        uncertainty from its servo's curve.
    """

    name: str
    radio: Radio
    wanted_deg: tuple[float, float]
    reach_deg: tuple[float, float]
    deflection_deg: tuple[float, ...]
    u_deg: tuple[float, ...]

    @property
    def throws_deg(self) -> tuple[float, float]:
        """Where it stands at full stick, towards the first and the second direction."""
        return self.deflection_deg[-1], -self.deflection_deg[0]

    @property
    def short_deg(self) -> tuple[float, float]:
        """How much of each wanted throw is beyond its reach; 0 where nothing is."""
        first, second = (
            max(wanted - reach, 0.0)
            for wanted, reach in zip(self.wanted_deg, self.reach_deg, strict=True)
        )
        return first, second


@dataclass(frozen=True)
class Match:
    """Two sides set as alike as a radio can make them.

    Attributes
    ----------
    ways : tuple of float
        The points, from -1 (full second direction) to 1 (full first).
    left, right : Set
        The sides.
    interval_deg : tuple of float
        Half of the 95 % interval of the mismatch at each point.
    tolerance_deg : float
        What may remain.
    plain_worst_deg : float or None
        The worst mismatch with both ends exactly at the throws, before a side gave way; None
        when neither did.
    """

    ways: tuple[float, ...]
    left: Set
    right: Set
    interval_deg: tuple[float, ...]
    tolerance_deg: float
    plain_worst_deg: float | None = None

    @property
    def mismatch_deg(self) -> tuple[float, ...]:
        """How much further left stands in the first direction than right, at each point."""
        return tuple(np.subtract(self.left.deflection_deg, self.right.deflection_deg).tolist())

    @property
    def worst(self) -> int:
        """Place of the greatest mismatch."""
        return int(np.argmax(np.abs(self.mismatch_deg)))

    @property
    def worst_deg(self) -> float:
        """The greatest mismatch, without sign."""
        return float(np.abs(self.mismatch_deg).max())

    @property
    def asked_apart_deg(self) -> float:
        """How far the wanted throws of the two sides differ: no setting mends that."""
        return float(np.abs(np.subtract(self.left.wanted_deg, self.right.wanted_deg)).max())

    @property
    def short(self) -> bool:
        """Whether a wanted throw is beyond reach by more than may remain."""
        return max(*self.left.short_deg, *self.right.short_deg) > self.tolerance_deg

    @property
    def passed(self) -> bool:
        """Whether the throws wanted are had and match within the tolerance everywhere."""
        return not self.short and self.worst_deg <= self.tolerance_deg

    @property
    def sure(self) -> bool:
        """Whether the 95 % intervals leave no doubt of `passed`, either way."""
        size = np.abs(self.mismatch_deg)
        half = np.asarray(self.interval_deg)
        if self.passed:
            return bool((size + half <= self.tolerance_deg).all())
        return self.short or bool((size - half > self.tolerance_deg).any())


def points_of(count: int) -> Floats:
    """Return evenly spaced points from -1 to 1, neutral among them.

    Raises
    ------
    TravelError
        For fewer than 5, or an even number.
    """
    if count < LEAST_POINTS or count % 2 == 0:
        raise TravelError(
            f"{count} points cannot show whether two sides match.",
            cause="Sides that agree at neutral and at their ends can differ in between.",
            mend=f"Use {LEAST_POINTS} or more, an odd number, so that neutral is among them.",
        )
    half = count // 2
    return np.asarray(np.arange(-half, half + 1) / half)  # symmetric to the last digit


def match(
    left: Side,
    right: Side,
    wanted_deg: tuple[tuple[float, float], tuple[float, float]],
    *,
    points: int = POINTS,
    tolerance_deg: float = TOLERANCE_DEG,
    give_deg: float | None = None,
) -> Match:
    """Set two sides to their throws, and then as alike as their ends allow.

    First each side's centre and ends are set so that it stands exactly at neutral and at
    its throws. Where the sides then differ by more than the tolerance, one of them gives
    way at an end: with a little less throw there, what is too much part way gets less too.

    Parameters
    ----------
    left, right : Side
        What is matched.
    wanted_deg : tuple of two tuples of float
        Throws of left and of right, towards the first and the second direction. A throw
        beyond the reach of a side is cut to what both can reach.
    points : int
        Points of the stick, odd.
    tolerance_deg : float
        Mismatch that may remain.
    give_deg : float, optional
        How much of a throw a side may give up; default: the tolerance. Nothing is given up
        where the throws wanted differ by more than the tolerance.

    Raises
    ------
    LinkageError, TravelError
        When a side does not reach neutral, or was not read from both directions.
    """
    ways = points_of(points)
    sides = (left, right)
    reach = [(side.reach_deg(1), side.reach_deg(-1)) for side in sides]
    # A throw that one side cannot make is no throw of a pair: both are cut alike.
    throws = np.minimum(wanted_deg, np.min(reach, axis=0))
    radios = [
        Radio(round(side.centre_us), (side.end_us(first), side.end_us(-second)))
        for side, (first, second) in zip(sides, throws.tolist(), strict=True)
    ]
    plain = _matched(sides, radios, ways, wanted_deg, tolerance_deg)
    if plain.worst_deg <= tolerance_deg and give_deg is None:
        return plain
    if plain.asked_apart_deg > tolerance_deg:
        return plain
    give = tolerance_deg if give_deg is None else give_deg
    for way in (1, -1):
        radios = _give_way(sides, radios, throws, ways[ways * way > 0], way, give)
    evened = _matched(sides, radios, ways, wanted_deg, tolerance_deg)
    if evened.worst_deg >= plain.worst_deg:
        return plain
    return replace(evened, plain_worst_deg=plain.worst_deg)


def _matched(
    sides: tuple[Side, Side],
    radios: Sequence[Radio],
    ways: Floats,
    wanted_deg: tuple[tuple[float, float], tuple[float, float]],
    tolerance_deg: float,
) -> Match:
    sets, variance = [], np.zeros(len(ways))
    for side, radio, wanted in zip(sides, radios, wanted_deg, strict=True):
        pulses = radio.pulses_us(ways)
        u = side.u_deg(pulses)
        variance = variance + np.square(u)
        reach = side.reach_deg(1), side.reach_deg(-1)
        stands = tuple(side.deflection_deg(pulses).tolist())
        sets.append(Set(side.name, radio, wanted, reach, stands, tuple(u.tolist())))
    # The wider of the two factors: an interval must not look better than it is.
    factor = max(side.coverage_factor() for side in sides)
    half = tuple((factor * np.sqrt(variance)).tolist())
    return Match(tuple(ways.tolist()), sets[0], sets[1], half, tolerance_deg)


def _give_way(
    sides: tuple[Side, Side],
    radios: list[Radio],
    throws_deg: Floats,
    ways: Floats,
    way: int,
    give_deg: float,
) -> list[Radio]:
    """Let one side have a little less throw at one end, if that makes the worst there less."""
    end = 0 if way > 0 else 1
    stands = [
        side.deflection_deg(radio.pulses_us(ways))
        for side, radio in zip(sides, radios, strict=True)
    ]
    best_worst, best = float(np.abs(stands[0] - stands[1]).max()), radios
    for giver, other in ((0, 1), (1, 0)):
        side, full_deg = sides[giver], float(throws_deg[giver, end])
        full_us = radios[giver].ends_us[end]
        least_us = side.end_us(way * max(full_deg - give_deg, 0.0))
        if least_us == full_us:
            continue
        worst = _worst_at(side, radios[giver], stands[other], ways)
        # Each mismatch goes one way with the end, so that the worst has a single valley.
        at = minimize_scalar(
            worst,
            bounds=(float(min(least_us, full_us)), float(max(least_us, full_us))),
            method="bounded",
            options={"xatol": _FINE_US},
        )
        tried = _with_end(radios[giver], end, round(float(at.x)))
        if (size := worst(tried.ends_us[end])) < best_worst:
            best_worst = size
            best = [tried if place == giver else radio for place, radio in enumerate(radios)]
    return best


def _worst_at(
    side: Side, radio: Radio, other_deg: Floats, ways: Floats
) -> Callable[[float], float]:
    def worst(end_us: float) -> float:
        pulses = radio.centre_us + np.abs(ways) * (end_us - radio.centre_us)
        return float(np.abs(side.deflection_deg(pulses) - other_deg).max())

    return worst


def _with_end(radio: Radio, end: int, pulse_us: int) -> Radio:
    first, second = radio.ends_us
    return Radio(radio.centre_us, (pulse_us, second) if end == 0 else (first, pulse_us))
