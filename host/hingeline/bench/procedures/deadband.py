"""Finding a servo's dead band: the same run-up each time, and one small step back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from hingeline.bench.boards import Boards
from hingeline.bench.choices import Choice, Chooser, chosen
from hingeline.bench.procedures.channels import Channel, go
from hingeline.errors import TravelError
from hingeline.travel.deadband import MOST_US, Staircase, Threshold

#: Run-up to the pulse before each step: more than the largest step, so that the play lies on
#: the same side each time. Our own choice.
RUN_UP_US = 60
#: Between the call to watch and the step. Our own choice.
WATCH_S = 1.5
MOVED, STILL, AGAIN = "moved", "still", "again"


@dataclass(frozen=True)
class Trial:
    """One step back, and what it is told by.

    Attributes
    ----------
    pulse_us : int
        From where.
    step_us : int
        Signed: negative is down.
    """

    pulse_us: int
    step_us: int


def find_thresholds(
    board: Boards,
    channel: Channel,
    pulse_us: int,
    asker: Chooser,
    keep: Callable[[Trial, str, str], None],
    *,
    what: str = "the arm",
) -> tuple[Threshold, Threshold]:
    """Find the least step back that moves a servo, after a rising and after a falling pulse.

    Parameters
    ----------
    board : Boards
        With the channel in use.
    channel : Channel
        The servo's.
    pulse_us : int
        Where; `RUN_UP_US` to both sides must be within the channel's limits.
    asker : Chooser
        Who watches.
    keep : callable
        Given the trial, what was typed and what was understood, before anything else happens.
    what : str
        What is watched: "the arm".

    Returns
    -------
    back_down, back_up : Threshold
        After a rising pulse, and after a falling one.

    Raises
    ------
    TravelError
        When there is no room, or nothing moved at all.
    """
    low, high = channel.limits_us
    if not low + RUN_UP_US <= pulse_us <= high - RUN_UP_US:
        raise TravelError(
            f"{channel.label}: {pulse_us} us is too near its limits, {low} to {high} us.",
            cause=f"Each step back needs a run-up of {RUN_UP_US} us, from both sides.",
            mend=f"Name a pulse from {low + RUN_UP_US} to {high - RUN_UP_US} us.",
        )
    finest_us = max(1, round(board.tick_ns / 1000))
    found = []
    for sense in (-1, 1):
        staircase = Staircase(finest_us)
        while (step_us := staircase.next_us) is not None:
            trial = Trial(pulse_us, sense * step_us)
            staircase.answer(_moves(board, channel, trial, asker, keep, what))
        found.append(staircase.threshold(MOST_US))
    return found[0], found[1]


def _moves(
    board: Boards,
    channel: Channel,
    trial: Trial,
    asker: Chooser,
    keep: Callable[[Trial, str, str], None],
    what: str,
) -> bool:
    """Make one step back after its run-up, and ask whether it showed."""
    number, sense = channel.number, 1 if trial.step_us > 0 else -1
    question = Choice(
        f"{channel.label}: did {what} move",
        number,
        (MOVED, STILL, AGAIN),
        help=f"Type {MOVED} or {STILL}, or its first letter. {AGAIN}: the step is made once more.",
    )
    while True:
        go(board, {number: trial.pulse_us + sense * RUN_UP_US})
        go(board, {number: trial.pulse_us})
        asker.tell(f"Watch {what} of channel {number}: a step of {abs(trial.step_us)} us comes.")
        board.wait(WATCH_S)
        go(board, {number: trial.pulse_us + trial.step_us})
        with board.attended():
            word = chosen(question, asker, lambda typed, word: keep(trial, typed, word))
        if word != AGAIN:
            return word == MOVED
