"""What is physically wrong, in words, with the ways to mend it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

#: What has to be done again after each mend; what rests on that follows from the checklist.
REOPENS: dict[str, tuple[str, ...]] = {
    "refit": ("seat",),
    "trim": ("throws",),
    "aim": ("throws",),
    "hole": ("rod",),
    "set-back": ("neutral",),
    "rod": ("neutral",),
    "rod side": ("seat", "rod", "direction"),
    "swap leads": ("centre",),
    "servo": ("centre",),
    "hinge": ("bare",),
    "joints": ("slop",),
    "free": ("binding",),
}


@dataclass(frozen=True)
class Mend:
    """One way to put something right.

    Attributes
    ----------
    name : str
        A key of `REOPENS`.
    text : str
        What to do.
    gives : str
        What it would give; empty when that is not known.
    reopens : tuple of str
        Steps to be done again.
    detail : mapping
        The same as plain figures, with "name".
    """

    name: str
    text: str
    gives: str = ""
    reopens: tuple[str, ...] = ()
    detail: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Named:
    """What is physically wrong.

    Attributes
    ----------
    cause : str
        "tooth", "lean", "set-back", "rod", "hole", "direction", "differential", "leads",
        "bare stops early", "short travel", "slop", "binding", "off centre" or "unknown".
    text : str
        The same in words, with its size.
    mends : tuple of Mend
        Best first.
    """

    cause: str
    text: str
    mends: tuple[Mend, ...]


def mend(name: str, text: str, gives: str = "", **figures: Any) -> Mend:
    """Make a mend; ``figures`` are what its detail carries beside the name."""
    return Mend(name, text, gives, REOPENS[name], {"name": name, **figures})


def teeth_words(count: int) -> str:
    """Write a number of teeth without sign: "1 tooth", "2 teeth"."""
    size = abs(count)
    return f"{size} {'tooth' if size == 1 else 'teeth'}"


def way_words(ahead: float) -> str:
    """Say which way an arm leans or is turned: "ahead" or "aft"."""
    return "ahead" if ahead > 0 else "aft"
