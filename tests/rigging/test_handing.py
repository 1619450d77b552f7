"""The figures for the radio, and what follows from them."""

import itertools

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hingeline import chord
from hingeline.errors import TravelError
from hingeline.linkage.closure import ratio
from hingeline.rigging.handing import Span, computed, furthest_deg, measured
from hingeline.rigging.limits import SHORT_DEG
from hingeline.rigging.mixing import differential, sums
from hingeline.rigging.onesignal import one_signal
from hingeline.travel.setting import setting_of
from tests.support.models import aileron_pair, model, servo, surface


def setting(servo_changes=None, **changes):
    table = surface(**changes)
    made = model(table, servos={table["servo"]: servo(**(servo_changes or {}))})
    return setting_of(made.surfaces[0], made.servos[table["servo"]], None)


def handed(servo_changes=None, **changes):
    return computed(setting(servo_changes, **changes))


# -- per cent ----------------------------------------------------------------------------


def test_per_cent_are_parts_of_the_span_that_is_said():
    span = Span(500.0, 1500.0)
    assert [span.percent(pulse) for pulse in (1500, 2000, 1000, 1900, 1135)] == [
        0.0,
        100.0,
        -100.0,
        80.0,
        -73.0,
    ]
    assert Span(400.0, 1520.0).percent(1900) == pytest.approx(95.0)
    # From a centre that was trimmed to 1516 us.
    assert span.percent(1516) == pytest.approx(3.2)
    assert span.percent(1900, 1516) == pytest.approx(76.8)


@given(st.floats(50, 1500), st.floats(700, 1700), st.floats(300, 2500), st.floats(300, 2500))
def test_per_cent_from_the_trimmed_centre_are_those_less_its_own(span_us, centre, end, trimmed):
    span = Span(span_us, centre)
    assert span.percent(end, trimmed) == pytest.approx(
        span.percent(end) - span.percent(trimmed), abs=1e-6
    )


# -- centre ------------------------------------------------------------------------------


def test_an_arm_squared_at_1500_and_flown_at_1520_sits_1_8_deg_off():
    # 20 us x 0.09 deg/us and x 0.1 deg/us; 10 deg would take 111 us and 100 us.
    assert handed().arm_off_deg(1520) == pytest.approx(1.8)
    fast = handed({"rate": "0.1 deg/us"})
    assert fast.arm_off_deg(1520) == pytest.approx(2.0)
    assert fast.arm_off_deg(1600) == pytest.approx(10.0)
    assert handed({"turns": "cw"}).arm_off_deg(1480) == pytest.approx(-1.8)


# -- differential ------------------------------------------------------------------------


def test_15_up_and_11_down_is_73_per_cent():
    found = differential({"up": 15.0, "down": 11.0}, 45.0)
    assert (found.larger, found.smaller) == ("up", "down")
    assert 100.0 * found.of_larger_deg == pytest.approx(73.33, abs=0.01)


def test_30_per_cent_by_drop_is_31_7_per_cent_by_degrees():
    # At a chord of 60 mm a drop of 30 mm is 30.00 deg, and 30 % less, 21 mm, is 20.49 deg.
    throws = {
        "up": chord.throw_deg(30.0, 60.0, "drop"),
        "down": chord.throw_deg(21.0, 60.0, "drop"),
    }
    assert throws == {"up": pytest.approx(30.0), "down": pytest.approx(20.49, abs=0.005)}
    found = differential(throws, 60.0)
    assert 1.0 - found.of_larger_mm == pytest.approx(0.30)
    assert 1.0 - found.of_larger_deg == pytest.approx(0.317, abs=0.0005)


def test_more_down_than_up_is_told_as_such_and_alike_throws_are_none():
    found = differential({"up": 10.0, "down": 30.0}, 60.0)
    assert (found.larger, found.smaller) == ("down", "up")
    assert differential({"left": 22.0, "right": 22.2}, 60.0) is None


# -- where it stands ---------------------------------------------------------------------

# As long an arm as the horn, far ahead: the surface turns as the arm does.
ALIKE = {
    "arm": {"holes": ["12 mm"]},
    "horn": {"holes": ["12 mm"], "hole": 1},
    "mount": {"ahead": "400 mm", "off": "0 mm"},
}


