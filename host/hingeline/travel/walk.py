"""The walk of a calibration: its pulses one at a time, each chosen by what was read before.

A `Walk` is asked for the next step with the readings so far, and so can begin with a small
step whose result limits the rest, leave out what may lead too far, look closer where the
curve bends, and stop in time.
"""

from __future__ import annotations

import itertools
import math
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import replace

from hingeline.errors import TravelError
from hingeline.travel.bends import new_pulses
from hingeline.travel.kinds import FEWEST, Kind
from hingeline.travel.pace import Budget
from hingeline.travel.reading import Approach, Reading
from hingeline.travel.schedule import (
    FIRST_STEP_US,
    LEAST_STEP_US,
    RUN_UP_US,
    SLOWEST_READ,
    Step,
    rate_of_first_step,
    rate_of_first_steps,
    reach,
    traverse,
    trim,
)

#: No servo for models is faster than this per us, so that the first step is small enough for
#: any. Common practice, no source: the fastest known turn 0.135 deg/us.
FASTEST_DEG_PER_US = 0.3
#: Least first step that tells anything: beyond any dead band. Our own choice.
_SMALLEST_US = 2 * LEAST_STEP_US
#: Least way for the small step and the one that confirms it.
_LEAST_ROOM_US = _SMALLEST_US + LEAST_STEP_US


