"""What the plan of one surface says and warns of."""

from __future__ import annotations

import math

import pytest

from hingeline.linkage.closure import surface_angle
from hingeline.linkage.mounting import mounted
from hingeline.linkage.plan import lean_in_words, plan_surface
from hingeline.model.words import sign_of
from tests.support.models import one

TRAVEL = (-45.0, 45.0)


def case(lean=0, up="20 deg", down="20 deg", travel=TRAVEL, **changes):
    table = {
        "mount": {"ahead": "120 mm", "off": "3 mm"},
        "arm": {"holes": ["12 mm"], "hole": 1, "teeth_lean": lean},
        "horn": {"holes": ["15 mm"], "hole": 1},
        "throws": {"up": up, "down": down},
        "free_travel": {"up": "45 deg", "down": "45 deg"},
    }
    for key, value in changes.items():
        merge = isinstance(value, dict) and key in ("mount", "arm", "horn")
        table[key] = {**table[key], **value} if merge else value
    surface, file = one(**table)
    return surface, file, plan_surface(surface, file, travel)


def about(plan, text):
    return [warning for warning in plan.warnings if text in warning]


def test_a_sound_surface_has_no_warning():
    _, _, plan = case()
    assert plan.warnings == ()
    assert plan.arm_mm == pytest.approx(12)
    assert plan.horn_mm == pytest.approx(15)
    assert plan.rod_mm == pytest.approx(120)
    assert plan.lean_deg == 0
    assert plan.ways["up"].reach_deg == pytest.approx(34.43, abs=0.006)
    assert plan.ways["down"].reach_deg == pytest.approx(34.46, abs=0.006)
    assert plan.ways["up"].wanted_deg == pytest.approx(20)
    assert plan.ways["up"].free_deg == pytest.approx(45)


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("spindle", ["along+", "along-"])
@pytest.mark.parametrize("horn", ["top", "bottom"])
@pytest.mark.parametrize("word", ["up", "down"])
def test_the_shaft_angle_gives_the_throw_and_the_reach_is_that_of_the_same_side(
    side, spindle, horn, word
):
    surface, file, plan = case(1, side=side, mount={"spindle": spindle}, horn={"side": horn})
    way, linkage = plan.ways[word], mounted(surface, file)
    sign = sign_of(surface, word)
    at = math.degrees(float(surface_angle(linkage, math.radians(way.shaft_deg))))
    assert sign * at == pytest.approx(20)
    end = math.copysign(45.0, way.shaft_deg)
    at_end = math.degrees(float(surface_angle(linkage, math.radians(end))))
    assert way.reach_deg == pytest.approx(sign * at_end)
    assert way.reach_deg > 20


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("horn", ["top", "bottom"])
@pytest.mark.parametrize("more", ["up", "down"])
@pytest.mark.parametrize("lean", [-1, 1])
def test_a_lean_the_wrong_way_round_is_flagged_with_the_mend(side, horn, more, lean):
    throws = {"up": "15 deg", "down": "15 deg", more: "20 deg"}
    surface, _, plan = case(lean, throws["up"], throws["down"], side=side, horn={"side": horn})
    # Away from the hinge the surface goes further to the side away from its horn.
    away_gives = "up" if horn == "bottom" else "down"
    right = (more == away_gives) == (lean > 0)
    flagged = about(plan, "WRONG WAY ROUND")
    assert bool(flagged) is not right
    assert (plan.bias_deg > 0) == ((away_gives == "up") == (lean > 0))
    if flagged:
        less = "down" if more == "up" else "up"
        assert f"{more} should go further than {less}" in flagged[0]
        assert "Lean it the other way" in flagged[0]
        words = "AWAY from" if lean > 0 else "TOWARDS"
        assert words in flagged[0]
        mended = case(-lean, throws["up"], throws["down"], side=side, horn={"side": horn})[2]
        assert about(mended, "WRONG WAY ROUND") == []
    assert surface.arm.teeth_lean == lean


def test_equal_throws_or_a_square_arm_are_never_the_wrong_way_round():
    assert about(case(1)[2], "WRONG WAY") == []
    assert about(case(0, "20 deg", "12 deg")[2], "WRONG WAY") == []


