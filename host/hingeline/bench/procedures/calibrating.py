"""Measuring one servo: step, read, step, read, and fit its travel curve."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from hingeline.bench.asking import Answer, Asker, Gauge, Question, put
from hingeline.bench.client import Board
from hingeline.bench.procedures.channels import Channel, go
from hingeline.bench.readings import Making
from hingeline.errors import TravelError
from hingeline.travel.curve import TravelCurve
from hingeline.travel.fit import fit
from hingeline.travel.reading import Reading
from hingeline.travel.schedule import (
    POINTS,
    Step,
    first_step,
    rate_of_first_step,
    refuse_turning,
    traverse,
    trim,
)

#: How often one reading is asked for before its pulse is left out.
TRIES = 2


@dataclass(frozen=True)
class Calibration:
    """What a calibration needs to know.

    Attributes
    ----------
    channel : Channel
        The servo's channel.
    gauge : Gauge
        What is read.
    question : callable
        Makes the question for a pulse in us.
    making : callable
        Turns pulse, approach and answer into a reading of the shaft.
    allowed_deg : tuple of float
        Shaft angles within which the servo may move here.
    points : int
        Readings each way.
    earlier : sequence of Reading
        Readings of an unfinished calibration that is taken up again.
    """

    channel: Channel
    gauge: Gauge
    question: Callable[[int], Question]
    making: Making
    allowed_deg: tuple[float, float]
    points: int = POINTS
    earlier: Sequence[Reading] = field(default=())


def calibrate(
    board: Board,
    plan: Calibration,
    asker: Asker,
    note: Callable[[Step, Answer], None],
    progress: Callable[[int, int], None] = lambda _done, _all: None,
) -> TravelCurve:
    """Measure a servo whose channel is in use, and fit its curve.

    Parameters
    ----------
    board : Board
        The bench.
    plan : Calibration
        What to do.
    asker : Asker
        Who reads the gauge.
    note : callable
        Keeps each answer before the next question is put.
    progress : callable
        Told the readings done and the readings to be done.

    Raises
    ------
    TravelError
        When the readings make no curve: the servo does not move, keeps turning, folds back.
    BenchError
        When the bench fails.
    """
    known: dict[tuple[float, str], list[Reading]] = {}
    for reading in plan.earlier:
        known.setdefault((reading.pulse_us, reading.approach), []).append(reading)
    limits = plan.channel.limits_us
    readings: list[Reading] = []
    whole = 2 * plan.points  # two of the first step, and all but one end each way

    def take(step: Step) -> None:
        """Go to a step; a reading known from before is not asked for again."""
        go(board, {plan.channel.number: step.pulse_us})
        if not step.read:
            return
        # In the order in which they were taken: centre is read more than once.
        before = known.get((step.pulse_us, step.approach))
        reading = before.pop(0) if before else _read(board, plan, step, asker, note)
        if reading is not None:
            readings.append(reading)
        progress(len(readings), whole)

    for step in first_step(plan.channel.centre_us, limits):
        take(step)
    rate, rate_u = rate_of_first_step(readings)
    _check_fitted(readings[0], plan.allowed_deg)
    left = _turns_left(readings[0], plan.allowed_deg)
    low, high = trim(limits, plan.channel.centre_us, rate, rate_u, left)
    for step in outward(low, high, round(readings[-1].pulse_us), plan.points):
        # The small step tells the rate only roughly: each reading says how much is left.
        way_us = step.pulse_us - readings[-1].pulse_us
        most = math.copysign(abs(rate) + 2.0 * rate_u, rate) * way_us
        lowest, highest = _turns_left(readings[-1], plan.allowed_deg)
        if most < min(lowest, 0.0) or most > max(highest, 0.0):
            asker.tell(
                f"{step.pulse_us} us is left out: from {readings[-1].angle_deg:.1f} deg of arm "
                "it may lead beyond what is allowed."
            )
            continue
        take(step)
    return fit(readings, nominal_centre_us=plan.channel.centre_us)


def outward(low_us: int, high_us: int, start_us: int, points: int) -> list[Step]:
    """Walk over a range up and down, beginning where the servo stands, in small steps.

    Up to the high end, down to the low one, and up again: so every step is next to a pulse
    that was read. At the ends there is no run-up, which would go beyond what is allowed.
    """
    steps = traverse(
        low_us, high_us, limits_us=(low_us, high_us), start_us=start_us, points=points
    )
    # The first would be a leap to the low end; all others are reached from their neighbours.
    up = [step for step in steps[1:] if step.approach == "rising"]
    down = [step for step in steps[1:] if step.approach == "falling"]
    above = [step for step in up if step.pulse_us > start_us]
    return [*above, *down, *(step for step in up if step.pulse_us <= start_us)]


def _check_fitted(centre: Reading, allowed_deg: tuple[float, float]) -> None:
    low, high = _turns_left(centre, allowed_deg)
    if not low < 0.0 < high:
        raise TravelError(
            f"at {centre.pulse_us:g} us the arm stands {centre.angle_deg:.1f} deg from its "
            f"planned place; it may turn {allowed_deg[0]:.1f} to {allowed_deg[1]:.1f} deg.",
            cause="The arm was fitted on another tooth, or with the servo not at its centre.",
            mend="Hold the servo at its centre, fit the arm nearer to its planned place, and "
            "calibrate again.",
        )


def _turns_left(reading: Reading, allowed_deg: tuple[float, float]) -> tuple[float, float]:
    """Return how far the shaft may still turn from a reading, whose doubt is taken off."""
    doubt_deg = 2.0 * reading.u_deg
    return (
        allowed_deg[0] - reading.angle_deg + doubt_deg,
        allowed_deg[1] - reading.angle_deg - doubt_deg,
    )


def _read(
    board: Board,
    plan: Calibration,
    step: Step,
    asker: Asker,
    note: Callable[[Step, Answer], None],
) -> Reading | None:
    """Ask for a reading; None when what is read here tells nothing of the servo.

    What cannot be used may be a slip, so it is asked for once more; but where a surface stands
    near a dead point of its linkage, no answer is better than another.
    """
    for _ in range(TRIES):
        with board.attended():
            answer = put(plan.question(step.pulse_us), asker, lambda answer: note(step, answer))
        try:
            reading = plan.making(step.pulse_us, step.approach, answer)
        except TravelError as error:
            asker.tell(str(error))
            continue
        # Nothing more is sent to a servo that does not stop turning.
        refuse_turning([reading])
        return reading
    asker.tell(f"{step.pulse_us} us is left out.")
    return None