def test_a_flaperon_15_mm_up_and_45_mm_down_stands_15_mm_down_at_mid_travel():
    one = handed(
        throws={"up": "15 mm drop", "down": "45 mm drop"}, chord="120 mm", kind="flap", **ALIKE
    )
    stands = one.stands(one.middle_us)
    assert stands < 0  # down
    assert chord.throw_mm(-stands, 120.0, "drop") == pytest.approx(15.0, abs=0.6)
    by_degrees = handed(
        throws={"up": "9 deg", "down": "27 deg"},
        free_travel={"up": "40 deg", "down": "40 deg"},
        **ALIKE,
    )
    assert by_degrees.stands(by_degrees.middle_us) == pytest.approx(-9.0, abs=0.4)


def test_it_stands_at_its_throws_at_its_ends_and_at_neutral_between():
    for changes in (
        {},
        {"side": "right"},
        {"horn": {"side": "top"}, "mount": {"arm_points": "in"}},
    ):
        one = handed(**changes)
        assert one.stands(one.ends_us["up"]) == pytest.approx(15.0, abs=0.05)
        assert one.stands(one.ends_us["down"]) == pytest.approx(-11.0, abs=0.05)
        assert one.stands(one.centre_us) == pytest.approx(0.0, abs=0.05)
        assert (one.rising == "up") == (one.ends_us["up"] > one.ends_us["down"])


def test_a_throw_beyond_reach_is_cut_to_what_is_had_and_told():
    one = handed({"pulse_limits": ["1200 us", "1800 us"]})
    assert one.ends_us == {"up": 1800, "down": 1200}
    assert one.throw_deg["up"] < 15.0 - SHORT_DEG
    assert one.stands(1800) == pytest.approx(one.throw_deg["up"], abs=0.03)
    assert [note for note in one.notes if note.startswith("up 15.0 deg is wanted")]
    assert not one.passed


def test_what_rests_on_the_maker_alone_does_not_pass_and_may_not_know_its_direction():
    assert handed().notes == ("nothing of servo A1 was measured.",)
    assert handed().source == "maker"
    made = model(surface(), servos={"A1": {k: v for k, v in servo().items() if k != "turns"}})
    one = computed(setting_of(made.surfaces[0], made.servos["A1"], None))
    assert one.rising is None


# -- as measured -------------------------------------------------------------------------


def rigged(one, off_deg, **changes):
    """Return a rig's finding of a surface that stands ``off_deg`` of its share further up."""
    first, second = one.words
    wanted = {1.0: one.wanted_deg[first], 0.0: 0.0, -1.0: -one.wanted_deg[second]}
    pulses = {1.0: one.ends_us[first], 0.0: one.centre_us, -1.0: one.ends_us[second]}
    points = [
        {
            "share": share,
            "pulse_us": pulses[share],
            "approach": "rising" if pulses[share] >= one.centre_us else "falling",
            "wanted_deg": wanted[share],
            "predicted_deg": wanted[share],
            "measured_deg": wanted[share] + off_deg * share,
            "from": "neutral",
        }
        for share in (0.0, 1.0, -1.0)
    ]
    return {
        "servo": "A1",
        "centre_us": one.centre_us,
        "ends_us": dict(one.ends_us),
        "wanted_deg": {word: abs(one.wanted_deg[word]) for word in one.words},
        "points": points,
        "pass": True,
        **changes,
    }


def test_the_figures_of_a_rig_are_those_that_were_measured():
    plain = handed()
    one = measured(plain.setting, rigged(plain, 0.6))
    assert one.source == "measured"
    assert one.passed
    assert (one.centre_us, one.ends_us, one.rising) == (
        plain.centre_us,
        plain.ends_us,
        plain.rising,
    )
    assert one.throw_deg == {
        "up": pytest.approx(15.6, abs=0.05),
        "down": pytest.approx(11.6, abs=0.05),
    }


def test_a_rig_that_failed_or_was_for_other_throws_does_not_pass():
    plain = handed()
    assert "tolerance" in measured(plain.setting, rigged(plain, 0.0, **{"pass": False})).notes[0]
    other = setting(throws={"up": "13 deg", "down": "11 deg"})
    notes = measured(other, rigged(plain, 0.0)).notes
    assert notes == ("it was rigged for up 15.0 deg; the model file asks for 13.0 deg now.",)
    narrow = setting({"pulse_limits": ["1000 us", "1900 us"]})
    notes = measured(narrow, rigged(plain, 0.0)).notes
    assert len(notes) == 1
    assert "outside the 1000 to 1900 us" in notes[0]


