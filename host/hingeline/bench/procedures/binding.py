"""Listening to a servo step by step, with its rod on and with it off."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from hingeline.bench.boards import Boards
from hingeline.bench.choices import Choice, Chooser, chosen
from hingeline.bench.procedures.channels import Channel, go
from hingeline.errors import BenchError
from hingeline.travel.binding import STEP_US, Heard, Side, heard_of, outward

#: How long each pulse is held to be listened to: no servo is ruined in that time. Our own choice.
HOLD_S = 2.0
QUIET, BUZZING, AGAIN, HOT = "quiet", "buzzing", "again", "hot"
OFF, ON = "off", "on"


@dataclass(frozen=True)
class Listening:
    """What is to be listened to.

    Attributes
    ----------
    channel : Channel
        The servo's.
    ends_us : tuple of int
        Lowest and highest pulse, around the channel's centre.
    step_us : int
        Distance between two pulses.
    hold_s : float
        How long each is held.
    rod_on : bool
        Whether the rod is on at the beginning.
    """

    channel: Channel
    ends_us: tuple[int, int]
    step_us: int = STEP_US
    hold_s: float = HOLD_S
    rod_on: bool = True


#: Given the pulse (None: no pulses), whether the rod was on, what was typed, what was understood.
Keep = Callable[[int | None, bool, str, str], None]


def listen(board: Boards, plan: Listening, asker: Chooser, keep: Keep) -> tuple[Side, Side]:
    """Find the first pulse that buzzes each way, with the rod on and then with it off.

    Every pulse is held for a moment only; the servo is back at its centre before the question
    is put, so that nobody who is called away leaves it buzzing. The rod is asked for only when
    something buzzed, and while it is taken off there are no pulses.

    Parameters
    ----------
    board : Boards
        With the channel in use.
    plan : Listening
        What to do.
    asker : Chooser
        Who listens.
    keep : callable
        Keeps each answer before anything else happens.

    Returns
    -------
    low, high : Side

    Raises
    ------
    BenchError
        When the servo was said to be hot; its pulses are off then.
    """
    on = _both_ways(board, plan, asker, keep, rod_on=True) if plan.rod_on else None
    off = None
    if on is None:
        off = _both_ways(board, plan, asker, keep, rod_on=False)
    elif any(heard.buzzing_us is not None for heard in on):
        _rod(board, plan, asker, keep, OFF)
        off = _both_ways(board, plan, asker, keep, rod_on=False)
        _rod(board, plan, asker, keep, ON)
    centre = plan.channel.centre_us
    low, high = (
        Side(centre, on[end] if on else None, off[end] if off else None) for end in (0, 1)
    )
    return low, high


def _both_ways(
    board: Boards, plan: Listening, asker: Chooser, keep: Keep, *, rod_on: bool
) -> tuple[Heard, Heard]:
    """Go out to both ends, each until something buzzes. Centre belongs to both."""
    centre = plan.channel.centre_us
    at_centre = _quiet(board, plan, centre, asker, keep, rod_on=rod_on)
    found = []
    for end in plan.ends_us:
        pulses = outward(centre, end, plan.step_us)
        quiet = [at_centre]
        while quiet[-1] and len(quiet) < len(pulses):
            pulse = pulses[len(quiet)]
            quiet.append(_quiet(board, plan, pulse, asker, keep, rod_on=rod_on))
        found.append(heard_of(pulses, quiet))
    return found[0], found[1]


def _quiet(
    board: Boards, plan: Listening, pulse_us: int, asker: Chooser, keep: Keep, *, rod_on: bool
) -> bool:
    """Hold a pulse for a moment, go back to centre, and ask what was heard."""
    number, label = plan.channel.number, plan.channel.label
    question = Choice(
        f"{label}: at {pulse_us} us, was it",
        number,
        (QUIET, BUZZING, AGAIN, HOT),
        help=f"{BUZZING}: it hummed or growled for as long as it was held; a short noise while it "
        f"moves is none. {AGAIN}: listen once more. {HOT}: it is too hot to touch or smells: the "
        "pulses stop at once. The first letter is enough.",
    )
    while True:
        asker.tell(f"Listen to {label} at {pulse_us} us.")
        go(board, {number: pulse_us})
        board.wait(plan.hold_s)
        go(board, {number: plan.channel.centre_us})
        with board.attended():
            word = chosen(question, asker, lambda typed, word: keep(pulse_us, rod_on, typed, word))
        if word == HOT:
            board.off([number])
            raise BenchError(
                f"{label}: hot at {pulse_us} us; its pulses are off.",
                cause="A servo that is held from where it was sent draws its full current.",
                mend="Unplug it and let it cool; free the linkage, then listen again.",
            )
        if word != AGAIN:
            return word == QUIET


def _rod(board: Boards, plan: Listening, asker: Chooser, keep: Keep, wanted: str) -> None:
    """Have the rod taken off or put on, without pulses meanwhile."""
    board.off([plan.channel.number])
    how = "Take the rod off" if wanted == OFF else "Put the rod on again"
    question = Choice(
        f"{how} {plan.channel.label}; when it is, type {wanted}", plan.channel.number, (wanted,)
    )
    with board.attended():
        chosen(question, asker, lambda typed, word: keep(None, wanted == OFF, typed, word))
