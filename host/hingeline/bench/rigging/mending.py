"""What is wrong is named, a mend is chosen, done, and what rests on it is open again."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from hingeline.bench.choices import Choice
from hingeline.bench.rigging.context import Result, Rig
from hingeline.rigging.naming import Mend, Named
from hingeline.rigging.steps import Item

LEAVE = "leave"
#: What is never left as it is: with a wrong plug, everything after it would move a wrong servo.
_NEVER_LEFT = frozenset({"leads"})
#: Mends for which nothing is done by hand.
_BY_PULSE = frozenset({"trim", "aim"})


def settle(
    rig: Rig,
    item: Item,
    named: Named,
    figures: Mapping[str, Any],
    also: tuple[tuple[str, str], ...] = (),
) -> Result:
    """Say what is wrong, have a mend picked and done.

    Outputs are off: hands go to arms, rods and plugs.

    Parameters
    ----------
    rig : Rig
    item : Item
        The step that found it.
    named : Named
        What is wrong, and its mends.
    figures : mapping
        What was measured.
    also : tuple of (str, str)
        Subjects and steps that are to be done again as well, whichever mend is chosen.
    """
    surface, ask = item.subject, rig.prompter
    channel = rig.planned(surface).channel if surface else 1
    ask.tell(named.text)
    for number, mend in enumerate(named.mends, 1):
        gives = f" ({mend.gives})" if mend.gives else ""
        ask.tell(f"{number}: {mend.text}{gives}")
    numbers = tuple(str(number) for number in range(1, len(named.mends) + 1))
    details = [dict(mend.detail) for mend in named.mends]
    leave = () if named.cause in _NEVER_LEFT else (LEAVE,)
    if leave:
        ask.tell(f"{LEAVE}: go on with it as it is; it stays failed, and is shown at the end.")
    choice = Choice(
        f"{surface}: which of these will you do" if numbers else f"{surface}: what now",
        channel,
        (*numbers, *leave),
        help=f"Type the number of a mend, or {LEAVE} to go on with it as it is."
        if leave
        else "Type the number of a mend; nothing else moves before it is done. stop ends here.",
        topic="mend",
        detail={"surface": surface, "cause": named.cause, "mends": details},
    )
    picked = ask.pick(choice)
    found = {**figures, "cause": named.cause}
    if picked == LEAVE:
        reason = ask.pick(
            Choice(
                "Why is it left so (in a few words)",
                channel,
                (),
                help="It is kept beside the step, and shown when the model is signed off.",
                topic="reason",
                detail={"surface": surface},
            )
        )
        return Result(
            "failed", f"{named.text} Left as it is, because: {reason}", {**found, "left": reason}
        )
    mend = named.mends[int(picked) - 1]
    _do(rig, surface, channel, mend)
    found["mend"] = dict(mend.detail)
    if mend.detail["name"] == "servo":
        found["void"] = rig.keeper.curve_number(rig.planned(surface).servo)
    # Whatever was mended, what found the fault looks again; and another hole may give a servo
    # the travel that it lacked.
    more = [(surface, "travel")] if mend.name == "hole" and _travel_failed(rig, surface) else []
    again = dict.fromkeys([*((surface, name) for name in mend.reopens), item.key, *more, *also])
    return Result("failed", named.text, found, tuple(again))


def _travel_failed(rig: Rig, surface: str) -> bool:
    return any(
        item.key == (surface, "travel") and rig.progress.state(item) == "failed"
        for item in rig.progress.items
    )


def left_in_place(result: Result, text: str) -> Result:
    """Count a seat as done whose arm is left where it is: every pulse is worked out by it."""
    chosen = result.figures.get("mend")
    if chosen is None or chosen["name"] != "trim":
        return result
    kept = {**result.figures, "mend": {**chosen, "at_seat": True}}
    return Result("done", f"{text}; counted in from here on", kept)


def _do(rig: Rig, surface: str, channel: int, mend: Mend) -> None:
    """Wait until a mend is done, if there is anything to do by hand."""
    if mend.detail["name"] in _BY_PULSE:
        return
    rig.prompter.pick(
        Choice(
            f"{surface}: {mend.text.rstrip('.')}. No servo has pulses now. When it is done, "
            "type done",
            channel,
            ("done",),
            topic="doing",
            detail={"surface": surface, **mend.detail},
        )
    )
