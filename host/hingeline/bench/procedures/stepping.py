"""A calibration under way: step by step through a walk, with whatever is ordered in between."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from hingeline.bench.asking import Asker
from hingeline.bench.boards import Boards
from hingeline.bench.entering import Entries, Entry, Notes, where
from hingeline.bench.orders import Order
from hingeline.bench.procedures.channels import go
from hingeline.errors import TravelError
from hingeline.travel.curve import TravelCurve
from hingeline.travel.fit import fit
from hingeline.travel.indirect import moved_by_linkage
from hingeline.travel.schedule import REST_DEG, RUN_UP_US, SLOWEST_READ, Step, reach
from hingeline.travel.walk import Walk

if TYPE_CHECKING:
    from hingeline.bench.procedures.calibrating import Calibration

#: Up/down difference that may have come in between two sittings, in degrees; less than what one
#: tooth of a spline makes. Our own choice.
PLAY_DEG = 2.0
#: How many readings are looked at again when a calibration is taken up: centre, the small step.
CHECKS = 2
#: Part of what is allowed below which the range read is little. Our own choice.
LITTLE = 0.5
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
    waits : bool
        The walk has not come to its pulse yet.
    check : bool
        Its reading is of an earlier sitting, and is looked at again before anything else.
    """

    step: Step
    place: int
    again: Entry | None = None
    replaces: int | None = None
    open: Entry | None = None
    fetched: bool = False
    waits: bool = False
    check: bool = False


