"""A calibration under way: step by step through a walk, with whatever is ordered in between."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from hingeline.bench.asking import Asker
from hingeline.bench.client import Board
from hingeline.bench.entering import Entries, Entry, Notes, where
from hingeline.bench.orders import Order
from hingeline.bench.procedures.channels import go
from hingeline.errors import TravelError
from hingeline.travel.curve import TravelCurve
from hingeline.travel.fit import fit
from hingeline.travel.indirect import moved_by_linkage
from hingeline.travel.schedule import RUN_UP_US, Step, reach
from hingeline.travel.walk import Walk

if TYPE_CHECKING:
    from hingeline.bench.procedures.calibrating import Calibration

#: Pulse in us and approach.
Place = tuple[float, str]


@dataclass(eq=False)
class _Task:
    """One reading to be taken.

    Attributes
    ----------
    step : Step
        Where.
    place : int
        Its place among the readings.
    again : Entry or None
        The reading that counts until this one is taken.
    replaces : int or None
        Number in the records of one that no longer counts, in whose place this one comes.
    open : Entry or None
        The reading once it is taken, until it is settled.
    fetched : bool
        It had been left out, and is wanted now.
    """

    step: Step
    place: int
    again: Entry | None = None
    replaces: int | None = None
    open: Entry | None = None
    fetched: bool = False


class Work:
    """A calibration under way: the walk, what goes before it, and where the servo stands."""

    def __init__(
        self,
        board: Board,
        plan: Calibration,
        asker: Asker,
        notes: Notes,
        progress: Callable[[int, int], None],
    ) -> None:
        self._board, self._plan, self._asker, self._notes = board, plan, asker, notes
        self._progress = progress
        self._walk = self._new_walk()
        self._left_out = self._corrected = False
        self._entries = Entries(plan.question, plan.making, asker, notes)
        self._tasks: list[_Task] = []  # the last one first
        self._skipped: dict[Place, _Task] = {}
        self._places = 0
        self._at: Step | None = None
        self._been_us: list[int] = []
        self._earlier = _by_place(plan.earlier)

    def done(self) -> TravelCurve:
        """Go through the walk, and through what the person wants in between."""
        while True:
            if not self._tasks:
                step = self._walk.next(self._entries.readings)
                if step is None:
                    if self._left_out and self._corrected and self._plan.budget is None:
                        self._walk_again()
                        continue
                    break
                self._go(step)
                if not step.read:
                    continue
                self._tasks.append(self._task(step))
            order = self._do(self._tasks[-1])
            if order is None:
                self._tasks.pop()
                self._progress(len(self._entries.readings), self._walk.whole)
            elif (curve := self._obey(order)) is not None:
                return curve
        # A walk that goes otherwise than before leaves readings over, as good as all others.
        for left in self._earlier.values():
            for entry in left:
                entry.place = self._next_place()
                self._entries.add(entry)
        return self._fit()

    def _new_walk(self) -> Walk:
        plan = self._plan

        def tell(text: str) -> None:
            self._left_out = True
            self._asker.tell(text)

        centre_us, limits_us = plan.channel.centre_us, plan.channel.limits_us
        return Walk(plan.kind, centre_us, limits_us, plan.allowed_deg, tell, plan.budget)

    def _walk_again(self) -> None:
        """Walk once more with what was read: a wrong reading had kept the walk from pulses."""
        self._asker.tell("Once more through the range, for what a wrong reading had left out.")
        self._left_out = self._corrected = False
        self._earlier = _by_place(self._entries.clear())
        self._walk = self._new_walk()

    # -- one reading -------------------------------------------------------------------

    def _task(self, step: Step) -> _Task:
        """Begin a step of the walk; what is known from before is not asked for again."""
        task = _Task(step, self._next_place())
        # In the order in which they were taken: centre is read more than once.
        if before := self._earlier.get(_at(step)):
            task.open = before.popleft()
            task.open.place = task.place
            self._entries.add(task.open)
        return task

    def _do(self, task: _Task) -> Order | None:
        """Take a reading and settle it; or return what has to be done first."""
        at = _at(task.step)
        fresh = task.open is None and task.again is None and task.replaces is None
        if fresh and (at in self._plan.left_out or at in self._skipped) and not task.fetched:
            self._skipped[at] = task
            return None
        self._return_to(task.step)
        with self._board.attended():
            if task.open is None:
                replaces = task.again.row if task.again else task.replaces
                taken = self._entries.read(task.step, task.place, replaces)
                if taken is None:
                    self._skipped[at] = task
                if not isinstance(taken, Entry):
                    return taken
                task.open = task.again or taken
                if task.again is not None:
                    task.again.become(taken)
                else:
                    self._entries.add(taken)
                task.again, task.replaces = None, None
                if self._plan.budget is not None:
                    self._plan.budget.count()
            return self._entries.settle(task.open)

    # -- orders ------------------------------------------------------------------------

    def _obey(self, order: Order) -> TravelCurve | None:
        """Do what was ordered at the task on top; return the curve when that ends the work."""
        if order.what == "stop here":
            return self._stop(order)
        if order.what == "note":
            self._notes.remark("note", text=order.text, figures=where(self._tasks[-1].step))
            self._asker.tell("The note is kept.")
        elif order.what == "skip":
            self._skip(order)
        else:
            self._take_again(order)
        return None

    def _stop(self, order: Order) -> TravelCurve | None:
        self._notes.remark("stopped", text=order.typed, figures=where(self._tasks[-1].step))
        try:
            return self._fit()
        except TravelError as error:
            self._asker.tell(f"{error} To leave without a curve, press Ctrl-C.")
            return None

    def _skip(self, order: Order) -> None:
        task = self._tasks[-1]
        if self._walk.range_us is None:
            self._asker.tell(
                "The first two readings decide how far the servo may be moved: they cannot be "
                "left out."
            )
            return
        if task.open is not None:
            self._set_aside(task.open, order)
        self._notes.remark("skipped", text=order.typed, figures=where(task.step))
        self._tasks.pop()
        if task.again is not None:
            self._asker.tell(f"{task.again.answer.typed.strip()} stands as before.")
            return
        task.open = None
        self._skipped[_at(task.step)] = task
        self._asker.tell(f"{task.step.pulse_us} us is left out.")

    def _take_again(self, order: Order) -> None:
        """Put a reading before the task on top, which comes back afterwards."""
        entry = self._entries.at(order)
        if entry is None:
            skipped = [
                task
                for (pulse_us, approach), task in self._skipped.items()
                if pulse_us == order.pulse_us and order.approach in (None, approach)
            ]
            if skipped:
                self._notes.remark("redo", text=order.typed, figures=where(skipped[-1].step))
                del self._skipped[_at(skipped[-1].step)]
                skipped[-1].fetched = True
                self._tasks.append(skipped[-1])
                return
            self._asker.tell(self._nothing_there(order))
            return
        if order.what == "undo":
            task = _Task(entry.step, entry.place, replaces=entry.row)
            self._set_aside(entry, order)
        else:
            task = _Task(entry.step, entry.place, again=entry)
            self._notes.remark("redo", entry.row, order.typed)
        self._corrected = True
        # What stood open with this very reading begins afresh.
        self._tasks = [one for one in self._tasks if entry not in (one.open, one.again)]
        self._tasks.append(task)
        self._asker.tell(
            f"Back to {entry.step.pulse_us} us, {entry.step.approach}, "
            f"where {entry.answer.typed.strip()} was typed."
        )

    def _set_aside(self, entry: Entry, order: Order) -> None:
        self._notes.remark("undone", entry.row, order.typed)
        self._entries.remove(entry)

    def _nothing_there(self, order: Order) -> str:
        pulses = sorted({round(reading.pulse_us) for reading in self._entries.readings})
        if not pulses:
            return "Nothing has been read yet."
        known = ", ".join(map(str, pulses))
        return f"There is no such reading ({order.typed.strip()}). Read so far: {known} us."

    # -- within ------------------------------------------------------------------------

    def _fit(self) -> TravelCurve:
        readings, linkage = self._entries.readings, self._plan.linkage
        return fit(
            readings,
            nominal_centre_us=self._plan.channel.centre_us,
            u_pulse_us=self._board.tick_ns / 1000.0 / math.sqrt(12.0),
            together_deg=moved_by_linkage(readings, linkage) if linkage else (),
        )

    def _next_place(self) -> int:
        self._places += 1
        return self._places

    def _go(self, step: Step) -> None:
        go(self._board, {self._plan.channel.number: step.pulse_us})
        self._at = step
        self._been_us.append(step.pulse_us)

    def _return_to(self, step: Step) -> None:
        """Bring the servo to where it was read, from the same side, if it is not there.

        It stays among the pulses at which it was before. The run-up is a whole one even where
        it stands on the right side already: nobody knows on which side its play lies.
        """
        at = self._at
        assert at is not None  # noqa: S101  (nothing is read before the first step)
        if (at.pulse_us, at.approach) == (step.pulse_us, step.approach):
            return
        sense = 1 if step.approach == "rising" else -1
        far = sense * (step.pulse_us - at.pulse_us) >= RUN_UP_US
        bounds = (min(self._been_us), max(self._been_us))
        way = reach(step.pulse_us, step.approach, at.pulse_us if far else step.pulse_us, bounds)
        for one in way or [step]:
            self._go(one)


def _at(step: Step) -> Place:
    return float(step.pulse_us), step.approach


def _by_place(entries: Sequence[Entry]) -> dict[Place, deque[Entry]]:
    """Sort readings by pulse and approach; at each in the order in which they stand."""
    found: dict[Place, deque[Entry]] = {}
    for entry in entries:
        found.setdefault(_at(entry.step), deque()).append(entry)
    return found
