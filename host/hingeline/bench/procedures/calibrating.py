"""Measuring one servo: step, read, step, read, and fit its travel curve."""

from __future__ import annotations

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
    known = {(reading.pulse_us, reading.approach): reading for reading in plan.earlier}
    limits = plan.channel.limits_us
    whole = 2 + 2 * plan.points
    readings: list[Reading] = []

    def walk(steps: Sequence[Step]) -> list[Reading]:
        """Go through steps; a reading known from before is not asked for again."""
        taken = []
        for step in steps:
            go(board, {plan.channel.number: step.pulse_us})
            if not step.read:
                continue
            reading = known.get((step.pulse_us, step.approach))
            if reading is None:
                reading = _read(board, plan, step, asker, note)
            taken.append(reading)
            readings.append(reading)
            progress(len(readings), whole)
        return taken

    start = walk(first_step(plan.channel.centre_us, limits))
    rate, rate_u = rate_of_first_step(start)
    low, high = trim(limits, plan.channel.centre_us, rate, rate_u, plan.allowed_deg)
    walk(
        traverse(
            low,
            high,
            limits_us=limits,
            start_us=round(start[-1].pulse_us),
            points=plan.points,
        )
    )
    return fit(readings, nominal_centre_us=plan.channel.centre_us)


def _read(
    board: Board,
    plan: Calibration,
    step: Step,
    asker: Asker,
    note: Callable[[Step, Answer], None],
) -> Reading:
    while True:
        with board.attended():
            answer = put(plan.question(step.pulse_us), asker)
        note(step, answer)
        try:
            reading = plan.making(step.pulse_us, step.approach, answer)
        except TravelError as error:
            asker.tell(str(error))
            continue
        # Nothing more is sent to a servo that does not stop turning.
        refuse_turning([reading])
        return reading
