"""Which way surfaces go when a stick is moved."""

import math

import msgspec
import pytest

from hingeline.model.reading import parse_model
from hingeline.model.writing import example_text
from hingeline.rigging.sticks import HOW, commands_of, expected

AILERON = parse_model(example_text(), source="").surface("left aileron")


def surface(kind, side):
    return msgspec.structs.replace(AILERON, kind=kind, side=side)


def ways(kind, command):
    return tuple(expected(surface(kind, side), command) for side in ("left", "right"))


# FAA-H-8083-25, Pilot's Handbook of Aeronautical Knowledge, chapter "Flight Controls" (from
# memory): the wing whose aileron goes up goes down; nose up by elevator up; nose right by
# rudder right; an elevon goes as elevator and aileron do.
@pytest.mark.parametrize(
    ("kind", "command", "left", "right"),
    [
        ("aileron", "roll right", "down", "up"),
        ("elevator", "pitch up", "up", "up"),
        ("elevon", "pitch up", "up", "up"),
        ("elevon", "roll right", "down", "up"),
        ("rudder", "yaw right", "right", "right"),
        ("ruddervator", "pitch up", "up", "up"),
        ("ruddervator", "yaw right", "up", "down"),
        ("flap", "flaps down", "down", "down"),
        ("spoiler", "spoilers up", "up", "up"),
    ],
)
def test_each_surface_goes_as_the_handbook_says(kind, command, left, right):
    assert ways(kind, command) == (left, right)
    assert command in commands_of(surface(kind, "left"))


@pytest.mark.parametrize("rise_deg", [20.0, 35.0, 50.0])
@pytest.mark.parametrize("command", ["pitch up", "yaw right"])
def test_the_v_tail_follows_from_its_forces(command, rise_deg):
    # Axes: x to the right, z up, seen from behind. A panel of an upright V rises outwards;
    # its upper normal leans towards the middle. A trailing edge that goes down lifts along
    # that normal, one that goes up pushes against it.
    rise, side_force, lift = math.radians(rise_deg), 0.0, 0.0
    for side, outward in (("left", -1.0), ("right", 1.0)):
        span = (outward * math.cos(rise), math.sin(rise))
        normal = (-outward * math.sin(rise), math.cos(rise))
        assert span[0] * normal[0] + span[1] * normal[1] == pytest.approx(0.0)
        sense = 1.0 if expected(surface("ruddervator", side), command) == "down" else -1.0
        side_force += sense * normal[0]
        lift += sense * normal[1]
    if command == "pitch up":  # the tail is pushed down, and nowhere else
        assert lift < 0
        assert side_force == pytest.approx(0.0)
    else:  # the tail is pushed to the left, so that the nose goes right
        assert side_force < 0
        assert lift == pytest.approx(0.0)


def test_a_surface_on_the_middle_line_does_not_roll_and_only_a_rudder_turns():
    assert commands_of(surface("elevon", "centre")) == ("pitch up",)
    assert commands_of(surface("ruddervator", "centre")) == ("pitch up",)
    assert commands_of(surface("rudder", "centre")) == ("yaw right",)
    assert commands_of(surface("flap", "centre")) == ("flaps down",)


def test_what_moves_nothing_is_an_error():
    for command in ("roll left", "yaw right"):
        with pytest.raises(KeyError):
            expected(AILERON, command)


def test_every_movement_says_how_it_is_made():
    kinds = ("aileron", "elevator", "rudder", "elevon", "ruddervator", "flap", "spoiler")
    assert {one for kind in kinds for one in commands_of(surface(kind, "left"))} == set(HOW)
