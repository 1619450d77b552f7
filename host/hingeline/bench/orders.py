"""What may be typed at the question for a reading besides the reading: take back, leave out ..."""

from __future__ import annotations

import difflib
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
#: How each order is typed, by its first word.
_FORMS = {
    "undo": "undo",
    "redo": "redo, redo 1700, or redo 1700 up (or down)",
    "skip": "skip",
    "note": "note TEXT",
    "stop": "stop here",
}
#: A misspelt order is known by so much of its letters: "reedo" by 0.89, "up" by none. Our choice.
_ALIKE = 0.6
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


def form_of(typed: str) -> str:
    """Say how the order is typed that a text begins like; of a text without a digit, all of them.

    Parameters
    ----------
    typed : str
        What is neither a reading nor an order.

    Returns
    -------
    str
        A sentence; empty for a text with a digit that begins like no order.
    """
    text = typed.strip().lower()
    first = re.match(r"[a-z]*", text)
    begins = first.group() if first else ""
    near = difflib.get_close_matches(begins, _FORMS, n=1, cutoff=_ALIKE)
    if near:
        return f"That order is typed: {_FORMS[near[0]]}."
    if any(letter.isdigit() for letter in text):
        return ""
    return f"Orders are typed: {'; '.join(_FORMS.values())}."
