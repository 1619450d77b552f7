"""Throws set against each other: of one surface's two ways, and of two sticks that move it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from hingeline import chord
from hingeline.model.throws import free_travel_deg
from hingeline.rigging.handing import Handed, furthest_deg
from hingeline.rigging.limits import SHORT_DEG
from hingeline.rigging.sticks import commands_of
from hingeline.travel.setting import FREE_MARGIN_DEG


@dataclass(frozen=True)
class Differential:
    """Two throws of different size.

    Attributes
    ----------
    larger, smaller : str
        Their direction words.
    of_larger_deg, of_larger_mm : float
        The smaller in parts of the larger: by degrees, and by the drop at the chord.
    """

    larger: str
    smaller: str
    of_larger_deg: float
    of_larger_mm: float


def differential(throws_deg: Mapping[str, float], chord_mm: float) -> Differential | None:
    """Compare a surface's two throws; None when they are alike as far as a gauge shows."""
    larger, smaller = sorted(throws_deg, key=lambda word: -throws_deg[word])
    most, least = throws_deg[larger], throws_deg[smaller]
    if most - least <= SHORT_DEG:
        return None
    by_mm = chord.throw_mm(least, chord_mm, "drop") / chord.throw_mm(most, chord_mm, "drop")
    return Differential(larger, smaller, least / most, by_mm)


@dataclass(frozen=True)
class Sum:
    """What two sticks that move one surface ask of it together, in one direction.

    Attributes
    ----------
    word : str
        The direction.
    each_deg : float
        What each gives at its full way if both give the whole throw.
    asked_deg : float
        Both at once.
    allowed_deg : float
        How far servo, linkage and free travel let the surface go.
    limit_us : int or None
        The pulse at which it then stands; None: so far out nothing was measured.
    share : float
        Part of its throw that each may give at most when both give alike.
    """

    word: str
    each_deg: float
    asked_deg: float
    allowed_deg: float
    limit_us: int | None
    share: float


def sums(handed: Handed) -> list[Sum]:
    """Return what a mix asks of a surface at its worst; empty where one stick alone moves it.

    Raises
    ------
    TravelError
        When the servo does not reach neutral.
    """
    count = len(commands_of(handed.surface))
    if count < 2:
        return []
    found = []
    for word, way in zip(handed.words, (1.0, -1.0), strict=True):
        each = handed.throw_deg[word]
        free = free_travel_deg(handed.surface, word) - FREE_MARGIN_DEG
        allowed = furthest_deg(handed.setting, word, max(free, 0.0))
        share = min(allowed / (count * each), 1.0) if each > 0 else 1.0
        limit = handed.pulse_at(way * allowed)
        found.append(Sum(word, each, count * each, allowed, limit, share))
    return found
