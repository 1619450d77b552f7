"""The planning engine: the trade's own facts come out of it, and it explains itself."""

import itertools
import math

import msgspec
import numpy as np
import pytest

from hingeline.linkage.choice import judge, whole_space
from hingeline.linkage.closure import surface_angle
from hingeline.linkage.explain import best_lean, lean_sentence, leans, what_would_help, why
from hingeline.linkage.limits import reach
from hingeline.linkage.mounting import mounted
from hingeline.linkage.option import Limits
from hingeline.linkage.spline import finest_deg, nearest_fit, position, steps_per_tooth
from hingeline.model.reading import parse_model
from hingeline.model.schema import Length, Offset
from hingeline.model.throws import throw_deg
from hingeline.model.values import decode_throw
from hingeline.model.words import directions, sign_of
from hingeline.model.writing import example_text

MODEL = parse_model(example_text(), source="example")
TRAVEL = (-45.0, 45.0)
replace = msgspec.structs.replace


def parts(name="left aileron", **changes):
    surface = MODEL.surface(name)
    return replace(surface, **changes), MODEL.servo_of(surface)


def wanting(first, second, name="elevator"):
    surface, servo = parts(name)
    words = directions(surface)
    sizes = dict(zip(words, (f"{first} deg", f"{second} deg"), strict=True))
    throws = {word: decode_throw(size) for word, size in sizes.items()}
    return replace(surface, throws=throws), servo


# -- the spline ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("teeth", "arms", "off"),
    [
        # One arm stands 5 deg off; exact arithmetic.
        (25, 1, 5.0),
        (25, 2, -2.2),
        (25, 4, 1.4),
        (25, 6, 0.2),
        (24, 1, 5.0),
        (24, 2, 5.0),
        (24, 4, 5.0),
        (24, 6, 5.0),
        (23, 4, 1.09),
        (23, 6, -0.22),
        (21, 4, 0.71),
        (21, 6, -3.57),
    ],
)
def test_turning_a_part_with_several_arms_helps_only_where_it_does(teeth, arms, off):
    assert nearest_fit(teeth, arms, 5.0).off_deg == pytest.approx(off, abs=5e-3)


@pytest.mark.parametrize(
    ("teeth", "arms", "per_tooth", "finest"),
    [(25, 4, 4, 3.6), (25, 6, 6, 2.4), (24, 4, 1, 15.0), (20, 4, 1, 18.0), (21, 2, 2, 60 / 7)],
)
def test_positions_per_tooth(teeth, arms, per_tooth, finest):
    _, servo = parts()
    servo = replace(servo, spline_teeth=teeth, arm_count=arms)
    assert steps_per_tooth(servo) == per_tooth == arms // math.gcd(arms, teeth)
    assert finest_deg(servo) == pytest.approx(finest)


def test_a_position_really_gives_its_lean():
    _, servo = parts()
    for teeth, arms in itertools.product((20, 21, 23, 24, 25), (1, 2, 4, 6)):
        servo = replace(servo, spline_teeth=teeth, arm_count=arms)
        for step in range(-12, 13):
            place = position(servo, step)
            stands = (place.arm - 1) * 360.0 / arms + place.teeth * 360.0 / teeth
            wanted = step * finest_deg(servo)
            assert math.remainder(stands - wanted, 360.0) == pytest.approx(0.0, abs=1e-9)
            assert abs(place.teeth) <= teeth / 2
            assert 1 <= place.arm <= arms


# -- the trade's facts (common practice, no source) ------------------------------------


def test_the_usual_holes_give_the_usual_throw():
    # A quarter inch from the screw, outermost horn hole, servo 40 to 45 deg each way:
    # roughly 12 to 14 deg of surface.
    surface, servo = parts("elevator")
    surface = replace(
        surface,
        arm=replace(surface.arm, holes_mm=[Length(6.35)], hole=1),
        horn=replace(surface.horn, hole=3),
    )
    linkage = mounted(surface, servo)
    for turn in (40.0, 45.0):
        both = np.degrees(np.abs(surface_angle(linkage, np.radians([-turn, turn]))))
        assert both == pytest.approx(13.0, abs=1.2)


def test_each_hole_further_out_on_the_arm_gives_more_and_on_the_horn_less():
    surface, servo = parts("elevator")
    judged = judge(surface, servo, TRAVEL, whole_space(surface, servo))
    square = judged.space.steps.index(0)
    up = judged.arrays["reach up"][:, :, square, 0]
    assert (np.diff(up, axis=0) > 0).all()
    assert (np.diff(up, axis=1) < 0).all()


