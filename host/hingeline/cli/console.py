"""The person at the keyboard."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Sequence

import click

from hingeline.bench.asking import Question
from hingeline.bench.choices import Choice
from hingeline.cli import editing
from hingeline.cli.output import NARROWEST, columns_of, plain, tell, wrapped

#: Room that is left for an answer behind its question, in columns.
_ANSWER = 14
_HELPS = "? helps"


class Keyboard:
    """Asks on the terminal; talk goes to stderr, so that data on stdout stay data.

    Parameters
    ----------
    gauge_shows : callable, optional
        On the simulated bench: what the gauge shows, which the person then types.
    seems : callable, optional
        On the simulated bench: the word that a person there would say.
    """

    def __init__(
        self,
        gauge_shows: Callable[[Question], float] | None = None,
        seems: Callable[[Choice], str] | None = None,
    ) -> None:
        self._gauge_shows, self._seems = gauge_shows, seems

    def ask(self, question: Question) -> str:
        """Put a question and return what was typed; Abort at the end of input."""
        if self._gauge_shows is not None:
            self.tell(f"[the gauge shows {_shown(question, self._gauge_shows(question))}]")
        return self._typed(question.text, tuple(question.signs))

    def pick(self, choice: Choice) -> str:
        """Put a choice and return what was typed; Abort at the end of input."""
        if self._seems is not None:
            self.tell(f"[it seems: {self._seems(choice)}]")
        named = len(choice.words) == 1 and choice.text.endswith(choice.words[0])
        words = f": {', '.join(choice.words)}" if choice.words and not named else ""
        return self._typed(f"{choice.text}{words}", choice.words)

    def _typed(self, text: str, words: Sequence[str]) -> str:
        helps = "type a question mark for help" if plain() else _HELPS
        while True:
            typed = _prompt(_broken(f"{text} ({helps})"), ": ", words)
            if typed.strip():
                return typed
            self.tell("Nothing was typed.")

    def tell(self, text: str) -> None:
        """Show a line; an empty one parts what belongs together from what follows."""
        tell(f"  {text}" if text else "")

    def pause(self, text: str) -> None:
        """Show a line and wait for Enter; Abort at the end of input."""
        _prompt(*((text, ": press Enter. ") if plain() else (f"{text} [Enter]", " ")))

    def agree(self, text: str) -> bool:
        """Ask for y or n until either is typed; Abort at the end of input."""
        return confirmed(text, default=None)


def confirmed(text: str, default: bool | None = False) -> bool:
    """Ask for yes or no; Enter alone means the default. Abort at the end of input."""
    if aloud := plain():
        alone = "" if default is None else f"; Enter alone means {'yes' if default else 'no'}"
        text = f"{text} Type yes or no{alone}"
    with contextlib.redirect_stdout(sys.stderr):
        return click.confirm(text, default=default, err=True, show_default=not aloud)


def _broken(text: str) -> str:
    """Show a long question but for its last line, which is returned: the answer goes there."""
    width = columns_of(sys.stderr)
    if width is None or len(text) + _ANSWER <= width:
        return text
    whole = text.replace(_HELPS, _HELPS.replace(" ", "\N{NO-BREAK SPACE}"))
    lines = wrapped(whole, max(width - _ANSWER, NARROWEST)).replace("\N{NO-BREAK SPACE}", " ")
    *before, last = lines.split("\n")
    for line in before:
        click.echo(line, err=True)
    return last


def _prompt(text: str, suffix: str, words: Sequence[str] = ()) -> str:
    if editing.possible():
        return editing.typed(text + suffix, words)
    # Older versions of click write the last space of a prompt to stdout all the same.
    with contextlib.redirect_stdout(sys.stderr):
        typed: str = click.prompt(
            text, err=True, default="", show_default=False, prompt_suffix=suffix
        )
    return typed


def _shown(question: Question, value: float) -> str:
    size = f"{abs(value):.4g} {question.gauge.unit}"
    if value == 0:
        return size
    word = next((word for word, sign in question.signs.items() if sign * value > 0), None)
    return size if word is None else f"{word} {size}"
