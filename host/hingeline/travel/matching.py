"""How alike two sides move: at every asked place of the stick, and at the worst."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from hingeline.errors import TravelError

#: Fewer places than this hide a difference part way (ends and centre may agree).
LEAST_POINTS = 5


@dataclass(frozen=True)
class Match:
    """Two sides compared.

    Attributes
    ----------
    stick : tuple of float
        Places of the stick, -1 to 1.
    left_deg, right_deg : tuple of float
        Surface angles there, in degrees, as the two sides gave them.
    mismatch_deg : tuple of float
        Left less what the right asks of it: 0 where the pair agrees.
    worst : int
        Place, in these tuples, of the largest mismatch.
    """

    stick: tuple[float, ...]
    left_deg: tuple[float, ...]
    right_deg: tuple[float, ...]
    mismatch_deg: tuple[float, ...]
    worst: int

    @property
    def worst_deg(self) -> float:
        """Largest mismatch, in degrees, with its sign."""
        return self.mismatch_deg[self.worst]

    def within(self, tolerance_deg: float) -> bool:
        """Tell whether no place is off by more than a tolerance."""
        return abs(self.worst_deg) <= tolerance_deg


def match(
    left: Callable[[float], float],
    right: Callable[[float], float],
    *,
    moves: Literal["opposite", "together"],
    points: int = 9,
) -> Match:
    """Compare two sides over the whole throw of the stick.

    Parameters
    ----------
    left, right : callable, stick -> surface angle in degrees
        Of the stick's place, -1 to 1; trailing edge down positive on both sides.
    moves : {"opposite", "together"}
        How the pair is meant to move. An opposite pair agrees when one side does at a place
        of the stick what the other does at the opposite place, so that each may have its
        differential.
    points : int
        Evenly spaced places, 5 or more, odd so that the centre is one of them.

    Raises
    ------
    TravelError
        If the points are too few or even, or a side gives no angle.
    """
    if points < LEAST_POINTS or points % 2 == 0:
        raise TravelError(
            f"{points} points cannot show how a pair moves; an odd number from {LEAST_POINTS} "
            "up is needed.",
            mend="Use 9.",
        )
    stick = tuple(np.linspace(-1.0, 1.0, points).tolist())
    sides = [[float(side(place)) for place in stick] for side in (left, right)]
    for name, angles in zip(("left", "right"), sides, strict=True):
        for place, angle in zip(stick, angles, strict=True):
            if not math.isfinite(angle):
                raise TravelError(
                    f"The {name} side has no angle at {100 * place:g} % of the stick.",
                    mend="Bring both sides within their linkage and travel first.",
                )
    wanted = sides[1][::-1] if moves == "opposite" else sides[1]
    mismatch = tuple(here - want for here, want in zip(sides[0], wanted, strict=True))
    worst = int(np.argmax(np.abs(mismatch)))
    return Match(stick, tuple(sides[0]), tuple(sides[1]), mismatch, worst)