def backwards(figures):
    """Return a rig's finding of a surface that goes the other way, its ends by what was seen."""
    points = [{**one, "measured_deg": -one["measured_deg"]} for one in figures["points"]]
    up, down = figures["ends_us"].values()
    return {**figures, "points": points, "ends_us": {"up": down, "down": up}, "pass": False}


def test_a_surface_that_goes_the_wrong_way_is_handed_over_as_it_was_seen():
    plain = handed()
    one = measured(plain.setting, backwards(rigged(plain, 0.0)) | {"rising_pulse": plain.rising})
    other = {"up": "down", "down": "up"}[plain.rising]
    assert one.rising == other
    assert (one.ends_us["up"] > one.ends_us["down"]) == (other == "up")
    assert one.throw_deg == {"up": pytest.approx(11.0), "down": pytest.approx(15.0)}
    assert any("its direction is wrong: a rising pulse moves it" in note for note in one.notes)
    right = measured(plain.setting, rigged(plain, 0.0))
    assert right.rising == plain.rising
    assert right.notes == ()
    assert one_signal(one, right, "together").works is False
    assert one_signal(one, right, "opposite").works is True


def test_a_surface_that_did_not_move_goes_no_way():
    plain = handed()
    figures = rigged(plain, 0.0)
    still = [{**one, "measured_deg": 0.1} for one in figures["points"]]
    one = measured(plain.setting, {**figures, "points": still})
    assert one.rising is None
    assert one_signal(one, plain, "opposite").works is None


def test_beyond_the_measured_pulses_nothing_is_known():
    plain = handed()
    one = measured(plain.setting, rigged(plain, 0.0))
    for pulse in one.ends_us.values():
        assert abs(one.stands(pulse)) > 10.0
    with pytest.raises(TravelError, match="was not measured"):
        one.stands(max(one.ends_us.values()) + 1)
    # The other side's pulses, 30 us further, leave what is known of this one.
    far = measured(
        plain.setting,
        {
            **rigged(plain, 0.0),
            "points": [
                {**row, "pulse_us": row["pulse_us"] + 30} for row in rigged(plain, 0.0)["points"]
            ],
            "ends_us": {word: us + 30 for word, us in plain.ends_us.items()},
            "centre_us": plain.centre_us + 30,
        },
    )
    found = one_signal(far, one, "together")
    assert found.works is True
    assert found.worst_deg is None


# -- mixing ------------------------------------------------------------------------------


def test_two_sticks_together_ask_for_twice_the_throw_and_are_held_to_what_is_allowed():
    one = handed(kind="elevon", throws={"up": "15 deg", "down": "12 deg"})
    up, down = sums(one)
    assert (up.word, up.asked_deg) == ("up", pytest.approx(30.0))
    assert up.allowed_deg < 30.0 - 1.0 + 1e-9  # free travel less its margin
    assert up.share == pytest.approx(up.allowed_deg / 30.0)
    assert up.share < 1.0
    assert one.stands(up.limit_us) == pytest.approx(up.allowed_deg, abs=0.1)
    assert (down.asked_deg, down.share) == (pytest.approx(24.0), min(down.allowed_deg / 24.0, 1.0))


def test_a_limit_beyond_what_was_measured_is_not_made_up_from_the_plan():
    plain = handed(kind="elevon", throws={"up": "15 deg", "down": "12 deg"})
    up, _ = sums(measured(plain.setting, rigged(plain, 0.0)))
    assert up.allowed_deg > 16.0  # 15 deg were measured
    assert up.limit_us is None
    # Further than planned: the limit lies within, where it was measured to be.
    tight = handed(
        kind="elevon",
        throws={"up": "15 deg", "down": "12 deg"},
        free_travel={"up": "17 deg", "down": "14 deg"},
    )
    one = measured(tight.setting, rigged(tight, 3.0))
    up, _ = sums(one)
    assert up.allowed_deg == pytest.approx(16.0)
    assert one.stands(up.limit_us) == pytest.approx(16.0, abs=0.1)
    assert abs(up.limit_us - one.centre_us) < abs(one.ends_us["up"] - one.centre_us)


