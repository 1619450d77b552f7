"""What may be typed at any prompt of the guided run besides its answer."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from typing import Literal

What = Literal["list", "why", "note", "skip", "redo", "same", "stop"]

HELP = (
    "Instead of an answer: list (what is done and what is to come), why (why this step is "
    "there), note TEXT (kept beside what is measured), skip REASON (leave this step out), redo "
    "(this step again), redo STEP or redo STEP SURFACE (go back to an earlier one), same (the "
    "last answer to a question like this), stop (end here; the next run goes on from here)."
)
_FORMS = {
    "list": "list",
    "why": "why",
    "note": "note TEXT",
    "skip": "skip REASON",
    "redo": "redo, redo STEP or redo STEP SURFACE",
    "same": "same",
    "stop": "stop",
}
#: A misspelt order is known by so much of its letters. Our own choice.
_ALIKE = 0.7


@dataclass(frozen=True)
class Order:
    """Something to be done instead of answering.

    Attributes
    ----------
    what : {"list", "why", "note", "skip", "redo", "same", "stop"}
        What.
    typed : str
        The keystrokes.
    text : str
        What stands behind the first word: the note, the reason, the step and its surface.
    """

    what: What
    typed: str
    text: str = ""


def order_of(typed: str) -> Order | None:
    """Return the order that was typed; None when it is none."""
    first, _, rest = typed.strip().partition(" ")
    rest = rest.strip()
    word = first.lower()
    if word in ("note", "skip") and rest:
        return Order("note" if word == "note" else "skip", typed, rest)
    if word == "redo":
        return Order("redo", typed, rest)
    if rest:
        return None
    for plain in ("list", "why", "same", "stop"):
        if word == plain:
            return Order(plain, typed)
    return None


def form_of(typed: str) -> str:
    """Say how the order is typed that a text begins like; empty when it begins like none."""
    first = typed.strip().lower().partition(" ")[0]
    near = difflib.get_close_matches(first, _FORMS, n=1, cutoff=_ALIKE)
    return f"That order is typed: {_FORMS[near[0]]}." if near else ""
