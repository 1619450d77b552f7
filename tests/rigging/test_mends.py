"""What single measurements are said to mean, and whether the mends would do it."""

import math
from dataclasses import replace

import msgspec
import pytest

from hingeline.linkage.closure import Linkage, surface_angle
from hingeline.model.schema import RodEnds
from hingeline.model.throws import throw_deg
from hingeline.model.words import directions, sign_of
from hingeline.rigging.mends import (
    SLOP_DEG,
    bare_named,
    binding_named,
    direction_named,
    leads_named,
    neutral_named,
    slop_named,
    travel_named,
)
from hingeline.rigging.naming import REOPENS
from hingeline.rigging.reaching import reach_deg
from hingeline.travel.nominal import NominalCurve
from hingeline.travel.setting import setting_of
from tests.rigging.planted import MODEL, NAMES, planned

FREE = {"up": 30.0, "down": 30.0, "left": 30.0, "right": 30.0}


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("rod_mm", [1.0, -1.0, 0.4])
def test_the_rod_is_sized_by_where_neutral_stands(name, rod_mm):
    setting = planned(name)
    plan = setting.linkage
    off = math.degrees(
        float(surface_angle(Linkage(plan.arm, plan.horn, plan.length_mm + rod_mm), 0.0))
    )
    found = neutral_named(setting, off, 0.3)
    assert found.cause == "rod"
    rod = found.mends[0]
    assert rod.detail["by_mm"] == pytest.approx(-rod_mm, abs=1e-3)
    assert rod.reopens == ("neutral",)
    pitch = setting.surface.rod.thread_pitch_mm
    assert rod.detail["turns"] == pytest.approx(-rod_mm / pitch, abs=0.251)
    assert (2.0 * rod.detail["turns"]).is_integer()
    assert ("shorten" in rod.text) == (rod_mm > 0)
    # The trim brings the same surface to neutral by the pulse.
    trim = next(mend for mend in found.mends if mend.name == "trim")
    built = Linkage(plan.arm, plan.horn, plan.length_mm + rod_mm)
    pulse = setting.centre_us + trim.detail["trim_us"]
    shaft = math.radians(float(setting.curve.angle_deg(pulse)))
    assert math.degrees(float(surface_angle(built, shaft))) == pytest.approx(0.0, abs=0.2)


def test_a_rod_without_a_thread_is_told_in_mm_alone():
    setting = planned("elevator")
    rod = msgspec.structs.replace(setting.surface.rod, ends=RodEnds(), thread_pitch_mm=None)
    surface = msgspec.structs.replace(setting.surface, rod=rod)
    found = neutral_named(replace(setting, surface=surface), 3.0, 0.3)
    assert found.mends[0].detail["turns"] is None
    assert "turns" not in found.mends[0].text


def test_neutral_within_what_a_gauge_tells_is_true():
    assert neutral_named(planned("elevator"), 0.45, 0.1) is None
    assert neutral_named(planned("elevator"), 0.6, 0.33) is None
    assert neutral_named(planned("elevator"), 0.7, 0.33) is not None


def test_a_bare_surface_needs_its_throws_and_a_margin():
    surface = MODEL.surface("left aileron")  # up 15, down 11
    assert bare_named(surface, {"up": 16.0, "down": 12.0}) is None
    found = bare_named(surface, {"up": 15.5, "down": 30.0})
    assert found.cause == "bare stops early"
    assert "up 15.5 deg" in found.text
    assert "down" not in found.text
    assert "up 14.5 deg at most" in found.mends[0].text
    assert found.mends[0].reopens == ("bare",)


def test_another_way_than_asked_is_mended_at_the_arm_never_at_the_wires():
    setting = planned("left aileron")
    found = direction_named(setting, setting.surface, "up", "down")
    assert found.cause == "direction"
    assert "went down where up was asked for" in found.text
    assert [mend.name for mend in found.mends] == ["rod side", "servo"]
    assert found.mends[0].reopens == ("seat", "rod", "direction")  # the other end leans otherwise
    assert all("wire" not in mend.text for mend in found.mends)


