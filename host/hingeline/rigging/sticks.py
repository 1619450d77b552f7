"""What each stick command asks of a surface, as whoever stands behind the model sees it.

Which way surfaces move is the pilot's handbook's: to roll right the right aileron rises and the
left one drops; to pitch up the elevator rises; to yaw right the rudder's trailing edge goes
right; elevons do both of the first, ruddervators of an upright V tail both of the last two, and
for a yaw to the right the right one drops while the left one rises (FAA-H-8083-25, Pilot's
Handbook of Aeronautical Knowledge, chapter 6, from memory; a test derives the V tail from its
geometry).
"""

from __future__ import annotations

from hingeline.errors import ModelError
from hingeline.model.schema import Surface

ROLL, PITCH, YAW = "roll right", "pitch up", "yaw right"
FLAPS, SPOILERS = "flaps down", "spoilers up"

#: How each command is given at the radio.
HOW = {
    ROLL: "aileron stick to the right",
    PITCH: "elevator stick back, towards you",
    YAW: "rudder stick to the right",
    FLAPS: "flap switch to down",
    SPOILERS: "spoiler switch to up",
}
# Of each kind of surface: its commands, and which way it goes on the left, in the middle, right.
_ASKS: dict[str, dict[str, tuple[str, str, str]]] = {
    "aileron": {ROLL: ("down", "up", "up")},
    "elevator": {PITCH: ("up", "up", "up")},
    "rudder": {YAW: ("right", "right", "right")},
    "elevon": {PITCH: ("up", "up", "up"), ROLL: ("down", "up", "up")},
    "ruddervator": {PITCH: ("up", "up", "up"), YAW: ("up", "down", "down")},
    "flap": {FLAPS: ("down", "down", "down")},
    "spoiler": {SPOILERS: ("up", "up", "up")},
}
_SIDES = ("left", "centre", "right")


def commands_of(surface: Surface) -> tuple[str, ...]:
    """Return the stick commands that move a surface."""
    return tuple(_ASKS[surface.kind])


def expected(surface: Surface, command: str) -> str:
    """Return the word for the way a surface must go on a command.

    Raises
    ------
    ModelError
        When the command does not move it, or it must have a side to tell, and has none.
    """
    ways = _ASKS[surface.kind].get(command)
    if ways is None:
        raise ModelError(
            f"{surface.name}: {command!r} does not move a surface of the kind {surface.kind!r}.",
            mend=f"Its commands are: {', '.join(commands_of(surface))}.",
        )
    if surface.side == "centre" and len(set(ways)) > 1:
        raise ModelError(
            f"{surface.name}: whether it goes {ways[0]} or {ways[2]} on {command!r} depends on "
            "its side, and the model file gives none.",
            mend='Write side = "left" or side = "right" in its table.',
        )
    return ways[_SIDES.index(surface.side)]
