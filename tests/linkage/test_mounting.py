"""From mounting words to geometry: sides, mirror images, square, and which way is ahead."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hingeline.errors import LinkageError, ModelError
from hingeline.linkage.closure import shaft_angle, surface_angle
from hingeline.linkage.mounting import ahead_sense, along_sign, lean_deg, mounted, tooth_deg
from hingeline.model.reading import parse_model
from hingeline.model.words import sign_of
from hingeline.model.writing import example_text
from tests.support.models import model, one, servo
from tests.support.models import surface as table


def reach(surface, servo_file, turn_deg=45.0, **how):
    """Return the deflection, in words, at both ends of the servo's travel."""
    linkage = mounted(surface, servo_file, **how)
    ends = [
        math.degrees(float(surface_angle(linkage, math.radians(t * turn_deg)))) for t in (-1, 1)
    ]
    return {word: max(sign_of(surface, word) * end for end in ends) for word in words_of(surface)}


def words_of(surface):
    return ("left", "right") if surface.kind == "rudder" else ("up", "down")


def wing(upright_deg=0.0, **changes):
    """The case of the trade: servo ahead of the hinge, arm 12, horn 15, 120 apart, rod level.

    Its lean is measured from upright. A model file's lean is measured from square to the rod,
    which is not quite the same here: returned is also the lean that makes up for it.
    """
    rise = 12.0 * math.cos(math.radians(upright_deg))
    mount = {"ahead": "120 mm", "off": f"{15.0 - rise!r} mm"}
    table = {
        "arm": {"holes": ["12 mm"], "hole": 1},
        "horn": {"holes": ["15 mm"], "hole": 1},
        "throws": {"up": "20 deg", "down": "20 deg"},
        "free_travel": {"up": "45 deg", "down": "45 deg"},
    }
    for key, value in changes.items():
        table[key] = {**table.get(key, {}), **value} if isinstance(value, dict) else value
    table["mount"] = {**mount, **changes.get("mount", {})}
    square = math.atan2(rise, 120.0) + math.acos(12.0 / math.hypot(rise, 120.0))
    return *one(**table), 90.0 - math.degrees(square)


# Computed apart with a planar four-bar; 14.4 deg is one tooth of 25.
@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("spindle", ["along+", "along-"])
@pytest.mark.parametrize(
    ("lean", "up", "down", "rod"),
    [(0, 34.43, 34.46, 120.0), (1, 37.25, 29.54, 122.98), (-1, 29.07, 37.38, 117.02)],
)
def test_lean_away_from_the_hinge_gives_more_up_with_the_horn_below(
    lean, up, down, rod, side, spindle
):
    surface, file, spare_deg = wing(
        lean * 14.4, side=side, arm={"teeth_lean": lean}, mount={"spindle": spindle}
    )
    assert abs(spare_deg) < 0.2
    found = reach(surface, file, off_lean_deg=spare_deg)
    assert found["up"] == pytest.approx(up, abs=0.006)
    assert found["down"] == pytest.approx(down, abs=0.006)
    length = mounted(surface, file, off_lean_deg=spare_deg).length_mm
    assert length == pytest.approx(rod, abs=0.006)


def test_a_lean_beside_whole_teeth_is_added():
    surface, file, spare_deg = wing(20.0)
    found = reach(surface, file, off_lean_deg=20.0 + spare_deg)
    assert found["up"] == pytest.approx(37.57, abs=0.006)
    assert found["down"] == pytest.approx(27.19, abs=0.006)


@pytest.mark.parametrize("lean", [-1, 0, 1, 2])
def test_with_the_rod_on_top_the_rule_is_mirrored(lean):
    below, above = (
        reach(*wing(lean * 14.4, arm={"teeth_lean": lean}, horn={"side": side})[:2])
        for side in ("bottom", "top")
    )
    assert above["up"] == pytest.approx(below["down"], abs=1e-9)
    assert above["down"] == pytest.approx(below["up"], abs=1e-9)


# Arm and horn 12, 100 apart, horn upright, made to fit with the arm leaning from upright:
# deflections at -45 and +45 deg of servo, by the closed form, computed apart.
@pytest.mark.parametrize(
    ("lean", "ends"),
    [(10.0, (-48.233, 40.359)), (20.0, (-49.554, 34.971)), (30.0, (-48.974, 29.100))],
)
def test_a_turned_arm_gives_the_differential_of_its_four_bar(lean, ends):
    surface, file = one(
        mount={"ahead": "100 mm"},
        arm={"holes": ["12 mm"], "hole": 1},
        horn={"holes": ["12 mm"], "hole": 1},
    )
    linkage = mounted(surface, file, off_lean_deg=lean)
    # With pivots level and arm and horn equal, square to the rod is upright.
    found = [math.degrees(float(surface_angle(linkage, math.radians(t)))) for t in (-45, 45)]
    sizes = sorted(map(abs, found))
    assert sizes == pytest.approx(sorted(map(abs, ends)), abs=0.0006)
    # Leaning ahead, away from the hinge, the arm pushes further than it pulls.
    assert max(found, key=abs) > 0