class Work:
    """A calibration under way: the walk, what goes before it, and where the servo stands."""

    def __init__(
        self,
        board: Boards,
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
        self._rate_asked = False
        self._resumed = True
        self._checked: list[float] = []  # how much more was read there when taken up again
        for entry in plan.earlier:
            entry.place, entry.waits = self._next_place(), True
            self._entries.add(entry)

    def done(self) -> TravelCurve:
        """Go through the walk, and through what the person wants in between."""
        while True:
            if not self._tasks:
                if self._walk.outdated(self._entries.met):
                    self._walk_again("Once more through the range, which rested on that reading.")
                step = self._walk.next(self._entries.met)
                if step is None:
                    if self._left_out and self._corrected and self._plan.budget is None:
                        self._walk_again(
                            "Once more through the range, for what a wrong reading had left out."
                        )
                        continue
                    break
                self._go(step)
                if not step.read:
                    continue
                self._tasks.append(self._task(step))
            order = self._do(self._tasks[-1])
            if order is None:
                self._tasks.pop()
                self._progress(len(self._entries.met), self._walk.whole)
            elif (curve := self._obey(order)) is not None:
                return curve
        self._tell_of_little_range()
        # A walk that goes otherwise than before leaves readings over, as good as all others.
        return self._fit()

    def _new_walk(self) -> Walk:
        plan = self._plan

        def tell(text: str) -> None:
            self._left_out = True
            self._asker.tell(text)

        centre_us, limits_us = plan.channel.centre_us, plan.channel.limits_us
        return Walk(plan.kind, centre_us, limits_us, plan.allowed_deg, tell, plan.budget)

    def _walk_again(self, why: str) -> None:
        """Walk once more with what was read: a wrong reading had kept the walk from pulses."""
        self._asker.tell(why)
        self._left_out = self._corrected = self._resumed = False
        self._entries.wait()
        self._walk = self._new_walk()

    def _tell_of_little_range(self) -> None:
        """Tell when much less was read than the linkage and the pulse limits allow."""
        readings = self._entries.readings
        pulses = [reading.pulse_us for reading in readings]
        angles = [reading.angle_deg for reading in readings]
        low_us, high_us = self._plan.channel.limits_us
        used_us = (max(pulses) - min(pulses)) / (high_us - low_us)
        low, high = self._plan.allowed_deg
        used_deg = (max(angles) - min(angles)) / (high - low)
        if max(used_us, used_deg) < LITTLE:
            self._asker.tell(
                f"Read was only {min(pulses):g} to {max(pulses):g} us, {min(angles):.1f} to "
                f"{max(angles):.1f} deg of arm; {low:.1f} to {high:.1f} deg are allowed. "
                "Look whether one of the first readings is wrong, and calibrate again."
            )

    # -- one reading -------------------------------------------------------------------

    def _task(self, step: Step) -> _Task:
        """Begin a step of the walk; what is known from before is not asked for again."""
        task = _Task(step, self._next_place())
        # In the order in which they were taken: centre is read more than once.
        task.open = self._entries.meet(step, task.place)
        task.check = (
            self._resumed
            and len(self._checked) < CHECKS
            and self._walk.begins_with(step)
            and task.open in self._plan.earlier
        )
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
            if task.check and task.open is not None:
                order = self._check(task.open)
                if order is not None:
                    return order
                task.check = False
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
                    taken.waits = task.waits
                    self._entries.add(taken)
                task.again, task.replaces = None, None
                if self._plan.budget is not None:
                    self._plan.budget.count()
            return self._entries.settle(task.open) or self._begin(task.open)

    def _begin(self, entry: Entry) -> Order | None:
        """Have the small step confirmed where it is far from what the maker says."""
        maker, pulses = self._plan.maker_deg_per_us, self._walk.first_us
        if maker is None or self._rate_asked or len(pulses) < 2:
            return None
        first, second = (self._entries.first_at(pulse_us) for pulse_us in pulses[:2])
        if first is None or entry is not second:
            return None
        order = self._entries.question_rate(first, entry, maker)
        self._rate_asked = order is None
        return order

    def _check(self, entry: Entry) -> Order | None:
        """See that the servo and its arm are those of the earlier sitting.

        Raises
        ------
        TravelError
            When they are not: nothing more is sent, and nothing read before is mixed with this.
        """
        more = 0.0
        for again in (False, True):
            found = self._entries.check(entry)
            if isinstance(found, Order):
                return found
            more = found
            # The small step is looked at by itself: where play lies is the same in both.
            moved = more - self._checked[0] if self._checked else more
            u = math.hypot(entry.reading.u_deg, REST_DEG)
            doubts = 2.0 if self._checked else math.sqrt(2.0)
            play_deg = 0.0 if self._checked else PLAY_DEG
            if abs(moved) <= SLOWEST_READ * doubts * u + play_deg:
                self._checked.append(more)
                return None
            if not again:
                self._asker.tell(
                    f"At {entry.step.pulse_us} us {entry.answer.typed.strip()} was read before, "
                    f"{abs(more):.1f} deg of arm away. Look at the gauge once more."
                )
        raise TravelError(
            f"at {entry.step.pulse_us} us the arm stands {abs(more):.1f} deg from where it stood "
            f"({entry.answer.typed.strip()}) when this calibration was begun.",
            cause="It is another servo, or its arm, its rod or the gauge was fitted anew.",
            mend="Begin afresh, without --resume.",
        )

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
        alone = task.open is None or not self._entries.others_at(task.open)
        if task.again is None and self._walk.begins_with(task.step) and alone:
            self._refuse(
                order,
                "The first three readings decide how far the servo may be moved: they cannot be "
                "left out.",
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
        far = entry is not None and not self._walk.begins_with(entry.step)
        unseen = self._resumed and self._plan.earlier and self._walk.range_us is None
        if self._tasks[-1].check or (unseen and far):
            self._refuse(order, "First it must be seen that the servo is the same as before.")
            return
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
            self._refuse(order, self._nothing_there(order))
            return
        if order.what == "undo":
            task = _Task(entry.step, entry.place, replaces=entry.row, waits=entry.waits)
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

    def _refuse(self, order: Order, why: str) -> None:
        """Keep what was typed, and say why it is not done."""
        self._notes.remark("not done", text=order.typed, figures=where(self._tasks[-1].step))
        self._asker.tell(why)

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
        # Where the servo was in an earlier sitting it was read.
        been = [*self._been_us, *(entry.step.pulse_us for entry in self._plan.earlier)]
        bounds = (min(been), max(been))
        way = reach(step.pulse_us, step.approach, at.pulse_us if far else step.pulse_us, bounds)
        for one in way or [step]:
            self._go(one)


def _at(step: Step) -> Place:
    return float(step.pulse_us), step.approach
