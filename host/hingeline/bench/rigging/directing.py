"""Which way the surfaces go at each movement of the sticks."""

from __future__ import annotations

from typing import Any

from hingeline.bench.choices import Choice
from hingeline.bench.rigging.context import Result, Rig
from hingeline.bench.rigging.mending import settle
from hingeline.model.throws import throw_deg
from hingeline.model.words import directions, sign_of
from hingeline.rigging.mends import direction_named
from hingeline.rigging.steps import Item
from hingeline.rigging.sticks import commands_of, expected

#: Part of its throw by which a surface is moved to be seen. Our own choice.
PART = 0.5
STILL = "still"


def direction(rig: Rig, item: Item) -> Result:
    """Move the surfaces as each stick asks, and have it said which way this one went."""
    name = item.subject
    seen: dict[str, str] = {}
    for command in commands_of(rig.planned(name)):
        seen[command] = _seen(rig, name, command)
        wanted = expected(rig.planned(name), command)
        if seen[command] != wanted:
            figures: dict[str, Any] = {"seen": seen, "wrong": command}
            named = direction_named(rig.setting(name), rig.planned(name), wanted, seen[command])
            return settle(rig, item, named, figures)
    text = ", ".join(f"{command}: {word}" for command, word in seen.items())
    return Result("done", text, {"seen": seen})


def _seen(rig: Rig, name: str, command: str) -> str:
    """Move all surfaces of a stick together, and ask about one of them."""
    moving = [
        one.subject
        for one in rig.progress.items
        if one.step.name == "direction"
        and command in commands_of(rig.planned(one.subject))
        and not rig.progress.waits_for(one.step, one.subject)
    ]
    neutral, away = {}, {}
    for one in moving:
        setting = rig.setting(one)
        word = expected(rig.planned(one), command)
        size = PART * throw_deg(setting.surface, word)
        neutral[one] = round(setting.centre_us)
        away[one] = setting.pulse_us(sign_of(setting.surface, word) * size)
    surface = rig.planned(name)
    with rig.live(moving):
        for pulses in (neutral, away, neutral, away):
            rig.go(pulses)
        with rig.board.attended():
            word = rig.prompter.pick(
                Choice(
                    f"{command}: {' and '.join(moving)} moved, twice, and hold there. Which way "
                    f"from neutral did the trailing edge of the {name} go",
                    surface.channel,
                    (*directions(surface), STILL),
                    help="Say what is seen, not what should be.",
                    topic="direction",
                    detail={"surface": name, "command": command},
                )
            )
        rig.go(neutral)
    return word