LEANS = st.integers(-3, 3)
MOUNTS = st.fixed_dictionaries(
    {
        "ahead": st.floats(60, 400),
        "off": st.floats(-20, 20),
        "along": st.floats(-15, 15),
    }
)
SPINDLES = st.sampled_from(
    [("along+", "off"), ("along-", "off"), ("off", "along+"), ("off", "along-"), ("in", "along+")]
)


def words(mount):
    return {key: f"{value:.6f} mm" for key, value in mount.items()}


@given(
    MOUNTS,
    SPINDLES,
    LEANS,
    st.sampled_from(["top", "bottom"]),
    st.sampled_from(["aileron", "elevator", "flap", "ruddervator"]),
)
def test_left_and_right_with_the_same_words_are_mirror_images(mount, spindle, lean, horn, kind):
    made = []
    for side in ("left", "right"):
        surface, file = one(
            kind=kind,
            side=side,
            mount={**words(mount), "spindle": spindle[0], "arm_points": spindle[1]},
            arm={"hole": 2, "teeth_lean": lean},
            horn={"side": horn, "set_back": "1.5 mm"},
        )
        made.append(mounted(surface, file))
    left, right = made
    mirror = np.array([1.0, -1.0, 1.0])
    for part in ("arm", "horn"):
        one_, other = getattr(left, part), getattr(right, part)
        np.testing.assert_allclose(one_.tip_mm * mirror, other.tip_mm, atol=1e-9)
        np.testing.assert_allclose(one_.centre_mm * mirror, other.centre_mm, atol=1e-9)
    np.testing.assert_allclose(left.arm.axis * mirror, right.arm.axis, atol=1e-12)
    assert left.length_mm == pytest.approx(right.length_mm)
    # A mirror image turns the other way round: what ccw does on the left, cw does on the right.
    for turn in (-0.6, -0.2, 0.3, 0.7):
        a, b = surface_angle(left, turn), surface_angle(right, -turn)
        np.testing.assert_allclose(a, b, atol=1e-9)


@given(MOUNTS, SPINDLES, st.floats(4, 14), st.floats(-3, 3))
def test_square_is_square_to_the_rod(mount, spindle, arm_mm, set_back):
    surface, file = one(
        mount={**words(mount), "spindle": spindle[0], "arm_points": spindle[1]},
        arm={"holes": [f"{arm_mm:.9f} mm"], "hole": 1},
        horn={"set_back": f"{set_back:.6f} mm"},
    )
    linkage = mounted(surface, file)
    along_arm = linkage.arm.tip_mm - linkage.arm.centre_mm
    rod = linkage.horn.tip_mm - linkage.arm.tip_mm
    assert abs(np.dot(along_arm, rod)) < 1e-9 * np.linalg.norm(along_arm) * np.linalg.norm(rod)
    assert np.linalg.norm(along_arm) == pytest.approx(arm_mm)
    assert abs(np.dot(along_arm, linkage.arm.axis)) < 1e-9
    assert surface_angle(linkage, 0.0) == pytest.approx(0.0, abs=1e-9)


@given(MOUNTS, SPINDLES, st.sampled_from([1, 2, 3]), st.sampled_from(["left", "right"]))
def test_a_positive_lean_moves_the_tip_ahead_by_whole_teeth(mount, spindle, teeth, side):
    tips = []
    for lean in (0, teeth, -teeth):
        surface, file = one(
            side=side,
            mount={**words(mount), "spindle": spindle[0], "arm_points": spindle[1]},
            arm={"hole": 2, "teeth_lean": lean},
        )
        crank = mounted(surface, file).arm
        tips.append(crank.tip_mm - crank.centre_mm)
        assert lean_deg(surface, file) == pytest.approx(lean * 14.4)
    square, ahead, aft = tips
    assert ahead[0] < square[0] < aft[0]  # x runs aft
    for leaning in (ahead, aft):
        cosine = np.dot(leaning, square) / np.dot(square, square)
        assert math.degrees(math.acos(cosine)) == pytest.approx(teeth * 14.4, abs=1e-6)


@pytest.mark.parametrize("teeth", [21, 23, 24, 25])
def test_a_tooth_is_its_part_of_a_turn(teeth):
    made = model(table(arm={"teeth_lean": 2}), servos={"A1": servo(spline_teeth=teeth)})
    assert tooth_deg(made.servos["A1"]) == pytest.approx(360 / teeth)
    assert lean_deg(made.surfaces[0], made.servos["A1"]) == pytest.approx(720 / teeth)