def test_one_stick_alone_makes_no_sum():
    assert sums(handed()) == []
    assert len(sums(handed(kind="ruddervator"))) == 2


@given(st.floats(0.0, 29.0))
def test_the_furthest_is_never_beyond_what_can_be_sent(most):
    one = setting({"pulse_limits": ["1100 us", "1850 us"]})
    found = furthest_deg(one, "up", most)
    assert 0.0 <= found <= most
    one.pulse_us(-found if float(ratio(one.linkage, 0.0)) < 0 else found)  # is not refused


# -- one signal --------------------------------------------------------------------------


def sides(*, right=None, servos=None):
    made = aileron_pair(right=right, servos=servos)
    both = [computed(setting_of(one, made.servo_of(one), None)) for one in made.surfaces]
    return both[0], both[1]


@pytest.mark.parametrize(("servo_way", "arm", "horn"), list(itertools.product((1, -1), repeat=3)))
def test_which_way_it_goes_is_servo_times_arm_times_horn(servo_way, arm, horn):
    # Mirror images of each other, same servos: they move opposite ways. Each of the three that
    # is turned on one side turns that; two of them leave it.
    left, right = sides(
        right={
            "mount": {"ahead": "70 mm", "spindle": "along+", "arm_points": _points(arm, horn)},
            "horn": {
                "side": "bottom" if horn > 0 else "top",
                "holes": ["12 mm", "15.5 mm", "19 mm"],
                "hole": 3,
            },
        },
        servos={"A2": servo(turns="ccw" if servo_way > 0 else "cw")},
    )
    opposite = servo_way * arm * horn > 0
    found = one_signal(left, right, "opposite")
    assert found.works is opposite
    assert one_signal(left, right, "together").works is not opposite
    assert found.one_reversed is not opposite
    assert found.right.servo == ("ccw" if servo_way > 0 else "cw")
    assert found.right.horn == ("bottom" if horn > 0 else "top")


def _points(arm, horn):
    # "off" is towards the horn's side, wherever that is: the same side of the aircraft is "in"
    # once the horn stands on the other face.
    return "off" if arm * horn > 0 else "in"


@pytest.mark.parametrize(("points", "opposite"), [("along+", True), ("along-", False)])
def test_upright_servos_with_arms_on_opposite_sides_suit_ailerons_on_the_same_side_flaps(
    points, opposite
):
    # Both shafts upright. The left arm points outboard; "along+" of the right one is outboard
    # as well, hence the other side of the aircraft; "along-" is the same side.
    mount = {"ahead": "70 mm", "off": "15 mm", "along": "0 mm", "spindle": "off"}
    table = surface(mount={**mount, "arm_points": "along+"})
    other = surface(
        name="right aileron",
        side="right",
        servo="A2",
        channel=2,
        mount={**mount, "arm_points": points},
    )
    made = model(table, other)
    left, right = (computed(setting_of(one, made.servo_of(one), None)) for one in made.surfaces)
    assert one_signal(left, right, "opposite").works is opposite
    assert one_signal(left, right, "together").works is not opposite


def test_the_same_pulses_leave_a_side_off_its_place_by_what_the_sides_differ():
    left, right = sides(servos={"A2": servo(centre="1520 us")})
    found = one_signal(left, right, "opposite")
    assert found.works
    slope = abs(right.stands(1530) - right.stands(1510)) / 20.0
    assert found.worst_deg >= 20.0 * slope - 0.05
    flaps = sides(servos={"A2": servo(turns="cw")})
    assert one_signal(*flaps, "together").worst_deg == pytest.approx(0.0, abs=0.05)


def test_what_does_not_work_has_no_mismatch_and_what_is_not_known_no_answer():
    left, right = sides()
    assert one_signal(left, right, "together").worst_deg is None
    unknown = msgspec.structs.replace(right.setting.servo, turns=None)
    open_ = computed(setting_of(right.surface, unknown, None))
    assert one_signal(left, open_, "opposite").works is None
    assert one_signal(left, open_, "opposite").one_reversed is None
    assert one_signal(left, open_, "opposite").right.servo is None
