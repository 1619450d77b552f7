"""Which way each surface has to go when a stick is moved.

The facts are general: FAA, Pilot's Handbook of Aeronautical Knowledge (FAA-H-8083-25), chapter
"Flight Controls" (from memory): the aileron goes up on the wing that is to go down; the
elevator goes up to raise the nose; the rudder goes to the side to which the nose is to go;
V-tail surfaces do what elevator and rudder do, elevons what elevator and ailerons do; flaps
go down. The V is an upright one, tips above its middle; that of the V-tail also follows from
the forces, which a test works out.
"""

from __future__ import annotations

from hingeline.model.schema import Kind, Side, Surface

ROLL_RIGHT, PITCH_UP, YAW_RIGHT = "roll right", "pitch up", "yaw right"
FLAPS_DOWN, SPOILERS_UP = "flaps down", "spoilers up"

#: How each movement is made at the radio.
HOW = {
    ROLL_RIGHT: "aileron stick to the right",
    PITCH_UP: "elevator stick back, towards you",
    YAW_RIGHT: "rudder stick to the right",
    FLAPS_DOWN: "flaps down",
    SPOILERS_UP: "spoilers up",
}
_COMMANDS: dict[Kind, tuple[str, ...]] = {
    "aileron": (ROLL_RIGHT,),
    "elevator": (PITCH_UP,),
    "rudder": (YAW_RIGHT,),
    "elevon": (PITCH_UP, ROLL_RIGHT),
    "ruddervator": (PITCH_UP, YAW_RIGHT),
    "flap": (FLAPS_DOWN,),
    "spoiler": (SPOILERS_UP,),
}
#: Where both sides go the same way.
_TOGETHER = {PITCH_UP: "up", FLAPS_DOWN: "down", SPOILERS_UP: "up"}
#: Where they go opposite ways: what the left one does, and the right one.
_BY_SIDE: dict[tuple[str, Side], str] = {
    (ROLL_RIGHT, "left"): "down",
    (ROLL_RIGHT, "right"): "up",
    (YAW_RIGHT, "left"): "up",
    (YAW_RIGHT, "right"): "down",
}


def commands_of(surface: Surface) -> tuple[str, ...]:
    """Return the movements of the sticks that move a surface.

    One on the middle line does not roll the model nor, unless it is a rudder, turn it.
    """
    commands = _COMMANDS[surface.kind]
    if surface.kind == "rudder" or surface.side != "centre":
        return commands
    return tuple(command for command in commands if command in _TOGETHER)


def expected(surface: Surface, command: str) -> str:
    """Return the word for the way in which the trailing edge has to go.

    Raises
    ------
    KeyError
        For a movement that is not among `commands_of` this surface.
    """
    if command not in commands_of(surface):
        raise KeyError(command)
    if surface.kind == "rudder":
        return "right"
    if command in _TOGETHER:
        return _TOGETHER[command]
    return _BY_SIDE[command, surface.side]