@pytest.mark.parametrize(
    ("kind", "side", "horn", "outboard_is_right"),
    [
        ("aileron", "left", "bottom", False),
        ("aileron", "right", "bottom", True),
        ("aileron", "left", "top", False),
        ("aileron", "right", "top", True),
        ("elevator", "centre", "top", True),
        ("elevator", "centre", "bottom", True),
    ],
)
def test_along_is_outboard_and_to_the_right_in_the_middle(kind, side, horn, outboard_is_right):
    surface, _ = one(kind=kind, side=side, horn={"side": horn})
    # x aft, z towards the horn, right-handed: y = z cross x. Aft is -f, seen with f forward,
    # r right and u up, of which u = r cross f.
    z_is_up = horn == "top"
    y_is_right = z_is_up  # up cross aft = right
    assert (along_sign(surface) > 0) == (y_is_right == outboard_is_right)


@pytest.mark.parametrize("horn", ["left", "right"])
def test_a_fin_counts_along_upwards(horn):
    surface, _ = one(
        kind="rudder",
        side="centre",
        horn={"side": horn},
        throws={"left": "20 deg", "right": "20 deg"},
        free_travel={"left": "30 deg", "right": "30 deg"},
    )
    forward, up = np.array([1.0, 0, 0]), np.array([0, 0, 1.0])
    right = np.cross(forward, up)
    z = right if horn == "right" else -right
    y = np.cross(z, -forward)  # aft is minus forward
    assert along_sign(surface) == round(float(np.dot(y, up)))


@pytest.mark.parametrize("horn", ["left", "right"])
def test_a_push_turns_the_surface_away_from_its_horn(horn):
    for kind, side, away in (
        ("rudder", horn, {"left": "right", "right": "left"}[horn]),
        ("elevator", "top", "down"),
        ("elevator", "bottom", "up"),
    ):
        throws = dict.fromkeys(("left", "right") if kind == "rudder" else ("up", "down"), "20 deg")
        surface, file = one(
            kind=kind,
            side="centre",
            horn={"side": side},
            throws=throws,
            free_travel=dict.fromkeys(throws, "30 deg"),
        )
        linkage = mounted(surface, file)
        pushed = float(shaft_angle(linkage, math.radians(5 * sign_of(surface, away))))
        tip = linkage.arm.tip_at(pushed)
        assert tip[0] > linkage.arm.tip_mm[0]  # the arm's tip moves aft: it pushes


@pytest.mark.parametrize(
    ("changes", "error", "says"),
    [
        ({"mount": {"arm_points": "along+"}}, ModelError, "runs along the spindle"),
        ({"mount": {"arm_points": "along-"}}, ModelError, "runs along the spindle"),
        ({"mount": {"arm_points": "ahead"}}, ModelError, "deg away from the nearest position"),
        ({"mount": {"arm_points": "aft"}}, ModelError, "deg away from the nearest position"),
        (
            {"mount": {"ahead": "5 mm", "off": "17 mm"}},
            LinkageError,
            "cannot stand square to its rod",
        ),
        ({"arm": {"hole": None}}, ModelError, "no arm hole is chosen"),
        ({"horn": {"hole": None}}, ModelError, "no horn hole is chosen"),
    ],
)
def test_a_mounting_that_contradicts_itself_is_named(changes, error, says):
    surface, file = one(**changes)
    with pytest.raises(error, match=says) as caught:
        mounted(surface, file)
    assert "left aileron" in str(caught.value)
    assert caught.value.mend


@given(MOUNTS, SPINDLES, st.sampled_from(["off", "in", "along+", "along-", "ahead", "aft"]))
def test_any_mounting_makes_a_linkage_or_says_why_not(mount, spindle, points):
    surface, file = one(mount={**words(mount), "spindle": spindle[0], "arm_points": points})
    try:
        linkage = mounted(surface, file)
    except (ModelError, LinkageError) as error:
        assert error.mend
    else:
        assert math.isfinite(linkage.length_mm)
        assert surface_angle(linkage, 0.0) == pytest.approx(0.0, abs=1e-9)


def test_arm_points_takes_the_side_that_is_said():
    off, file = one(mount={"arm_points": "off", "off": "10 mm"})
    in_, _ = one(mount={"arm_points": "in", "off": "10 mm"})
    up, down = mounted(off, file).arm, mounted(in_, file).arm
    assert up.tip_mm[2] > up.centre_mm[2]
    assert down.tip_mm[2] < down.centre_mm[2]


def test_a_given_rod_length_is_used_and_moves_neutral():
    surface, file = one(rod={"length": "75 mm"})
    linkage = mounted(surface, file)
    assert linkage.length_mm == 75
    assert abs(math.degrees(float(surface_angle(linkage, 0.0)))) > 1


def test_ahead_is_where_the_hole_goes_away_from_the_horn():
    example = parse_model(example_text(), source="example")
    for made in example.surfaces:
        square = mounted(made, example.servo_of(made))
        turn = ahead_sense(square) * 1e-3
        ahead = np.linalg.norm(square.horn.tip_mm - square.arm.tip_at(turn))
        assert ahead > square.rest_distance_mm
        leaning = mounted(made, example.servo_of(made), off_lean_deg=5.0)
        assert leaning.rest_distance_mm > square.rest_distance_mm
