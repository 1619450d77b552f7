"""What may be typed at the question for a reading besides the reading: take back, leave out ..."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from hingeline.travel.reading import Approach

What = Literal["undo", "redo", "skip", "note", "stop here"]

HELP = (
    "Instead of a reading: undo (take back the last one and read its pulse again), redo (read the "
    "last one once more; it counts until then) or redo 1700 (an earlier pulse; redo 1700 up or "
    "down where both were read), skip (leave this pulse out), note TEXT (kept beside the "
    "readings), stop here (fit what there is)."
)
_REDO = re.compile(r"redo(?:\s+([0-9]{3,4})(?:\s*us)?(?:\s+(up|down))?)?", re.ASCII)
_SIDES: dict[str, Approach] = {"up": "rising", "down": "falling"}


@dataclass(frozen=True)
class Order:
    """Something to be done instead of reading.

    Attributes
    ----------
    what : {"undo", "redo", "skip", "note", "stop here"}
        What.
    typed : str
        The keystrokes.
    pulse_us : int or None
        With "redo": which pulse; None: that of the last reading.
    approach : {"rising", "falling"} or None
        With "redo": which of its readings; None: the later one.
    text : str
        With "note": the note, as typed.
    """

    what: What
    typed: str
    pulse_us: int | None = None
    approach: Approach | None = None
    text: str = ""


def order_of(typed: str) -> Order | None:
    """Return the order that was typed; None when it is none."""
    text = " ".join(typed.lower().split())
    if text == "undo":
        return Order("undo", typed)
    if text == "skip":
        return Order("skip", typed)
    if text == "stop here":
        return Order("stop here", typed)
    if match := _REDO.fullmatch(text):
        pulse, side = match.groups()
        return Order("redo", typed, int(pulse) if pulse else None, _SIDES.get(side or ""))
    first, _, rest = typed.strip().partition(" ")
    if first.lower() == "note" and rest.strip():
        return Order("note", typed, text=rest.strip())
    return None
