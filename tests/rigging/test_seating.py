"""How an arm sits: teeth, arms of the part, trim, and the side to which it leans."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from msgspec import structs

from hingeline.linkage.mounting import lean_deg
from hingeline.model.reading import parse_model
from hingeline.model.writing import example_text
from hingeline.rigging.seating import WORTH_DEG, refit_of, seat_of
from tests.support import models

TOOTH_DEG = 14.4


def fitted(teeth=25, arms=1, **arm):
    """Return a surface and its servo."""
    servos = {"A1": models.servo(spline_teeth=teeth, arm_count=arms)}
    made = models.model(models.surface(arm=arm), servos=servos)
    return made.surfaces[0], made.servos["A1"]


def read(lean, rate=0.09, **kind):
    return seat_of(*fitted(**kind), lean, rate_deg_per_us=rate)


# Exact arithmetic of teeth and arms, worked out by hand: one arm stands 5 deg off.
@pytest.mark.parametrize(
    ("teeth", "arms", "left"),
    [
        *[(25, 1, 5.0), (25, 2, 2.2), (25, 4, 1.4), (25, 6, 0.2)],
        *[(24, arms, 5.0) for arms in (1, 2, 4, 6)],
    ],
)
def test_what_another_arm_of_the_part_leaves(teeth, arms, left):
    found = read(5.0, teeth=teeth, arms=arms)
    if left == 5.0:
        assert found.refit is None
        assert found.named is None
        assert "no tooth is nearer" in found.text
        return
    assert abs(found.refit.left_deg) == pytest.approx(left, abs=0.01)
    assert found.named.cause == "off centre"
    assert found.named.mends[0].detail["part_arm"] == found.refit.part_arm


@given(
    teeth=st.integers(20, 30),
    arms=st.sampled_from([1, 2, 4, 6]),
    part_arm=st.integers(1, 6),
    teeth_lean=st.integers(-2, 2),
    off=st.floats(-40.0, 40.0),
)
def test_a_refit_does_what_it_says(teeth, arms, part_arm, teeth_lean, off):
    """The lean that the model file's own rule gives after the refit is the one promised."""
    part_arm = (part_arm - 1) % arms + 1
    surface, servo = fitted(teeth=teeth, arms=arms, part_arm=part_arm, teeth_lean=teeth_lean)
    planned = lean_deg(surface, servo)
    assume(abs(planned) < 60.0)
    found = seat_of(surface, servo, planned + off, rate_deg_per_us=0.09)
    assert found.off_deg == pytest.approx(off)
    if found.refit is None:
        assert abs(off) <= 180.0 / teeth + 1e-6
        return
    refit = found.refit
    arm = refit.part_arm or part_arm
    lean = planned + off + refit.teeth * 360.0 / teeth + (arm - part_arm) * 360.0 / arms
    assert math.remainder(lean - planned - refit.left_deg, 360.0) == pytest.approx(0, abs=1e-6)
    assert abs(refit.left_deg) <= 180.0 / math.lcm(teeth, arms) + 1e-6
    assert (found.named is None) == (abs(off) - abs(refit.left_deg) < WORTH_DEG)


@pytest.mark.parametrize("teeth", [-2, -1, 1, 2])
def test_whole_teeth_are_called_that_and_turned_back(teeth):
    found = read(teeth * TOOTH_DEG + 0.6)
    assert found.named.cause == "tooth"
    assert found.named.mends[0].detail == {"name": "refit", "teeth": -teeth, "part_arm": None}
    assert found.named.mends[0].reopens == ("seat",)
    assert ("ahead of its place" in found.named.text) == (teeth > 0)
    assert found.refit.left_deg == pytest.approx(0.6)


def test_an_arm_between_the_teeth_was_fitted_off_centre():
    found = read(2.5 * TOOTH_DEG)
    assert found.named.cause == "off centre"
    assert "was the servo at its centre" in found.named.text


def test_an_arm_in_its_place_has_nothing_to_be_named():
    assert read(0.0).named is None
    assert read(0.0).text == "sits in its place"
    assert read(7.0).named is None  # under half a tooth, one arm: the pulse has to do it


@pytest.mark.parametrize(("planned", "lean"), [(1, -14.4), (-1, 14.4), (1, -13.0), (2, -28.8)])
def test_a_lean_to_the_wrong_side_is_a_differential_the_wrong_way_round(planned, lean):
    found = read(lean, teeth_lean=planned)
    assert found.differential
    assert found.named.cause == "differential"
    ways = ("TOWARDS", "AWAY from") if lean < 0 else ("AWAY from", "TOWARDS")
    leans, should = found.named.text.split(" and should ")
    assert ways[0] in leans
    assert ways[1] in should
    assert found.named.mends[0].detail["teeth"] == 2 * planned


@pytest.mark.parametrize("rate", [0.09, -0.09])
def test_the_trim_turns_the_arm_to_its_place(rate):
    found = read(4.2, rate=rate)
    assert found.arm_deg + found.trim_us * rate == pytest.approx(0.0)
    assert abs(found.arm_deg) == pytest.approx(4.2)
    assert "sits 4.2 deg ahead of its place" in found.text
    assert "47 us" in found.text


def test_the_shaft_turns_the_other_way_on_the_other_side():
    """A left and a right aileron are mirror images: ahead is another sense of the shaft."""
    left = models.surface()
    right = models.surface(name="right aileron", side="right", servo="A2", channel=2)
    made = models.model(left, right)
    turns = [
        seat_of(one, made.servo_of(one), 5.0, rate_deg_per_us=0.09).arm_deg
        for one in made.surfaces
    ]
    assert turns[0] == pytest.approx(-turns[1])
    assert abs(turns[0]) == pytest.approx(5.0)


def test_the_next_arm_is_counted_from_the_one_that_carries_the_rod():
    model = parse_model(example_text(), source="example")
    surface = model.surface("elevator")
    servo = structs.replace(model.servo_of(surface), spline_teeth=25, arm_count=4)
    first = refit_of(surface, servo, 5.0)
    assert first is not None
    assert first.part_arm is not None
    after = refit_of(surface, servo, 5.0, part_arm=first.part_arm)
    assert after is not None
    assert after.part_arm == (2 * (first.part_arm - 1)) % 4 + 1