def test_a_throw_that_the_linkage_cannot_give_is_named():
    # 6 mm on 15 mm: asin(6/15) is 23.6 deg.
    _, _, plan = case(0, "24.5 deg", "20 deg", arm={"holes": ["6 mm"]}, travel=(-89.0, 89.0))
    assert plan.ways["up"].shaft_deg is None
    (warning,) = about(plan, "cannot be reached")
    assert warning.startswith("24.5 deg up")


def test_more_servo_travel_than_there_is_is_named_with_what_there_is():
    _, _, plan = case(0, "20 deg", "20 deg", arm={"holes": ["6 mm"]}, mount={"off": "9 mm"})
    found = about(plan, "more than its pulse limits allow")
    assert len(found) == 2
    reach = math.degrees(math.asin(6 / 15 * math.sin(math.radians(45))))
    assert plan.ways["up"].reach_deg == pytest.approx(reach, abs=0.1)
    assert f"at its limit the surface stands {plan.ways['up'].reach_deg:.1f} deg up" in found[0]
    assert "longer arm hole" in found[0]


# 20 mm on 15 mm, 120 apart, rod level: it locks at 47.4 one way and 49.9 the other, and
# stands at 71.5 and 69.8 deg at 45. Computed apart; the long-rod limit is asin(15/20).
def test_a_linkage_that_locks_says_where():
    free = {"up": "80 deg", "down": "80 deg"}
    surface, file, plan = case(
        arm={"holes": ["20 mm"]}, mount={"off": "-5 mm"}, free_travel=free, travel=(-60.0, 60.0)
    )
    assert sorted(map(abs, plan.locks_deg)) == pytest.approx([47.4, 49.9], abs=0.06)
    locks = about(plan, "the linkage locks when the servo has turned")
    assert len(locks) == 2
    assert "47.4 deg" in " ".join(locks)
    assert "49.9 deg" in " ".join(locks)
    assert plan.ways["up"].reach_deg is None
    assert plan.ways["down"].reach_deg is None
    _, _, inside = case(arm={"holes": ["20 mm"]}, mount={"off": "-5 mm"}, free_travel=free)
    reaches = sorted(way.reach_deg for way in inside.ways.values())
    assert reaches == pytest.approx([69.8, 71.5], abs=0.06)
    assert about(inside, "locks when") == []
    assert math.isnan(float(surface_angle(mounted(surface, file), math.radians(60))))


def test_reach_beyond_free_travel_is_named_for_each_side():
    _, _, plan = case(free_travel={"up": "30 deg", "down": "40 deg"})
    (warning,) = about(plan, "beyond its free travel")
    assert "34.4 deg up" in warning
    assert "30.0 deg" in warning


def test_travel_to_one_side_only_is_that_of_the_side():
    """A servo whose centre is off has unequal travel; each way gets its own."""
    _, _, plan = case(travel=(-30.0, 45.0))
    _, _, other = case(travel=(-45.0, 30.0))
    ways = {word: abs(plan.ways[word].reach_deg) for word in ("up", "down")}
    swapped = {word: abs(other.ways[word].reach_deg) for word in ("up", "down")}
    assert max(ways, key=ways.get) != max(swapped, key=swapped.get)
    assert min(ways.values()) == pytest.approx(23.6, abs=0.1)
    assert max(ways.values()) == pytest.approx(34.4, abs=0.1)


@pytest.mark.parametrize(
    ("lean", "says"),
    [
        (0, "square to the rod"),
        (1, "leaning 1 tooth (14.4 deg) AWAY from the hinge line"),
        (-2, "leaning 2 teeth (28.8 deg) TOWARDS the hinge line"),
    ],
)
def test_lean_in_words(lean, says):
    surface, file = one(arm={"teeth_lean": lean})
    assert lean_in_words(surface, file) == says


def test_a_rudder_speaks_of_left_and_right():
    surface, file = one(
        kind="rudder",
        side="centre",
        horn={"side": "right"},
        throws={"left": "15 deg", "right": "15 deg"},
        free_travel={"left": "16 deg", "right": "30 deg"},
    )
    plan = plan_surface(surface, file, TRAVEL)
    assert set(plan.ways) == {"left", "right"}
    assert all(("left" in text or "right" in text) for text in plan.warnings)
    assert not any(word in text for text in plan.warnings for word in (" up", " down"))