def test_without_a_known_sense_the_servo_is_looked_at_first():
    surface = MODEL.surface("left aileron")
    servo = msgspec.structs.replace(MODEL.servo_of(surface), turns=None)
    found = direction_named(setting_of(surface, servo, None), surface, "up", "down")
    assert [mend.name for mend in found.mends] == ["servo", "rod side"]


def test_another_surface_that_moved_has_its_leads_swapped():
    setting = planned("left aileron")
    other = MODEL.surface("right aileron")
    found = leads_named(setting.surface, other)
    assert found.cause == "leads"
    assert found.mends[0].detail == {"name": "swap leads", "channels": [1, 2]}


def test_a_surface_that_stood_still_is_not_called_reversed():
    setting = planned("rudder")
    assert direction_named(setting, setting.surface, "right", "still").cause == "unknown"


def weak(setting, by_us):
    """Return the setting with a servo that turns this far each way only."""
    centre, rate = 1500.0, setting.curve.rate_deg_per_us
    curve = NominalCurve(centre, rate, (centre - by_us, centre + by_us))
    return replace(setting, curve=curve)


@pytest.mark.parametrize(
    ("name", "by_us"),
    [("left aileron", 360.0), ("right aileron", 360.0), ("elevator", 250.0), ("rudder", 360.0)],
)
def test_a_servo_that_turns_too_little_is_named_and_other_holes_would_do(name, by_us):
    setting = planned(name)
    assert travel_named(setting, FREE) is None
    short = weak(setting, by_us)
    found = travel_named(short, FREE)
    assert found.cause == "short travel"
    assert found.mends[0].name == "servo"
    holes = [mend.detail for mend in found.mends[1:]]
    assert holes
    for detail in holes:
        table = getattr(short.surface, detail["part"])
        assert detail["hole"] != table.hole
        changed = msgspec.structs.replace(
            short.surface,
            **{detail["part"]: msgspec.structs.replace(table, hole=detail["hole"])},
        )
        other = replace(setting_of(changed, short.servo, None), curve=short.curve)
        for word in directions(changed):
            signed = sign_of(changed, word) * throw_deg(changed, word)
            other.pulse_us(signed)  # raises where it cannot be had


def test_a_throw_that_the_bare_surface_lacks_is_not_the_servos_fault():
    short = weak(planned("elevator"), 250.0)
    assert travel_named(short, {"up": 5.0, "down": 5.0}) is None


def test_reach_ends_where_the_linkage_locks():
    setting = planned("rudder")
    far = replace(setting, curve=NominalCurve(1500.0, 0.5, (900.0, 2100.0)))
    assert math.isfinite(reach_deg(far, "left"))
    assert reach_deg(far, "left") >= reach_deg(setting, "left")


@pytest.mark.parametrize("name", NAMES)
def test_free_play_is_held_against_the_plan_and_a_limit(name):
    setting = planned(name)
    assert slop_named(setting, 0.5) is None
    found = slop_named(setting, SLOP_DEG)
    assert found.cause == "slop"
    assert found.mends[0].name == "joints"
    # Joints and gears of the file, added by hand: play over the horn, gears through the ratio.
    linkage, surface = setting.linkage, setting.surface
    joints = math.degrees(surface.rod.play_mm / linkage.horn.radius_mm)
    gears = setting.servo.gear_play_deg * linkage.arm.radius_mm / linkage.horn.radius_mm
    said = float(found.text.split("make ")[1].split(" deg")[0])
    # The lean of an arm makes the ratio a little smaller.
    assert said == pytest.approx(joints + gears, abs=0.1)


def test_sloppy_by_plan_is_no_fault_of_the_build():
    setting = planned("rudder")
    rod = msgspec.structs.replace(setting.surface.rod, play_mm=0.4)
    loose = replace(setting, surface=msgspec.structs.replace(setting.surface, rod=rod))
    assert slop_named(loose, 1.8) is None
    assert slop_named(loose, 4.0) is not None


def test_a_servo_that_labours_is_freed():
    found = binding_named(planned("elevator"), "up", "buzzing")
    assert found.cause == "binding"
    assert "buzzing at the up end" in found.text
    for mend in found.mends:
        assert mend.reopens == REOPENS[mend.name]
