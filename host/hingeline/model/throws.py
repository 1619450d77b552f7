"""The throws that a model asks for, in degrees and with the engine's sign."""

from __future__ import annotations

from hingeline import chord
from hingeline.model import words
from hingeline.model.schema import Surface, Throw


def throw_deg(surface: Surface, word: str) -> float:
    """Return the wanted throw in the direction ``word``, in degrees without sign."""
    return in_deg(surface, surface.throws[word])


def free_travel_deg(surface: Surface, word: str) -> float:
    """Return how far the bare surface moves in the direction ``word``, in degrees."""
    return in_deg(surface, surface.free_travel[word])


def in_deg(surface: Surface, throw: Throw) -> float:
    """Return a throw of this surface in degrees, whatever it was measured in.

    Raises
    ------
    UnitError
        For a distance longer than the surface's chord can show.
    """
    if throw.measure == "deg":
        return float(throw)
    return chord.throw_deg(throw, surface.chord_mm, throw.measure)


def signed_deg(surface: Surface, word: str) -> float:
    """Return the wanted throw in the direction ``word`` with the engine's sign."""
    return words.sign_of(surface, word) * throw_deg(surface, word)
