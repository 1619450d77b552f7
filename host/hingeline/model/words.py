"""The words people use for sides and directions, and what sign each has in the engine.

In the hinge frame a positive deflection turns the trailing edge away from the horn
side, which is what a push of the rod does. People never meet that sign: they read and
type up, down, left and right.
"""

from __future__ import annotations

from hingeline.errors import UnitError
from hingeline.model.schema import Surface

_OPPOSITE = {"up": "down", "down": "up", "left": "right", "right": "left"}
# The trailing edge goes away from the side on which the horn stands.
_PUSHED = {"top": "down", "bottom": "up", "left": "right", "right": "left"}

WINGLIKE = ("up", "down")
FINLIKE = ("left", "right")


def directions(surface: Surface) -> tuple[str, str]:
    """Return the two direction words of a surface: up and down, or left and right."""
    return FINLIKE if surface.kind == "rudder" else WINGLIKE


def horn_sides(surface: Surface) -> tuple[str, str]:
    """Return the two sides on which this kind of surface can carry its horn."""
    return ("left", "right") if surface.kind == "rudder" else ("top", "bottom")


def pushed_word(surface: Surface) -> str:
    """Return the word for the deflection that a push of the rod gives."""
    return _PUSHED[surface.horn.side]


def sign_of(surface: Surface, word: str) -> int:
    """Return +1 when ``word`` is the pushed direction, -1 for the other.

    Raises
    ------
    UnitError
        When the surface does not move that way at all ("left" for an elevator).
    """
    pushed = pushed_word(surface)
    if word == pushed:
        return 1
    if word == _OPPOSITE[pushed]:
        return -1
    first, second = directions(surface)
    raise UnitError(
        f"{surface.name} does not move {word}.", mend=f"Say {first} or {second} instead."
    )


def word_of(surface: Surface, signed: float) -> str:
    """Return the word for a signed deflection; zero counts as the pushed direction."""
    pushed = pushed_word(surface)
    return pushed if signed >= 0 else _OPPOSITE[pushed]


def say(surface: Surface, signed_deg: float) -> str:
    """Write a signed deflection as a person says it: "up 12.5 deg", "neutral"."""
    size = round(abs(signed_deg), 1)
    if size == 0:
        return "neutral"
    return f"{word_of(surface, signed_deg)} {size:.1f} deg"


def split_direction(text: str, words: tuple[str, ...]) -> tuple[str | None, str]:
    """Split "up 12.5 mm", "12.5 mm up" or "12.5" into a direction word and the rest.

    Returns
    -------
    word : str or None
        One of ``words``, or None when the text names no direction.
    rest : str
        The value as typed.
    """
    parts = text.split()
    for end in (0, -1):
        if parts and parts[end].lower() in words:
            word = parts.pop(end).lower()
            return word, " ".join(parts)
    # "up12" without a space: the letters before the first digit.
    for word in words:
        rest = text.strip()
        if rest.lower().startswith(word) and rest[len(word) :][:1].isdigit():
            return word, rest[len(word) :].strip()
    return None, text.strip()
