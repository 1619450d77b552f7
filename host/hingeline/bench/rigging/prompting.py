"""The prompts of the guided run: answers are kept the moment they are typed, and orders obeyed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from hingeline.bench.asking import Answer, Question, say_understood, understand
from hingeline.bench.choices import NOT_UNDERSTOOD, Choice, Chooser
from hingeline.bench.rigging.orders import HELP, Order, form_of, order_of
from hingeline.errors import TravelError, UnitError

#: Another form of a word shares so many letters with it from the first on. Our own choice.
_STEM = 4


class Ordered(Exception):  # noqa: N818  (no error: what the person wants instead)
    """An order that ends the step under way; the conductor obeys it.

    Attributes
    ----------
    order : Order
        What was typed.
    """

    def __init__(self, order: Order) -> None:
        super().__init__(order.typed)
        self.order = order


@dataclass(frozen=True)
class Typed:
    """What was typed at a prompt, as it is kept.

    Attributes
    ----------
    topic : str
        What the prompt was about.
    text : str
        The keystrokes.
    understood : float or str
        What was understood by it; `NOT_UNDERSTOOD` where nothing was.
    detail : mapping of str to object
        What was asked about.
    """

    topic: str
    text: str
    understood: float | str
    detail: Mapping[str, Any]


class Prompter:
    """Puts the prompts of a guided run.

    Parameters
    ----------
    asker : Chooser
        Who answers.
    keep : callable
        Given everything that is typed, before anything is said or done about it.
    obey : callable
        Given the orders that leave the step where it is (list, why); a note needs no more than
        to be kept.
    refused : callable
        Says why an order cannot be followed, which leaves the question where it is; empty when
        it can.
    """

    def __init__(
        self,
        asker: Chooser,
        keep: Callable[[Typed], None],
        obey: Callable[[Order], None] = lambda _order: None,
        refused: Callable[[Order], str] = lambda _order: "",
    ) -> None:
        self.asker = asker
        self._keep, self._obey, self._refused = keep, obey, refused
        self._last: dict[str, str] = {}

    def tell(self, text: str) -> None:
        """Show a line."""
        self.asker.tell(text)

    def pick(self, choice: Choice) -> str:
        """Ask until one of the words is understood, and return it.

        A word is known by its beginning, as long as no other word begins like that. Without
        words any text is taken, orders apart.

        Raises
        ------
        Ordered
            When the step is to end, or another to be done.
        """
        while True:
            typed = self.asker.pick(choice)
            word = self._word(choice, self._meant(choice, typed))
            if word is None:
                continue
            self._last[choice.topic] = word
            return word

    def read(self, question: Question, keep: Callable[[Answer], None] | None = None) -> Answer:
        """Ask until a reading is understood; keep it, say what was understood, and return it.

        Parameters
        ----------
        question : Question
            What is to be read.
        keep : callable, optional
            Keeps the reading; without it the answer is kept like any other.

        Raises
        ------
        Ordered
            As for `pick`.
        """
        while True:
            answer = self.heard(question, self.asker.ask(question))
            if answer is not None:
                self.kept(question, answer, keep)
                return answer

    def heard(self, question: Question, typed: str) -> Answer | None:
        """Understand what was typed for a reading; None when it has to be asked for again."""
        meant = self._meant(question, typed)
        return None if meant is None else self._understood(question, typed, meant)

    def decide(self, question: Question, words: tuple[str, ...]) -> str | Answer:
        """Put a question that is answered by one of a few words, or by a reading.

        Returns
        -------
        str or Answer
            The word, which is kept; or what was understood, which is not kept yet.

        Raises
        ------
        Ordered
            As for `pick`.
        """
        while True:
            typed = self.asker.ask(question)
            meant = self._meant(question, typed)
            if meant is None:
                continue
            if meant.strip().lower() in words:
                word = meant.strip().lower()
                self._note(question, typed, word)
                return word
            if (answer := self._understood(question, typed, meant)) is not None:
                return answer

    def kept(
        self, question: Question, answer: Answer, keep: Callable[[Answer], None] | None
    ) -> None:
        """Keep a reading that was understood, and say what was understood."""
        if keep is None:
            self._note(question, answer.typed, answer.value)
        else:
            keep(answer)
        self._last[question.topic] = answer.typed
        say_understood(answer, self.asker)

    def obeyed(self, typed: str, asked: Choice | Question) -> bool:
        """Obey list or why, if that was typed; tell whether it was."""
        order = order_of(typed)
        if order is None or order.what not in ("list", "why"):
            return False
        self._note(asked, typed, f"order: {order.what}")
        self._obey(order)
        return True

    # -- within ------------------------------------------------------------------------

    def _understood(self, question: Question, typed: str, meant: str) -> Answer | None:
        try:
            return understand(question, meant)
        except (UnitError, TravelError) as error:
            self._note(question, typed, NOT_UNDERSTOOD)
            alone = question.assumed if len(question.signs) == 1 else None
            only = f"This question is about {alone} alone." if alone else ""
            self.tell(" ".join(filter(None, (str(error), only, form_of(typed)))))
            return None

    def _word(self, choice: Choice, typed: str | None) -> str | None:
        if typed is None:
            return None
        text = " ".join(typed.split())
        if not choice.words:
            self._note(choice, typed, text)
            return text
        word = _begun(text.lower(), choice.words)
        self._note(choice, typed, NOT_UNDERSTOOD if word is None else word)
        if word is None:
            listed = ", ".join(choice.words)
            said = f"{text!r} is none of: {listed}."
            self.tell(" ".join(filter(None, (said, form_of(typed)))))
        return word

    def _meant(self, asked: Choice | Question, typed: str) -> str | None:
        """Obey an order; return what was typed as an answer, None when it was no answer."""
        if typed.strip() == "?":
            help_ = asked.help or _words_help(asked)
            self.tell(f"{help_} {HELP}")
            return None
        own = isinstance(asked, Choice) and typed.strip().lower() in map(str.lower, asked.words)
        order = None if own else order_of(typed)
        if order is None:
            return typed
        self._note(asked, typed, f"order: {order.what}")
        if order.what == "same":
            last = self._last.get(asked.topic)
            if last is None:
                self.tell("There was no question like this before.")
            return last
        if order.what == "note":
            self.tell("The note is kept.")
        elif why := self._refused(order):
            self.tell(why)
        elif order.what in ("list", "why"):
            self._obey(order)
        else:
            raise Ordered(order)
        return None

    def _note(self, asked: Choice | Question, typed: str, understood: float | str) -> None:
        self._keep(Typed(asked.topic, typed, understood, asked.detail))


@dataclass(frozen=True)
class Within:
    """Answers for whoever is asked in work that has orders of its own, and obeys list and why.

    Attributes
    ----------
    prompter : Prompter
        Of the step to which the work belongs.
    """

    prompter: Prompter

    def ask(self, question: Question) -> str:
        """Return what is typed in answer."""
        while self.prompter.obeyed(typed := self.prompter.asker.ask(question), question):
            pass
        return typed

    def pick(self, choice: Choice) -> str:
        """Return what is typed in answer to a choice."""
        while self.prompter.obeyed(typed := self.prompter.asker.pick(choice), choice):
            pass
        return typed

    def tell(self, text: str) -> None:
        """Show a line."""
        self.prompter.asker.tell(text)

    def pause(self, text: str) -> None:
        """Show a line and wait."""
        self.prompter.asker.pause(text)

    def agree(self, text: str) -> bool:
        """Return the answer to a question of yes or no."""
        return self.prompter.asker.agree(text)


def _begun(text: str, words: tuple[str, ...]) -> str | None:
    """Return the word that is meant: typed whole, or the only one that begins like this."""
    whole = [word for word in words if word.lower() == text]
    begun = [word for word in words if text and word.lower().startswith(text)]
    # "buzzes" for buzzing; labels and numbers are taken by their letters alone.
    if not begun and text.isalpha() and len(text) >= _STEM:
        lower = (word for word in words if word.isalpha() and word.islower())
        begun = [word for word in lower if len(word) >= _STEM and word[:_STEM] == text[:_STEM]]
    return whole[0] if whole else begun[0] if len(begun) == 1 else None


def _words_help(asked: Choice | Question) -> str:
    words = getattr(asked, "words", ())
    return f"Type one of: {', '.join(words)}." if words else ""