class Walk:
    """Gives the steps of one calibration, one at a time.

    The same readings give the same steps, so an unfinished calibration is taken up again by
    walking it once more with what was read. With a budget that is not so: readings that the
    walk does not ask for again are as good as the others, and belong into the fit.

    Whoever moves the servo between two steps, to read a pulse once more, brings it there by
    `hingeline.travel.schedule.reach`, and afterwards back the same way to where the walk left
    it: the approach of the next step counts on that.

    Parameters
    ----------
    kind : Kind
        How thorough.
    centre_us : int
        Pulse at which the arm is meant to be at 0 deg.
    limits_us : tuple of int
        Lowest and highest pulse that the servo may get.
    allowed_deg : tuple of float
        Shaft angles within which it may move.
    tell : callable
        Takes a line for each thing that is left out, and why.
    budget : Budget, optional
        How long it may take.

    Attributes
    ----------
    range_us : tuple of int or None
        What the walk covers; None until the first three readings are taken.
    first_us : list of int
        Centre, the small step and the one that confirms it, as far as they are given.
    whole : int
        Readings given and foreseen so far.
    """

    def __init__(
        self,
        kind: Kind,
        centre_us: int,
        limits_us: tuple[int, int],
        allowed_deg: tuple[float, float],
        tell: Callable[[str], None] = lambda _text: None,
        budget: Budget | None = None,
    ) -> None:
        self.range_us: tuple[int, int] | None = None
        self._kind, self._centre_us = kind, centre_us
        self._limits_us, self._allowed_deg = limits_us, allowed_deg
        self._tell, self._budget = tell, budget
        self._at_us = centre_us
        self._rate: tuple[float, float] | None = None
        self._sure = True
        self.first_us = [centre_us]
        self._rests_on: list[Reading] = []
        self._queue: deque[Step] = deque()
        self._given = 0
        self._parts: deque[Callable[[Sequence[Reading]], list[Step]]] = deque(
            [
                self._centre,
                self._small_step,
                self._confirming_step,
                self._first_cycle,
                *[self._further_cycle] * (kind.cycles - 1),
                *[self._look_closer] * kind.rounds,
                *[self._centre_once_more] * kind.centre_again,
            ]
        )

    @property
    def whole(self) -> int:
        """Readings given and foreseen so far."""
        return self._given + sum(step.read for step in self._queue)

    def outdated(self, readings: Sequence[Reading]) -> bool:
        """Tell whether a reading has changed on which the range rests."""
        angles = {reading.pulse_us: reading.angle_deg for reading in reversed(readings)}
        return any(angles.get(one.pulse_us) != one.angle_deg for one in self._rests_on)

    def begins_with(self, step: Step) -> bool:
        """Tell whether a step is one of those that decide how far the servo may be moved."""
        return step.approach == "rising" and step.pulse_us in self.first_us

    def next(self, readings: Sequence[Reading]) -> Step | None:
        """Return the next step, None at the end.

        Parameters
        ----------
        readings : sequence of Reading
            All that count now, in the order in which they were taken. What was taken back
            or typed wrongly is not among them.

        Raises
        ------
        TravelError
            When what was read allows no walk: the arm did not move, is fitted far off, or
            leaves nothing worth measuring. With other readings it may be asked again.
        """
        while True:
            while not self._queue:
                if not self._parts:
                    return None
                self._queue.extend(self._parts[0](readings))
                self._parts.popleft()
            step = self._queue.popleft()
            if step.pulse_us == self._at_us:
                continue  # what lay between was left out: from which side it stands is said
            if self._leads_too_far(step.pulse_us, readings):
                continue
            # What was left out before may have changed from where it is reached.
            rises = step.pulse_us >= self._at_us
            step = replace(step, approach="rising" if rises else "falling")
            self._at_us = step.pulse_us
            self._given += step.read
            return step

    # -- the parts, in their order -------------------------------------------------------

    def _centre(self, _readings: Sequence[Reading]) -> list[Step]:
        """Centre from below; the run-up shrinks where little movement is allowed."""
        room_us = min(-self._allowed_deg[0], self._allowed_deg[1]) / FASTEST_DEG_PER_US
        low = self._centre_us - int(max(_SMALLEST_US, min(RUN_UP_US, room_us)))
        high = self._centre_us + _LEAST_ROOM_US
        if not (self._limits_us[0] <= low and high <= self._limits_us[1]):
            raise TravelError(
                f"The first step needs {low} to {high} us; the limits are "
                f"{self._limits_us[0]} to {self._limits_us[1]} us.",
                mend="Widen the servo's pulse limits, or correct its centre.",
            )
        return [Step(low, "falling", False), Step(self._centre_us, "rising", True)]

    def _small_step(self, readings: Sequence[Reading]) -> list[Step]:
        """One small step: half of what the fastest servo may do, lest centre be misread."""
        centre = self._first_at(self._centre_us, readings)
        left_us = self._room_us(centre)
        if left_us < _LEAST_ROOM_US:  # also when it stands beyond
            raise TravelError(
                f"at {centre.pulse_us:g} us the arm stands {centre.angle_deg:.1f} deg from its "
                "planned place; it may turn {:.1f} to {:.1f} deg.".format(*self._allowed_deg),
                cause="The arm was fitted on another tooth, or with the servo not at its centre.",
                mend="Hold the servo at its centre and fit the arm nearer to its planned place; "
                "or calibrate with the rod off.",
            )
        room_us = min(2 * FIRST_STEP_US, left_us, self._limits_us[1] - self._centre_us)
        step_us = max(_SMALLEST_US, int(room_us / 2))
        self.first_us = [self._centre_us, self._centre_us + step_us]
        return [Step(self._centre_us + step_us, "rising", True)]

    def _confirming_step(self, readings: Sequence[Reading]) -> list[Step]:
        """As far again, still safe with the fastest servo: two readings may hold a slip."""
        centre, second = (self._first_at(pulse_us, readings) for pulse_us in self.first_us)
        rate_of_first_step([centre, second])  # a servo that does not move is not sent on
        at_us = self.first_us[1]
        pulse_us = int(
            min(
                2 * at_us - self._centre_us,
                self._centre_us + self._room_us(centre),
                at_us + self._room_us(second),
                self._limits_us[1],
            )
        )
        if pulse_us < at_us + LEAST_STEP_US:
            raise TravelError(
                f"at {at_us} us the arm was read at {second.angle_deg:.1f} deg, after "
                f"{centre.angle_deg:.1f} deg at {self._centre_us} us: one step more may lead "
                "beyond the {:.1f} to {:.1f} deg allowed.".format(*self._allowed_deg),
                cause="One of the two was misread, or the servo is faster than any known.",
                mend="Calibrate again; if it comes back, take the rod off (--rod-off).",
            )
        self.first_us.append(pulse_us)
        return [Step(pulse_us, "rising", True)]

    def _first_cycle(self, readings: Sequence[Reading]) -> list[Step]:
        """Up to the high end, down to the low one, and up again to where it began.

        So every step is next to a pulse that was read. At the ends there is no run-up, which
        would go beyond what is allowed.
        """
        first = [self._first_at(pulse_us, readings) for pulse_us in self.first_us]
        self._rests_on = first
        rate, u, self._sure = rate_of_first_steps(first)
        self._rate = rate, u
        left = self._left_deg(first[0])
        if not self._sure:  # which way it turns is not sure either
            least = min(-left[0], left[1])
            left = -least, least
        low, high = self.range_us = trim(self._limits_us, self._centre_us, rate, u, left)
        if not self._sure:
            pulses = ", ".join(map(str, self.first_us))
            self._tell(
                f"The readings at {pulses} us do not lie on a line: only {low} to {high} us are "
                "sure to be safe. If one of them is wrong, redo it."
            )
        points = self._points()
        steps = traverse(low, high, limits_us=(low, high), start_us=self._at_us, points=points)
        # The first would be a leap to the low end; all others are reached from neighbours.
        up = [step for step in steps[1:] if step.approach == "rising"]
        down = [step for step in steps[1:] if step.approach == "falling"]
        above = [step for step in up if step.pulse_us > self._at_us]
        below = [step for step in up if step.pulse_us <= self._at_us]
        known = self.first_us[1:]
        return [*above, *down, *(step for step in below if step.pulse_us not in known)]

    def _further_cycle(self, readings: Sequence[Reading]) -> list[Step]:
        """Walk once more up and down: what repeats is the servo, what does not is scatter."""
        low, high = _measured(readings)
        points = self._fitting(low, high)
        steps = traverse(low, high, limits_us=(low, high), start_us=self._at_us, points=points)
        return self._if_in_time("the second walk", list(steps))

    def _look_closer(self, readings: Sequence[Reading]) -> list[Step]:
        """Read between the pulses where the curve bends most, from both sides."""
        pulses = new_pulses(readings, self._kind.closer)
        room = self._budget.room() if self._budget else None
        if room is not None and 2 * len(pulses) > room:
            self._tell(f"No time for {len(pulses) - room // 2} pulses where the curve bends.")
            pulses = pulses[: room // 2]
        return self._both_sides(pulses, readings)

    def _centre_once_more(self, readings: Sequence[Reading]) -> list[Step]:
        """Centre from both sides: what everything else is counted from, and what may drift."""
        steps = self._both_sides([self._centre_us], readings)
        return self._if_in_time("centre once more", steps)

    # -- what they have in common --------------------------------------------------------

    def _points(self) -> int:
        """Return the points each way for which there is time and room."""
        assert self.range_us is not None  # noqa: S101  (set before)
        low, high = self.range_us
        points = self._fitting(low, high)
        if self._budget is None:
            return points
        room = self._budget.room()
        thinned = max(FEWEST, min(points, room // 2 + 1))
        if thinned < points:
            self._tell(f"{thinned} points each way instead of {points}, to keep to the time.")
        if 2 * thinned - 2 > room:
            minutes = self._budget.needed_min(2 * thinned - 2)
            self._tell(
                f"Even {thinned} points each way take about {minutes:.0f} minutes more; "
                "fewer make no curve."
            )
        return min(points, thinned)

    def _fitting(self, low_us: int, high_us: int) -> int:
        """Return the points each way, fewer where they would stand too close."""
        return min(self._kind.points, max(3, (high_us - low_us) // LEAST_STEP_US + 1))

    def _if_in_time(self, what: str, steps: list[Step]) -> list[Step]:
        """Return the steps, or none and say so when there is no time for all of them."""
        if self._budget is not None and sum(step.read for step in steps) > self._budget.room():
            self._tell(f"No time for {what}.")
            return []
        return steps

    def _both_sides(self, pulses: Sequence[int], readings: Sequence[Reading]) -> list[Step]:
        """Read pulses inside the measured range on the way up and on the way down."""
        if not pulses:
            return []
        steps: list[Step] = []
        at_us, bounds = self._at_us, _measured(readings)
        sides: tuple[tuple[Approach, bool], ...] = (("rising", False), ("falling", True))
        for approach, downwards in sides:
            for pulse in sorted(pulses, reverse=downwards):
                steps += reach(pulse, approach, at_us, bounds)
                at_us = pulse
        return steps

    def _first_at(self, pulse_us: int, readings: Sequence[Reading]) -> Reading:
        """Return the first reading at a pulse of the small step, which must not be missing."""
        for reading in readings:
            if reading.pulse_us == pulse_us:
                return reading
        raise TravelError(
            f"The arm was not read at {pulse_us} us.",
            cause="The first three readings decide how far the servo may be moved.",
            mend="Read them; if the surface tells nothing there, read the arm itself.",
        )

    def _left_deg(self, reading: Reading) -> tuple[float, float]:
        """Return how far the shaft may still turn from a reading, whose doubt is taken off."""
        doubt_deg = 2.0 * reading.u_deg
        return (
            self._allowed_deg[0] - reading.angle_deg + doubt_deg,
            self._allowed_deg[1] - reading.angle_deg - doubt_deg,
        )

    def _room_us(self, reading: Reading) -> float:
        """Return how many us from a reading even the fastest servo may go, either way."""
        low, high = self._left_deg(reading)
        return min(-low, high) / FASTEST_DEG_PER_US

    def _leads_too_far(self, pulse_us: int, readings: Sequence[Reading]) -> bool:
        """Tell whether a pulse may lead beyond what is allowed, and say so.

        The first steps tell the rate only roughly: the nearest readings say how much is left,
        those at two pulses, since one may be wrong. Between two pulses that were read nothing
        new is to be feared.
        """
        if self._rate is None or len(readings) < 2:
            return False
        low_us, high_us = _measured(readings)
        if low_us <= pulse_us <= high_us:
            return False
        pulses = {reading.pulse_us for reading in readings}
        two = sorted(pulses, key=lambda one: abs(one - pulse_us))[:2]
        near = [reading for reading in readings if reading.pulse_us in two]
        rate, u = self._rate
        fastest = max(abs(rate) + 2.0 * u, _surely_seen(near))
        if min(abs(one - pulse_us) for one in two) > self.first_us[-1] - self._centre_us:
            # A leap makes more of a slip too small to be told among the first readings.
            fastest = max(fastest, _fastest_part(self._rests_on))
        for reading in sorted(near, key=lambda one: abs(one.pulse_us - pulse_us)):
            most = math.copysign(fastest, rate) * (pulse_us - reading.pulse_us)
            low, high = self._left_deg(reading)
            if not self._sure:
                low, high = -min(-low, high), min(-low, high)
            if not min(low, 0.0) <= most <= max(high, 0.0):
                self._tell(
                    f"{pulse_us} us is left out: from {reading.angle_deg:.1f} deg of arm at "
                    f"{reading.pulse_us:g} us it may lead beyond what is allowed."
                )
                return True
        return False


def _fastest_part(readings: Sequence[Reading]) -> float:
    """Return the fastest rate that there may be between neighbours."""
    return max(
        (abs(b.angle_deg - a.angle_deg) + 2.0 * math.hypot(a.u_deg, b.u_deg))
        / (b.pulse_us - a.pulse_us)
        for a, b in itertools.pairwise(readings)
    )


def _surely_seen(readings: Sequence[Reading]) -> float:
    """Return the fastest rate between readings of one side, less what the gauge may be off."""
    return max(
        (
            (abs(a.angle_deg - b.angle_deg) - SLOWEST_READ * math.hypot(a.u_deg, b.u_deg))
            / abs(a.pulse_us - b.pulse_us)
            for a, b in itertools.combinations(readings, 2)
            if a.approach == b.approach and a.pulse_us != b.pulse_us
        ),
        default=0.0,
    )


def _measured(readings: Sequence[Reading]) -> tuple[int, int]:
    pulses = [round(reading.pulse_us) for reading in readings]
    return min(pulses), max(pulses)