@pytest.mark.parametrize("set_back", [-4.0, 0.0, 4.0])
def test_horn_holes_over_the_hinge_line_give_even_throws(set_back):
    surface, servo = parts("rudder")
    space = whole_space(surface, servo, set_backs_mm=[set_back])
    judged = judge(surface, servo, TRAVEL, space)
    option = judged.option(int(judged.order[0]))
    square = next(o for o in judged.matching(option.arm_hole, option.horn_hole) if o.step == 0)
    uneven = abs(square.even_deg["left"] - square.even_deg["right"])
    assert uneven < 0.2 if set_back == 0 else uneven > 1.0


def test_a_lean_the_right_way_lifts_an_aileron_more_than_it_drops():
    for name in ("left aileron", "right aileron"):
        surface, servo = parts(name)
        found = {lean.step: lean for lean in leans(surface, servo, TRAVEL)}
        right, square, wrong = found[1].even_deg, found[0].even_deg, found.get(-1)
        assert right["up"] > right["down"] + 2.0
        assert abs(square["up"] - square["down"]) < 1.0
        assert wrong is None or wrong.even_deg["down"] > wrong.even_deg["up"] + 1.0
        best = best_lean(list(found.values()), {"up": 15.0, "down": 11.0})
        sentence = lean_sentence(best, servo)
        assert sentence.startswith("lean the arm 1 tooth (14.4 deg) AWAY from the hinge line: up ")


def test_shortest_arm_and_longest_horn_that_still_reach_come_out():
    surface, servo = wanting(13, 13)
    judged = judge(surface, servo, TRAVEL, whole_space(surface, servo))
    best = judged.best(1)[0]
    assert (best.arm_hole, best.horn_hole, best.step) == (1, 3, 0)
    # It is not written in: where that does not reach, the next longer arm is taken.
    surface, servo = wanting(19, 19)
    best = judge(surface, servo, TRAVEL, whole_space(surface, servo)).best(1)[0]
    assert (best.arm_hole, best.horn_hole) == (2, 3)


def test_all_the_way_out_on_the_arm_must_be_dialled_down():
    surface, servo = wanting(13, 13)
    judged = judge(surface, servo, TRAVEL, whole_space(surface, servo))
    furthest = next(o for o in judged.matching(3, 1) if o.step == 0)
    assert furthest.use < 0.5
    best = judged.best(1)[0]
    assert "% of the servo's travel instead of" in why(furthest, judged, best)


# -- the engine against the exact linkage ------------------------------------------------


@pytest.mark.parametrize("name", [surface.name for surface in MODEL.surfaces])
def test_every_figure_is_that_of_the_linkage_itself(name):
    surface, servo = parts(name)
    space = whole_space(surface, servo, set_backs_mm=[-2.0, 0.0, 3.0])
    judged = judge(surface, servo, TRAVEL, space)
    rng = np.random.default_rng(5)
    for flat in rng.choice(space.size, 60, replace=False):
        option = judged.option(int(flat))
        if math.isinf(option.shortfall_deg):
            continue
        built = replace(
            surface,
            arm=replace(surface.arm, hole=option.arm_hole, teeth_lean=0),
            horn=replace(
                surface.horn, hole=option.horn_hole, set_back_mm=Offset(option.set_back_mm)
            ),
        )
        linkage = mounted(built, servo, off_lean_deg=option.lean_deg)
        assert option.rod_mm == pytest.approx(linkage.length_mm)
        for word, turn in option.turn_deg.items():
            sign = sign_of(surface, word)
            end = surface_angle(linkage, np.radians([-turn, turn])) * sign
            if not math.isnan(turn):
                assert np.degrees(np.nanmax(end)) >= throw_deg(surface, word) - 1e-6
            ends = np.degrees(sign * surface_angle(linkage, np.radians(TRAVEL)))
            assert np.isclose(ends, option.reach_deg[word], equal_nan=True).any()


def test_the_best_is_the_best_of_all_by_brute_force():
    surface, servo = wanting(13, 13)
    judged = judge(surface, servo, TRAVEL, whole_space(surface, servo))
    everything = [judged.option(flat) for flat in range(judged.space.size)]
    fit = [option for option in everything if not option.misses]
    assert len(fit) == judged.fit_count
    assert judged.best(1)[0] == min(fit, key=lambda option: option.cost)


def test_turning_back_inside_the_throws_is_not_fit():
    # A long arm on a short horn: the linkage locks before the servo's end.
    surface, servo = parts("elevator")
    surface = replace(
        surface,
        arm=replace(surface.arm, holes_mm=[Length(20.0)], hole=1),
        horn=replace(surface.horn, holes_mm=[Length(15.0)], hole=1),
        throws={word: decode_throw("60 deg") for word in ("up", "down")},
    )
    judged = judge(surface, servo, (-55.0, 55.0), whole_space(surface, servo))
    assert judged.fit_count == 0
    option = next(o for o in judged.matching(1, 1) if o.step == 0)
    assert any("in line" in miss or "locks" in miss for miss in option.misses)


