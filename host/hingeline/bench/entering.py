"""The readings of one servo as they are typed: kept at once, judged, and questioned if odd.

What was typed is never changed. A correction is a further reading, with a remark on the one that
it replaces; only those that stand are given on to the fit.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Protocol

from hingeline.bench.asking import Answer, Asker, Question, heard, say_understood, understand
from hingeline.bench.doubting import figures_of, instead, offering, said
from hingeline.bench.orders import HELP, Order, order_of
from hingeline.bench.readings import Making, retyped
from hingeline.errors import TravelError
from hingeline.travel.judging import Doubt, doubt_among
from hingeline.travel.reading import Reading
from hingeline.travel.schedule import Step, refuse_turning

#: How often one reading is asked for before its pulse is left out.
TRIES = 2
#: A rate so many times the maker's, or so many times less, is questioned. Our own choice.
FAR_FROM_MAKER = 3.0


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
    waits : bool
        It was read before this walk, which has not come to its pulse yet.
    """

    reading: Reading
    answer: Answer
    row: int
    stands: bool = False
    place: int = 0
    waits: bool = False

    @property
    def order(self) -> tuple[bool, int]:
        """Its place with those that wait behind all others."""
        return self.waits, self.place

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

    @property
    def met(self) -> list[Reading]:
        """Those of them to which the walk has come."""
        return [entry.reading for entry in self._all if not entry.waits]

    def add(self, entry: Entry) -> None:
        """Let a reading count."""
        self._all.append(entry)
        self._all.sort(key=lambda one: one.order)

    def meet(self, step: Step, place: int) -> Entry | None:
        """Give the reading that waits at a step its place in the walk; the first of several."""
        for entry in self._all:
            if entry.waits and (entry.step.pulse_us, entry.step.approach) == (
                step.pulse_us,
                step.approach,
            ):
                entry.waits, entry.place = False, place
                self._all.sort(key=lambda one: one.order)
                return entry
        return None

    def wait(self) -> None:
        """Let all wait for another walk; they count as before."""
        for entry in self._all:
            entry.waits = True

    def first_at(self, pulse_us: int) -> Entry | None:
        """Return the first reading at a pulse to which the walk has come."""
        there = (one for one in self._all if one.step.pulse_us == pulse_us and not one.waits)
        return next(there, None)

    def others_at(self, entry: Entry) -> bool:
        """Tell whether a pulse was read from the same side more than once."""
        return any(one is not entry and one.step == entry.step for one in self._all)

    def remove(self, entry: Entry) -> None:
        """Let a reading no longer count."""
        self._all.remove(entry)

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
        likely: tuple[str, str] | None = None
        while tries < TRIES:
            asked = offering(question, f"{step.pulse_us} us", likely) if likely else question
            typed = self._asker.ask(asked)
            if order := order_of(typed):
                return order
            answer = self._taken(question, step, typed, likely) or self._heard(asked, step, typed)
            if answer is None:
                likely = self._instead(question, step, place, typed) or likely
                continue
            entry, row = self._keep(step, place, answer, replaces)
            if entry is not None:
                return entry
            tries, replaces = tries + 1, row
            likely = self._instead(question, step, place, typed)
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

    def question_rate(self, first: Entry, second: Entry, maker_deg_per_us: float) -> Order | None:
        """Question the small step once where its rate is far from the maker's.

        Returns
        -------
        Order or None
            As for `settle`.
        """
        way_us = abs(second.reading.pulse_us - first.reading.pulse_us)
        moved = abs(second.reading.angle_deg - first.reading.angle_deg)
        doubt = 2.0 * math.hypot(first.reading.u_deg, second.reading.u_deg)
        usual = abs(maker_deg_per_us) * way_us
        if (
            second.stands
            or usual / FAR_FROM_MAKER - doubt <= moved <= usual * FAR_FROM_MAKER + doubt
        ):
            return None
        text = (
            f"From {first.answer.typed.strip()} at {first.step.pulse_us} us to "
            f"{second.answer.typed.strip()} at {second.step.pulse_us} us is "
            f"{moved / way_us:.3f} deg/us; the model file says {abs(maker_deg_per_us):.3f}. "
            "How far the servo is moved rests on these two."
        )
        figures = {"rate_deg_per_us": moved / way_us, "maker_deg_per_us": abs(maker_deg_per_us)}
        self._notes.remark("questioned", second.row, text, figures)
        self._asker.tell(text)
        question = self._question(second.step.pulse_us)
        asked = replace(
            question,
            text=f"{second.step.pulse_us} us: keep, or the reading again",
            help="Look at the gauge once more. keep: it stands as it was typed; or type what the "
            f"gauge shows. If the other one is wrong, redo {first.step.pulse_us}. {HELP}",
        )
        doubt_of_it = Doubt(second.reading, first.reading.angle_deg, doubt)
        return self._decide(second, doubt_of_it, question, asked)

    def check(self, entry: Entry) -> Order | float:
        """Ask again for a reading of before; return how much more the gauge shows now, in deg.

        What is typed is kept as a remark on the reading of before, which alone counts.

        Raises
        ------
        TravelError
            When the servo keeps turning.
        """
        step, question = entry.step, self._question(entry.step.pulse_us)
        question = replace(
            question,
            text=f"To see that all is as it was. {question.text}",
            help=f"{question.help} {HELP}",
        )
        while True:
            typed = self._asker.ask(question)
            if order := order_of(typed):
                return order
            answer = self._heard(question, step, typed)
            if answer is None:
                continue
            figures = {**where(step), "value": answer.value, "unit": answer.unit}
            self._notes.remark("checked", entry.row, typed, figures)
            say_understood(answer, self._asker)
            try:
                reading = self._making(step.pulse_us, step.approach, answer)
            except TravelError as error:
                self._asker.tell(str(error))
                continue
            refuse_turning([reading])
            return reading.angle_deg - entry.reading.angle_deg

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

    def _instead(
        self, question: Question, step: Step, place: int, typed: str
    ) -> tuple[str, str] | None:
        """Find what was probably meant by a text of which no reading can be made."""
        before = [one.reading for one in self._all if one.order < (False, place)]
        behind = [one.reading for one in self._all if one.order > (False, place)]
        return instead(retyped(question, typed, step, self._making), typed, before, behind)

    def _taken(
        self, question: Question, step: Step, typed: str, likely: tuple[str, str] | None
    ) -> Answer | None:
        """Return what was offered, if that is agreed to; the agreement is kept first."""
        if likely is None or typed.strip().lower() != "yes":
            return None
        self._notes.remark("agreed", text=typed, figures={**where(step), "likely": likely[0]})
        return understand(question, likely[0])

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
        before = [one.reading for one in self._all if one.order < entry.order]
        # What waits and was typed after it will be judged by it, not the other way round.
        behind = [
            one.reading
            for one in self._all
            if one.order > entry.order and not (one.waits and one.row > entry.row)
        ]
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
