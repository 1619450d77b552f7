"""Measuring one servo: step, read, step, read, and fit its travel curve."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from hingeline.bench.asking import Asker, Gauge, Question
from hingeline.bench.boards import Boards
from hingeline.bench.entering import Entry, Notes
from hingeline.bench.procedures.channels import Channel
from hingeline.bench.procedures.stepping import Place, Work
from hingeline.bench.readings import Making
from hingeline.linkage.closure import Linkage
from hingeline.travel.curve import TravelCurve
from hingeline.travel.kinds import USUAL, Kind
from hingeline.travel.pace import Budget


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
    kind : Kind
        How thorough.
    budget : Budget, optional
        How long it may take.
    earlier : sequence of Entry
        Readings of an unfinished calibration that is taken up again, in their order.
    left_out : collection of (float, str)
        Pulses and approaches that the person has left out of it.
    linkage : Linkage, optional
        That through which the readings are taken; its own doubt counts in every figure.
    maker_deg_per_us : float, optional
        The servo's rate by its maker; a small step far from it is questioned.
    """

    channel: Channel
    gauge: Gauge
    question: Callable[[int], Question]
    making: Making
    allowed_deg: tuple[float, float]
    kind: Kind = USUAL
    budget: Budget | None = None
    earlier: Sequence[Entry] = field(default=())
    left_out: frozenset[Place] = frozenset()
    linkage: Linkage | None = None
    maker_deg_per_us: float | None = None


def calibrate(
    board: Boards,
    plan: Calibration,
    asker: Asker,
    notes: Notes,
    progress: Callable[[int, int], None] = lambda _done, _all: None,
) -> TravelCurve:
    """Measure a servo whose channel is in use, and fit its curve.

    Parameters
    ----------
    board : Boards
        The bench.
    plan : Calibration
        What to do.
    asker : Asker
        Who reads the gauge.
    notes : Notes
        Keeps each answer and each remark before anything else happens.
    progress : callable
        Told the readings done and the readings to be done.

    Raises
    ------
    TravelError
        When the readings make no curve: the servo does not move, keeps turning, folds back.
    BenchError
        When the bench fails.
    """
    return Work(board, plan, asker, notes, progress).done()
