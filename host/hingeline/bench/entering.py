"""The readings of one servo as they are typed: kept at once, judged, and questioned if odd.

What was typed is never changed. A correction is a further reading, with a remark on the one that
it replaces; only those that stand are given on to the fit.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Protocol

from hingeline.bench.asking import Answer, Asker, Question, heard, say_understood, understand
from hingeline.bench.doubting import figures_of, said
from hingeline.bench.orders import HELP, Order, order_of
from hingeline.bench.readings import Making, retyped
from hingeline.errors import TravelError
from hingeline.travel.judging import Doubt, doubt_among
from hingeline.travel.reading import Reading
from hingeline.travel.schedule import Step, refuse_turning

#: How often one reading is asked for before its pulse is left out.
TRIES = 2


class Notes(Protocol):
    """Keeps what is typed, on the disk, before anything else happens."""

    def reading(
        self, step: Step, answer: Answer, replaces: int | None = None, because: str = ""
    ) -> int:
        """Keep a reading, and that another no longer counts because of it; return its number."""

    def remark(
        self,
        kind: str,
        reading: int | None = None,
        text: str = "",
        figures: Mapping[str, Any] | None = None,
    ) -> None:
        """Keep what was said or done about a reading, or between two of them."""


def where(step: Step) -> dict[str, Any]:
    """Return what tells, beside a remark, at which reading it was made."""
    return {"pulse_us": step.pulse_us, "approach": step.approach}


@dataclass(eq=False)
class Entry:
    """A reading that counts.

    Attributes
    ----------
    reading : Reading
        What it says of the shaft.
    answer : Answer
        What was typed, and understood by it.
    row : int
        Its number in the records.
    stands : bool
        Whether the person was asked about it, and has said that it stands.
    place : int
        Its place among the others: that of the one which it replaced, if any.
    """

    reading: Reading
    answer: Answer
    row: int
    stands: bool = False
    place: int = 0

    @property
    def step(self) -> Step:
        """The step at which it was read."""
        return Step(round(self.reading.pulse_us), self.reading.approach, True)

    def become(self, other: Entry) -> None:
        """Let another reading count in the place of this one."""
        self.reading, self.answer, self.row = other.reading, other.answer, other.row
        self.stands = other.stands


class Entries:
    """Asks for readings, keeps them in their order, and questions those that look wrong.

    Parameters
    ----------
    question : callable
        Makes the question for a pulse in us.
    making : callable
        Turns pulse, approach and answer into a reading of the shaft.
    asker : Asker
        Who reads the gauge.
    notes : Notes
        Keeps everything.
    """

    def __init__(
        self, question: Callable[[int], Question], making: Making, asker: Asker, notes: Notes
    ) -> None:
        self._question, self._making = question, making
        self._asker, self._notes = asker, notes
        self._all: list[Entry] = []
        self._at_stop = False

    @property
    def readings(self) -> list[Reading]:
        """Those that count, in their order."""
        return [entry.reading for entry in self._all]

    def add(self, entry: Entry) -> None:
        """Let a reading count."""
        self._all.append(entry)
        self._all.sort(key=lambda one: one.place)

    def remove(self, entry: Entry) -> None:
        """Let a reading no longer count."""
        self._all.remove(entry)

    def clear(self) -> list[Entry]:
        """Let none count any more; return them in their order."""
        entries, self._all = self._all, []
        return entries

    def last(self) -> Entry | None:
        """Return the reading that was typed last."""
        return max(self._all, key=lambda entry: entry.row, default=None)

    def at(self, order: Order) -> Entry | None:
        """Return the reading that an order means."""
        if order.pulse_us is None:
            return self.last()
        there = [
            entry
            for entry in self._all
            if entry.reading.pulse_us == order.pulse_us
            and order.approach in (None, entry.reading.approach)
        ]
        return max(there, key=lambda entry: entry.row, default=None)

    def read(self, step: Step, place: int, replaces: int | None = None) -> Entry | Order | None:
        """Ask for a reading.

        Returns
        -------
        Entry, Order or None
            None when what is read here tells nothing of the servo. That may be a slip, so it
            is asked for once more; but where a surface stands near a dead point of its
            linkage, no answer is better than another.

        Raises
        ------
        TravelError
            When the servo keeps turning: nothing more is sent to it.
        """
        question = self._question(step.pulse_us)
        question = replace(question, help=f"{question.help} {HELP}")
        tries = 0
        while tries < TRIES:
            typed = self._asker.ask(question)
            if order := order_of(typed):
                return order
            answer = self._heard(question, step, typed)
            if answer is None:
                continue
            entry, row = self._keep(step, place, answer, replaces)
            if entry is not None:
                return entry
            tries, replaces = tries + 1, row
        self._asker.tell(f"{step.pulse_us} us is left out.")
        return None

    def settle(self, entry: Entry) -> Order | None:
        """Question a reading that does not go with the others, until the person has decided.

        Returns
        -------
        Order or None
            What is to be done before it can be settled; None when it stands.
        """
        question = self._question(entry.step.pulse_us)
        while not entry.stands:
            doubt = self._doubt(entry, question)
            if doubt is None or not doubt.worth_asking:
                self._tell_of_stop(entry, doubt)
                return None
            asked = self._put_in_question(entry, doubt, question)
            if order := self._decide(entry, doubt, question, asked):
                return order
        return None

    # -- within ------------------------------------------------------------------------

    def _decide(
        self, entry: Entry, doubt: Doubt, question: Question, asked: Question
    ) -> Order | None:
        """Have the person say what becomes of a reading in doubt."""
        row = entry.row
        while entry.row == row and not entry.stands:
            typed = self._asker.ask(asked)
            if order := order_of(typed):
                return order
            word = typed.strip().lower()
            if word == "keep":
                self._stand(entry, typed)
            elif word == "yes" and doubt.partner is not None:
                self._exchange(entry, doubt.partner, typed)
            elif word == "yes" and doubt.likely is not None:
                self._again(entry, understand(question, doubt.likely), typed)
            elif answer := self._heard(asked, entry.step, typed):
                if answer.settled and answer.value == entry.answer.value:
                    self._stand(entry, typed)
                else:
                    self._again(entry, answer)
        return None

    def _heard(self, question: Question, step: Step, typed: str) -> Answer | None:
        return heard(
            question,
            self._asker,
            typed,
            lambda text: self._notes.remark("not understood", text=text, figures=where(step)),
        )

    def _keep(
        self, step: Step, place: int, answer: Answer, replaces: int | None, because: str = ""
    ) -> tuple[Entry | None, int]:
        """Keep an answer, say what was understood, and make a reading of it if that can be."""
        row = self._notes.reading(step, answer, replaces, because)
        say_understood(answer, self._asker)
        try:
            reading = self._making(step.pulse_us, step.approach, answer)
        except TravelError as error:
            self._asker.tell(str(error))
            return None, row
        refuse_turning([reading])
        return Entry(reading, answer, row, place=place), row

    def _again(self, entry: Entry, answer: Answer, because: str = "") -> None:
        """Put another answer in a reading's place, if a reading can be made of it."""
        try:
            self._making(entry.step.pulse_us, entry.step.approach, answer)
        except TravelError as error:
            # It cannot replace anything, but it was typed.
            self._notes.remark("not used", entry.row, answer.typed)
            self._asker.tell(str(error))
            return
        made, _ = self._keep(entry.step, entry.place, answer, entry.row, because)
        assert made is not None  # noqa: S101  (it could be made a moment ago)
        entry.become(made)
        entry.stands = because != ""  # the program's own proposal is not asked about again

    def _stand(self, entry: Entry, typed: str) -> None:
        self._notes.remark("kept", entry.row, typed)
        entry.stands = True
        self._asker.tell(f"{entry.answer.typed.strip()} is kept as it was typed.")

    def _exchange(self, entry: Entry, partner: Reading, typed: str) -> None:
        other = next(one for one in self._all if one.reading is partner)
        mine, theirs = entry.answer, other.answer
        self._again(other, mine, typed)
        self._again(entry, theirs, typed)

    def _doubt(self, entry: Entry, question: Question) -> Doubt | None:
        before = [one.reading for one in self._all if one.place < entry.place]
        behind = [one.reading for one in self._all if one.place > entry.place]
        again = retyped(question, entry.answer.typed, entry.step, self._making)
        return doubt_among(before, behind, entry.reading, again)

    def _tell_of_stop(self, entry: Entry, doubt: Doubt | None) -> None:
        """Tell of a servo that seems to stand on its stop, once for each stop."""
        if doubt is not None and not self._at_stop:
            self._asker.tell(
                f"{entry.answer.typed.strip()} is {abs(doubt.away_deg):.1f} deg of arm short of "
                "what the readings before it let expect: the servo may stand on its stop."
            )
        self._at_stop = doubt is not None

    def _put_in_question(self, entry: Entry, doubt: Doubt, question: Question) -> Question:
        """Keep that a reading is questioned, say why, and make the question of it."""
        text = said(doubt)
        self._notes.remark("questioned", entry.row, text, figures_of(doubt))
        self._asker.tell(text)
        offered, yes = "keep, or the reading again", ""
        if doubt.partner is not None:
            offered, yes = "keep, yes (exchange them), or the reading again", "exchanges them"
        elif doubt.likely is not None:
            offered = f"keep, yes ({doubt.likely}), or the reading again"
            yes = f"takes {doubt.likely} instead"
        return replace(
            question,
            text=f"{entry.step.pulse_us} us: {offered}",
            help="Look at the gauge once more. keep: it stands as it was typed"
            + (f"; yes: {yes}" if yes else "")
            + "; or type what the gauge shows. What was typed first is kept in the records in "
            f"any case. If another reading is the wrong one, redo it. {HELP}",
        )
