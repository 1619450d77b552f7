"""Where things stand on the page, against the linkage and against what words mean."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hingeline.errors import HingelineError, LinkageError
from hingeline.linkage.angles import rod_angles
from hingeline.linkage.mounting import mounted
from hingeline.linkage.plan import plan_surface
from hingeline.model.reading import parse_model
from hingeline.model.writing import example_text
from hingeline.sheets.views import scene
from tests.support.models import one

MODEL = parse_model(example_text(), source="example")
NAMES = [surface.name for surface in MODEL.surfaces]
PLANAR = ["left aileron", "right aileron", "rudder"]
TRAVEL = (-54.0, 54.0)


def seen(surface, servo):
    linkage = mounted(surface, servo)
    plan = plan_surface(surface, servo, TRAVEL)
    turns = {word: way.shaft_deg for word, way in plan.ways.items()}
    return scene(surface, servo, linkage, turns), linkage


def example(name):
    surface = MODEL.surface(name)
    return surface, *seen(surface, MODEL.servo_of(surface))


def apart(one_mm, other_mm):
    return float(np.linalg.norm(np.subtract(one_mm, other_mm)))


@pytest.mark.parametrize("name", PLANAR)
def test_a_planar_view_shows_the_rod_in_its_length(name):
    _, what, linkage = example(name)
    assert what.planar
    for pose in what.poses:
        ends = what.along_hinge.flat([pose.arm_tip_mm, pose.horn_tip_mm])
        assert apart(*ends) == pytest.approx(linkage.length_mm, abs=1e-9)


def test_two_views_together_show_a_rod_that_leaves_the_page():
    _, what, linkage = example("elevator")
    assert not what.planar
    for pose in what.poses:
        first, second = (
            np.diff(view.flat([pose.arm_tip_mm, pose.horn_tip_mm]), axis=0)[0]
            for view in (what.along_hinge, what.across)
        )
        assert first[0] == pytest.approx(second[0], abs=1e-12)
        assert math.hypot(*first, second[1]) == pytest.approx(linkage.length_mm, abs=1e-9)


@pytest.mark.parametrize("name", NAMES)
def test_every_hole_is_as_far_out_as_the_file_says_and_one_of_each_carries_the_rod(name):
    surface, what, linkage = example(name)
    for pose in what.poses:
        arm = [apart(hole, what.spindle_mm) for hole in pose.arm_holes_mm]
        horn = [apart(hole, (0, 0, 0)) for hole in pose.horn_holes_mm]
        assert arm == pytest.approx(list(surface.arm.holes_mm), abs=1e-9)
        assert horn == pytest.approx(list(surface.horn.holes_mm), abs=1e-9)
        assert pose.arm_holes_mm[surface.arm.hole - 1] == pytest.approx(pose.arm_tip_mm, abs=1e-9)
        on_horn = pose.horn_holes_mm[surface.horn.hole - 1]
        assert on_horn == pytest.approx(linkage.horn.tip_at(pose.surface_rad), abs=1e-9)


def test_a_horn_that_is_set_back_stands_so_through_the_whole_throw():
    surface, servo = one(horn={"set_back": "3 mm"})
    what, linkage = seen(surface, servo)
    assert what.set_back_mm == pytest.approx(3.0)
    for pose in what.poses:
        for hole, height in zip(pose.horn_holes_mm, surface.horn.holes_mm, strict=True):
            assert apart(hole, (0, 0, 0)) == pytest.approx(math.hypot(3.0, height))
        assert pose.horn_holes_mm[2] == pytest.approx(linkage.horn.tip_at(pose.surface_rad))


WINGLIKE = {"throws": {"up": "15 deg", "down": "11 deg"}}
FINLIKE = {
    "kind": "rudder",
    "side": "centre",
    "throws": {"left": "15 deg", "right": "11 deg"},
    "free_travel": {"left": "30 deg", "right": "30 deg"},
}


@pytest.mark.parametrize(
    ("changes", "horn_side", "higher", "horn_is_above"),
    [
        (WINGLIKE, "top", "up", True),
        (WINGLIKE, "bottom", "up", False),
        (FINLIKE, "right", "right", True),  # from above, nose left: right is at the top
        (FINLIKE, "left", "right", False),
    ],
)
def test_directions_on_the_page_are_those_a_builder_sees(
    changes, horn_side, higher, horn_is_above
):
    surface, servo = one(**changes, horn={"side": horn_side})
    what, _ = seen(surface, servo)
    flat = what.along_hinge.flat
    assert flat(what.spindle_mm)[0] < 0.0, "the nose is to the left"
    assert (flat(what.poses[0].horn_tip_mm)[1] > 0.0) == horn_is_above
    for pose in what.poses[1:]:
        edge = flat(pose.section_mm[-1])
        assert (edge[1] > 0.0) == (pose.word == higher)
        size = math.degrees(math.atan2(abs(edge[1]), edge[0]))
        assert size == pytest.approx(15.0 if pose.word in ("up", "left") else 11.0)
        assert pose.label == f"{pose.word} {size:.1f} deg"


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("horn_side", ["top", "bottom"])
def test_the_second_view_is_from_above_with_the_right_wing_outwards_at_the_top(side, horn_side):
    spindle = {"ahead": "70 mm", "along": "8 mm", "spindle": "off", "arm_points": "along+"}
    surface, servo = one(side=side, horn={"side": horn_side}, mount=spindle)
    what, _ = seen(surface, servo)
    spindle_at = what.across.flat(what.spindle_mm)
    assert spindle_at == pytest.approx([-70.0, 8.0 if side == "right" else -8.0])


def test_the_second_view_of_a_fin_has_its_tip_at_the_top():
    spindle = {"ahead": "70 mm", "along": "8 mm", "spindle": "off", "arm_points": "along+"}
    for horn_side in ("left", "right"):
        surface, servo = one(**FINLIKE, horn={"side": horn_side}, mount=spindle)
        what, _ = seen(surface, servo)
        assert what.across.flat(what.spindle_mm) == pytest.approx([-70.0, 8.0])


@pytest.mark.parametrize("name", NAMES)
def test_looking_at_the_arm_a_counter_clockwise_turn_is_one_on_the_page(name):
    _, what, _ = example(name)
    middle = what.along_spindle.flat(what.spindle_mm)
    at_rest, *moved = (what.along_spindle.flat(p.arm_tip_mm) - middle for p in what.poses)
    for pose, arm in zip(what.poses[1:], moved, strict=True):
        turned = math.atan2(at_rest[0] * arm[1] - at_rest[1] * arm[0], at_rest @ arm)
        assert turned == pytest.approx(pose.shaft_rad, abs=1e-9)


def test_mirror_image_ailerons_look_alike_from_the_left():
    _, left, _ = example("left aileron")
    _, right, _ = example("right aileron")
    for one_pose, other in zip(left.poses, right.poses, strict=True):
        for part in ("arm_holes_mm", "horn_holes_mm", "section_mm"):
            here, there = (
                what.along_hinge.flat(getattr(pose, part))
                for what, pose in ((left, one_pose), (right, other))
            )
            assert here == pytest.approx(there, abs=1e-9)
    assert left.along_hinge.towards_eye @ left.axis == pytest.approx(1.0)
    assert right.along_hinge.towards_eye @ right.axis == pytest.approx(-1.0)


@pytest.mark.parametrize("teeth", [-2, 0, 1])
def test_the_arm_stands_by_its_lean_from_a_place_square_to_the_rod(teeth):
    surface, servo = one(arm={"teeth_lean": teeth})
    what, linkage = seen(surface, servo)
    square = what.square_mm - what.spindle_mm
    rod = linkage.horn.tip_mm - what.square_mm
    assert square @ rod == pytest.approx(0.0, abs=1e-9)
    arm = what.poses[0].arm_tip_mm - what.spindle_mm
    between = math.degrees(math.acos(min(1.0, arm @ square / (arm @ arm))))
    assert between == pytest.approx(abs(teeth) * 360 / 25, abs=1e-5)
    assert np.sign((what.square_mm - what.poses[0].arm_tip_mm)[0].round(9)) == np.sign(teeth)
    if teeth == 0:
        assert math.degrees(rod_angles(linkage, 0.0).arm_rad) == pytest.approx(90.0)


def test_a_throw_out_of_reach_is_left_out_and_named():
    surface, servo = one(
        throws={"up": "15 deg", "down": "80 deg"}, free_travel={"up": "30 deg", "down": "85 deg"}
    )
    what, _ = seen(surface, servo)
    assert [pose.word for pose in what.poses] == ["neutral", "up"]
    assert what.missing == ("down",)


def test_a_rod_that_does_not_fit_shows_where_the_surface_stands_at_centre():
    surface, servo = one(rod={"length": "71 mm"})
    what, linkage = seen(surface, servo)
    assert linkage.rest_distance_mm > 72.0
    assert what.poses[0].label.startswith("servo at centre: down")


def test_a_rod_that_cannot_reach_is_an_error():
    surface, servo = one(rod={"length": "300 mm"})
    with pytest.raises(LinkageError, match="does not reach"):
        scene(surface, servo, mounted(surface, servo), {"up": 10.0, "down": -10.0})


def test_an_outline_is_the_convex_one_and_a_flat_thing_seen_from_its_edge_stays_flat():
    _, what, _ = example("left aileron")
    square = np.array([[0, 0, 0], [1, 0, 0], [1, 0, 1], [0, 0, 1], [0.4, 0, 0.5]], dtype=float)
    corners = what.along_hinge.outline(square)
    assert {tuple(corner) for corner in corners} == {(0, 0), (1, 0), (1, -1), (0, -1)}
    assert np.ptp(what.across.outline(square)[:, 1]) == 0.0


parts = st.floats(-1, 1)


@given(
    ahead=st.floats(30, 400),
    off=st.floats(-20, 20),
    along=st.floats(-20, 20),
    spindle=st.tuples(parts, parts, parts),
    points=st.sampled_from(["off", "in", "along+", "along-"]),
    hole=st.integers(1, 3),
    back=st.floats(-4, 4),
)
def test_any_mounting_keeps_the_rod_and_the_radii(ahead, off, along, spindle, points, hole, back):
    if math.hypot(*spindle) < 0.1:
        return
    mount = {"ahead": f"{ahead:.3f} mm", "off": f"{off:.3f} mm", "along": f"{along:.3f} mm"}
    mount |= {"spindle": [round(part, 3) for part in spindle], "arm_points": points}
    surface, servo = one(
        mount=mount, horn={"hole": hole, "set_back": f"{back:.3f} mm"}, arm={"hole": hole}
    )
    try:
        what, linkage = seen(surface, servo)
    except HingelineError:
        return  # not a linkage; the mounting's own tests look at the message
    for pose in what.poses:
        assert apart(pose.arm_tip_mm, pose.horn_tip_mm) == pytest.approx(linkage.length_mm)
        assert apart(pose.arm_tip_mm, what.spindle_mm) == pytest.approx(linkage.arm.radius_mm)
        assert pose.horn_holes_mm[hole - 1] == pytest.approx(pose.horn_tip_mm, abs=1e-9)
    for view in (what.along_hinge, what.across, what.along_spindle):
        axes = np.stack([view.right, view.up, view.towards_eye])
        assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-9)
    assert what.along_spindle.towards_eye == pytest.approx(what.axis, abs=1e-9)