def test_unfit_choices_say_why_the_nearest_miss_first():
    surface, servo = wanting(25, 25)
    judged = judge(surface, servo, (-30.0, 30.0), whole_space(surface, servo))
    misses = judged.nearest_misses(30)
    shortfalls = [option.shortfall_deg for option in misses]
    assert shortfalls == sorted(shortfalls)
    assert all(option.misses for option in misses)
    assert any("short of 25.0" in miss for option in misses for miss in option.misses)


def test_what_would_help_really_helps():
    surface, servo = wanting(22, 22, "rudder")
    travel = (-20.0, 20.0)
    judged = judge(surface, servo, travel, whole_space(surface, servo))
    assert judged.fit_count == 0
    advice = what_would_help(surface, servo, travel, judged)
    arm = next(line for line in advice if line.startswith("an arm hole"))
    longer = Length(float(arm.split()[3]))
    assert longer > surface.arm.holes_mm[-1]
    holes = [*surface.arm.holes_mm, longer]
    surface = replace(surface, arm=replace(surface.arm, holes_mm=holes))
    assert judge(surface, servo, travel, whole_space(surface, servo)).fit_count > 0


def test_mirrored_surfaces_are_judged_alike():
    judgements = []
    for name in ("left aileron", "right aileron"):
        surface, servo = parts(name)
        judgements.append(judge(surface, servo, TRAVEL, whole_space(surface, servo)))
    left, right = judgements
    for key, array in left.arrays.items():
        assert np.allclose(array, right.arrays[key], equal_nan=True), key


def test_a_four_arm_part_offers_the_leans_between_the_teeth():
    # 115/85 needs 19.9 deg of lean with a long rod; 25 teeth and 4 arms build 18.0 and 21.6.
    surface, servo = parts()
    servo = replace(servo, arm_count=4)
    found = [lean.lean_deg for lean in leans(surface, servo, TRAVEL)]
    assert any(abs(lean - 18.0) < 1e-9 for lean in found)
    assert any(abs(lean - 21.6) < 1e-9 for lean in found)


def test_the_limits_are_obeyed():
    surface, servo = wanting(13, 13)
    strict = Limits(least_angle_deg=60.0)
    judged = judge(surface, servo, TRAVEL, whole_space(surface, servo), strict)
    for option in judged.best(1000):
        assert option.least_angle_deg >= 60.0
        linkage = mounted(
            replace(
                surface,
                arm=replace(surface.arm, hole=option.arm_hole),
                horn=replace(surface.horn, hole=option.horn_hole),
            ),
            servo,
            off_lean_deg=option.lean_deg,
        )
        used = max(option.turn_deg.values())
        assert reach(linkage, -math.radians(used), math.radians(used)).dead_rad == ()


def test_a_large_space_is_judged_whole():
    surface, servo = parts("elevator")
    servo = replace(servo, arm_count=4)
    holes = [Length(mm) for mm in (6.4, 8.0, 9.6, 11.2, 12.8, 14.4)]
    horns = [Length(mm) for mm in (10.0, 13.0, 16.0, 19.0)]
    surface = replace(
        surface,
        arm=replace(surface.arm, holes_mm=holes, hole=None),
        horn=replace(surface.horn, holes_mm=horns, hole=None),
    )
    space = whole_space(surface, servo, set_backs_mm=np.linspace(-2, 2, 9).tolist())
    judged = judge(surface, servo, TRAVEL, space)
    assert judged.space.size == 6 * 4 * len(space.steps) * 9
    assert judged.fit_count > 100


@pytest.mark.parametrize(
    ("teeth", "pitch", "shift"),
    [
        # Exact arithmetic: what turning a part by 90 deg on its spline adds, beyond whole teeth.
        (15, 24.0, 6.0),
        (20, 18.0, 0.0),
        (21, 17.142857, 4.285714),
        (22, 16.363636, 8.181818),
        (23, 15.652174, 3.913043),
        (24, 15.0, 0.0),
        # "allowing a 1/4 spline offset (3.6 degrees) with each approximately 90 rotation":
        # N. Hiller, NSRCA mailing list, August 2007 (seen).
        (25, 14.4, 3.6),
        (26, 13.846154, 6.923077),
    ],
)
def test_a_quarter_turn_of_the_part_on_its_spline(teeth, pitch, shift):
    _, servo = parts()
    servo = replace(servo, spline_teeth=teeth, arm_count=4)
    assert finest_deg(replace(servo, arm_count=1)) == pytest.approx(pitch, abs=5e-7)
    assert finest_deg(servo) == pytest.approx(shift or pitch, abs=5e-7)
