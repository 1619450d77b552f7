"""Questions that are answered by one of a few words: "moved" or "still", "quiet" or "buzzing"."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

from hingeline.bench.asking import Asker

#: Kept in the place of the word where none was understood.
NOT_UNDERSTOOD = "not understood"


@dataclass(frozen=True)
class Choice:
    """A question with a few words to choose from.

    Attributes
    ----------
    text : str
        The question, without a question mark: "Did the arm move".
    channel : int
        Channel of the servo concerned.
    words : tuple of str
        What may be answered. Each begins with another letter, which is enough.
    help : str
        What "?" answers.
    topic : str
        What it is about, in a word or two that stay the same whatever the text says; empty
        outside a guided run.
    detail : mapping of str to object
        What the text says, as figures and names: for whoever stands in for the builder.
    """

    text: str
    channel: int
    words: tuple[str, ...]
    help: str = ""
    topic: str = ""
    detail: Mapping[str, Any] = field(default_factory=dict, hash=False)


class Chooser(Asker, Protocol):
    """Someone who can be asked for a number and for a word."""

    def pick(self, choice: Choice) -> str:
        """Return what is typed in answer to a choice."""


def chosen(
    choice: Choice, asker: Chooser, keep: Callable[[str, str], None] = lambda *_answer: None
) -> str:
    """Ask until one of the words is understood, and return it.

    Parameters
    ----------
    choice : Choice
        The question.
    asker : Chooser
        Who answers.
    keep : callable
        Given what was typed and the word that was understood, or `NOT_UNDERSTOOD`, before
        anything else happens.
    """
    while True:
        typed = asker.pick(choice)
        text = typed.strip().lower()
        if text == "?":
            asker.tell(choice.help or f"Type one of: {', '.join(choice.words)}.")
            continue
        # One letter is enough, and so is the whole word; what lies between may be a slip.
        word = next((word for word in choice.words if text in (word, word[0])), None)
        keep(typed, word or NOT_UNDERSTOOD)
        if word is None:
            asker.tell(f"{typed.strip()!r} is none of: {', '.join(choice.words)}.")
            continue
        return word
