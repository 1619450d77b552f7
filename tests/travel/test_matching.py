"""Two sides set alike by centre, ends and direction, and compared at every point."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hingeline.errors import TravelError
from hingeline.linkage.closure import surface_angle
from hingeline.travel.fit import fit
from hingeline.travel.matching import match, points_of
from hingeline.travel.reading import shaft_reading
from hingeline.travel.remedies import remedies
from hingeline.travel.schedule import traverse
from hingeline.travel.setting import setting_of
from hingeline.travel.shelf import pair_up
from hingeline.travel.sides import SurfaceSide
from hingeline.travel.trim import trim_of
from tests.support.models import model, one, servo, surface
from tests.support.servo_truth import ServoTruth, random_servo

PLAIN = ServoTruth(0.09)
#: Bent so that it lags part way both ways and is right at neutral and near its ends.
BENT = ServoTruth(0.09, shape="sine", bend_deg=3.0)


def exact(truth, low=1000.0, high=2000.0, points=13, approaches=("rising", "falling")):
    """Fit a curve to what a gauge of a hundredth of a degree shows of a servo without play."""
    return fit(
        [
            shaft_reading(float(pulse), side, truth.mean_deg(float(pulse)), resolution_deg=0.01)
            for pulse in np.linspace(low, high, points)
            for side in approaches
        ]
    )


def calibrated(truth, seed, resolution_deg=0.5):
    steps = traverse(1000, 2000, limits_us=(900, 2100), start_us=1500)
    return fit(truth.read(steps, np.random.default_rng(seed), resolution_deg))


def sides(made, left, right):
    return [
        SurfaceSide(setting_of(shape, made.servo_of(shape), curve), curve)
        for shape, curve in zip(made.surfaces, (left, right), strict=True)
    ]


def ailerons(right=None):
    """Return a pair of ailerons that 45 deg of servo either way move far enough."""
    arm = {"hole": 2}
    return model(
        surface(arm=arm),
        surface(
            name="right aileron", side="right", servo="A2", channel=2, arm={**arm, **(right or {})}
        ),
    )


def long_pair(*, left=None, right=None, holes=("9 mm",)):
    """Ailerons whose rods are so long that their swing does not count; arm half the horn."""
    tables = []
    for number, (side, how) in enumerate((("left", left), ("right", right)), start=1):
        tables.append(
            surface(
                name=f"{side} aileron",
                side=side,
                servo=f"A{number}",
                channel=number,
                throws={"up": "20 deg", "down": "20 deg"},
                free_travel={"up": "40 deg", "down": "40 deg"},
                mount={"ahead": "20000 mm"},
                arm={"holes": list(holes), "hole": 1, **(how or {})},
                horn={"holes": ["18 mm"], "hole": 1},
            )
        )
    wide = servo(pulse_limits=["850 us", "2150 us"])
    return model(*tables, servos={"A1": wide, "A2": wide})


WIDE = exact(PLAIN, 850, 2150)
TWENTY = ((20.0, 20.0), (20.0, 20.0))


def test_sides_that_agree_at_their_ends_differ_half_way():
    # Long rod, arm half the horn, both set to exactly 20 deg both ways. Half stick, worked
    # by hand from sin(surface) = 0.5 (sin(lean + turn) - sin(lean)): left, square, 10.60 both
    # ways; right, leaning one tooth of 25, 12.00 one way and 10.02 the other.
    made = long_pair(right={"teeth_lean": 1})
    found = match(*sides(made, WIDE, WIDE), TWENTY, tolerance_deg=3.0)
    ends = [*found.left.throws_deg, *found.right.throws_deg]
    assert ends == pytest.approx([20.0] * 4, abs=0.03)
    half = [found.ways.index(0.5), found.ways.index(-0.5)]
    assert [found.left.deflection_deg[at] for at in half] == pytest.approx(
        [10.60, -10.60], abs=0.02
    )
    right = sorted(abs(found.right.deflection_deg[at]) for at in half)
    assert right == pytest.approx([10.02, 12.00], abs=0.02)
    assert abs(found.ways[found.worst]) == 0.5
    assert found.worst_deg == pytest.approx(1.40, abs=0.03)


def test_a_little_less_throw_evens_what_differs_half_way_and_no_throw_gives_more_than_may_remain():
    made = long_pair(right={"teeth_lean": 1})
    found = match(*sides(made, WIDE, WIDE), TWENTY, tolerance_deg=1.0)
    assert found.plain_worst_deg == pytest.approx(1.40, abs=0.03)
    assert found.passed
    # Equal alternation: as much too little at the end as too much part way.
    size = np.abs(found.mismatch_deg)
    leaning = size[: len(size) // 2] if size[0] > size[-1] else size[len(size) // 2 + 1 :]
    assert sorted(leaning)[-1] == pytest.approx(sorted(leaning)[-2], abs=0.06)
    given_up = [20.0 - throw for side in (found.left, found.right) for throw in side.throws_deg]
    assert max(given_up) <= 1.0 + 0.03


def test_throws_swapped_between_the_sides_fail_and_are_not_evened_out():
    made = ailerons()
    found = match(*sides(made, exact(PLAIN), exact(PLAIN)), ((15.0, 10.0), (10.0, 15.0)))
    assert not found.passed
    assert found.asked_apart_deg == 5.0
    assert found.plain_worst_deg is None
    assert found.worst_deg == pytest.approx(5.0, abs=0.1)
    assert found.mismatch_deg[-1] == pytest.approx(5.0, abs=0.1)
    assert found.mismatch_deg[0] == pytest.approx(5.0, abs=0.1)


def test_left_and_right_with_the_same_differential_match():
    found = match(*sides(ailerons(), exact(PLAIN), exact(PLAIN)), ((15.0, 10.0),) * 2)
    assert found.passed
    assert found.sure
    assert found.worst_deg < 0.05


def test_each_side_is_set_about_its_own_measured_centre_and_way_round():
    left, right = exact(ServoTruth(0.09, 1530.0)), exact(ServoTruth(-0.11, 1478.0))
    found = match(*sides(ailerons(), left, right), ((15.0, 11.0),) * 2)
    assert (found.left.radio.centre_us, found.right.radio.centre_us) == (1530, 1478)
    # Mirror mounted, the plain pair needs opposite pulses for up; this one, the same.
    plain = match(*sides(ailerons(), exact(PLAIN), exact(PLAIN)), ((15.0, 11.0),) * 2)
    assert plain.left.radio.first_rises != plain.right.radio.first_rises
    assert found.left.radio.first_rises == found.right.radio.first_rises
    assert found.left.throws_deg == pytest.approx((15.0, 11.0), abs=0.05)
    assert found.right.throws_deg == pytest.approx((15.0, 11.0), abs=0.05)


@pytest.mark.parametrize("count", [-1, 0, 3, 4, 6, 100])
def test_too_few_points_or_an_even_number_are_refused(count):
    with pytest.raises(TravelError) as error:
        points_of(count)
    assert str(count) in error.value.message
    assert "odd" in error.value.mend


def test_a_throw_beyond_one_sides_reach_is_cut_for_both_and_fails():
    weak = exact(PLAIN, 1300, 1700)
    found = match(*sides(ailerons(), exact(PLAIN), weak), ((15.0, 11.0),) * 2)
    assert found.short
    assert not found.passed
    assert found.right.reach_deg[0] < 15.0
    assert found.left.throws_deg == pytest.approx(found.right.throws_deg, abs=0.1)
    assert found.left.short_deg == (0.0, 0.0)
    assert found.right.short_deg[0] == 15.0 - found.right.reach_deg[0]


def test_a_servo_read_from_one_side_only_is_refused_with_what_is_missing():
    half = exact(PLAIN, approaches=("rising",))
    with pytest.raises(TravelError) as error:
        match(*sides(ailerons(), half, exact(PLAIN)), ((15.0, 11.0),) * 2)
    assert "falling" in error.value.mend


def test_what_is_said_of_doubt_follows_the_intervals():
    made, left = ailerons(), exact(PLAIN)
    right = exact(BENT)
    found = match(*sides(made, left, right), ((15.0, 11.0),) * 2, tolerance_deg=45.0)
    size, half = found.worst_deg, found.interval_deg[found.worst]
    for tolerance, passed in ((size + 2 * half, True), (size + half / 2, True)):
        again = match(*sides(made, left, right), ((15.0, 11.0),) * 2, tolerance_deg=tolerance)
        assert again.passed is passed
        assert again.sure is (tolerance > size + half)


@settings(max_examples=25, deadline=None)
@given(
    st.integers(0, 10_000),
    st.sampled_from([(15.0, 11.0), (12.0, 12.0), (8.0, 14.0)]),
    st.booleans(),
)
def test_matching_is_the_same_whichever_side_is_called_left(seed, wanted, leaning):
    rng = np.random.default_rng(seed)
    left, right = exact(random_servo(rng)), exact(random_servo(rng))
    # Swapped sides change places in the model as well: the mirror image of the same pair.
    arm = {"teeth_lean": int(leaning)}
    one_way = match(*sides(ailerons(arm), left, right), (wanted, wanted))
    swapped = match(*reversed(sides(ailerons(arm), left, right)), (wanted, wanted))
    assert swapped.left.radio == one_way.right.radio
    assert swapped.right.radio == one_way.left.radio
    assert np.allclose(swapped.mismatch_deg, -np.asarray(one_way.mismatch_deg))


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.1, 1.0))
def test_giving_way_never_makes_the_worst_worse_nor_takes_more_than_may_be_given(seed, tolerance):
    rng = np.random.default_rng(seed)
    pair = sides(ailerons(), exact(random_servo(rng)), exact(random_servo(rng)))
    plain = match(*pair, ((15.0, 11.0),) * 2, tolerance_deg=45.0)
    found = match(*pair, ((15.0, 11.0),) * 2, tolerance_deg=tolerance)
    assert found.worst_deg <= plain.worst_deg
    for side in (found.left, found.right):
        for throw, wanted in zip(side.throws_deg, (15.0, 11.0), strict=True):
            assert wanted - tolerance - 0.1 <= throw <= wanted + 0.1


# -- against the truth ---------------------------------------------------------------------


def true_deflections(side, truth, radio, ways):
    """Send the pulses to the servo that was measured, and look at its surface."""
    shaft = np.radians(truth.means_deg(radio.pulses_us(ways)))
    return side.first * np.degrees(surface_angle(side.setting.linkage, shaft))


def test_the_mismatch_of_true_servos_is_within_the_stated_interval():
    # 60 pairs of servos that are read to half a degree, with play; what the pair truly does
    # at the pulses found is compared with what was said of it, at every point.
    rng = np.random.default_rng(20)
    inside, looked_at, off = 0, 0, []
    for seed in range(60):
        truths = [random_servo(rng) for _ in range(2)]
        pair = sides(ailerons(), *(calibrated(t, seed + 100 * n) for n, t in enumerate(truths)))
        found = match(*pair, ((15.0, 11.0),) * 2)
        ways = np.asarray(found.ways)
        stands = []
        for side, truth, is_set in zip(pair, truths, (found.left, found.right), strict=True):
            # From neutral the arm lags by half the play; at neutral it may be either way.
            lag = -np.sign(ways) * np.sign(is_set.radio.ends_us[0] - is_set.radio.ends_us[1])
            lag = lag * math.copysign(truth.play_deg / 2.0, truth.rate_deg_per_us)
            shaft = truth.means_deg(is_set.radio.pulses_us(ways)) + lag
            angle = surface_angle(side.setting.linkage, np.radians(shaft))
            stands.append(side.first * np.degrees(angle))
        error = np.abs(stands[0] - stands[1] - np.asarray(found.mismatch_deg))
        inside += int((error <= found.interval_deg).sum())
        looked_at += len(ways)
        off.append(float(error.max()))
    assert 0.90 <= inside / looked_at <= 0.995
    assert max(off) < 1.0


# -- what another hole or tooth would do ---------------------------------------------------


def test_the_tooth_that_is_wrong_is_found():
    made = long_pair(right={"teeth_lean": 1})
    pair = sides(made, WIDE, WIDE)
    now = match(*pair, TWENTY, tolerance_deg=0.3)
    assert not now.passed
    best = remedies(*pair, TWENTY, now)[0]
    assert (best.side, best.surface.arm.teeth_lean, best.changes) == ("right", 0, 1)
    assert best.match.passed
    assert best.match.worst_deg < 0.05
    assert best.lean_deg == 0.0


def test_the_hole_that_lets_a_weak_servo_reach_is_found():
    weak = exact(PLAIN, 1250, 1750)  # 22.5 deg each way
    made = ailerons()
    pair = sides(made, exact(PLAIN), weak)
    wanted = ((15.0, 11.0),) * 2
    now = match(*pair, wanted)
    assert now.short
    best = remedies(*pair, wanted, now)[0]
    assert best.side == "right"
    assert not best.match.short
    arm, horn = best.surface.arm, best.surface.horn
    longer = arm.holes_mm[arm.hole - 1] / horn.holes_mm[horn.hole - 1]
    old = made.surfaces[1]
    assert longer > old.arm.holes_mm[old.arm.hole - 1] / old.horn.holes_mm[old.horn.hole - 1]


def test_every_remedy_is_a_neighbour_of_one_side_and_better_than_now():
    made = ailerons({"hole": 3, "teeth_lean": 2})
    pair = sides(made, exact(PLAIN), exact(BENT))
    wanted = ((15.0, 11.0),) * 2
    now = match(*pair, wanted, tolerance_deg=0.1)
    found = remedies(*pair, wanted, now)
    assert found
    for item in found:
        old = made.surfaces[0 if item.side == "left" else 1]
        assert abs(item.surface.arm.hole - old.arm.hole) <= 1
        assert abs(item.surface.horn.hole - old.horn.hole) <= 1
        assert abs(item.surface.arm.teeth_lean - old.arm.teeth_lean) <= 1
        assert item.surface.name == old.name
        better = (item.match.short, item.match.worst_deg) < (now.short, now.worst_deg)
        assert better
    assert found[0].match.worst_deg <= min(item.match.worst_deg for item in found) + 0.1


# -- centre trim ---------------------------------------------------------------------------


def test_what_a_centre_trim_costs_by_hand():
    # Centre 1560 us: the arm stands 5.4 deg clockwise at 1500. Towards 2000 us there were
    # 45 deg from where it stood; 5.4 of them, 12 %, are gone.
    _, known = one()
    trim = trim_of(known, exact(ServoTruth(0.09, 1560.0)))
    assert trim.by_us == pytest.approx(60.0, abs=0.1)
    assert trim.off_deg == pytest.approx(-5.4, abs=0.01)
    assert trim.lost_deg == pytest.approx(5.4, abs=0.01)
    assert trim.lost_percent == pytest.approx(12.0, abs=0.05)
    assert trim.rises
    assert trim.refit is None  # the next tooth of 25 is 14.4 deg away


def test_a_tooth_is_named_where_one_stands_nearer():
    _, known = one()
    trim = trim_of(known, exact(ServoTruth(0.09, 1400.0)))  # 9 deg counter-clockwise
    assert (trim.refit.teeth, trim.refit.off_deg) == (-1, pytest.approx(-5.4, abs=0.01))
    assert not trim.rises


def test_there_is_no_trim_of_a_servo_that_never_passes_its_centre():
    _, known = one()
    assert trim_of(known, exact(ServoTruth(0.09, 2300.0))) is None


# -- the shelf -----------------------------------------------------------------------------


def test_the_two_that_bend_alike_are_the_best_pair():
    curves = {
        "one": exact(BENT),
        "two": exact(PLAIN),
        "three": exact(ServoTruth(0.1, 1520.0, shape="sine", bend_deg=3.0)),
        "four": exact(ServoTruth(0.09, shape="sine", bend_deg=-3.0)),
    }
    shelf = pair_up(curves)
    assert len(shelf.pairs) == 6
    best = shelf.pairs[0]
    assert {best.first, best.second} == {"one", "three"}
    worst = shelf.pairs[-1]
    assert "four" in (worst.first, worst.second)
    assert worst.told_from(best)
    sizes = [pair.worst_deg for pair in shelf.pairs]
    assert sizes == sorted(sizes)


def test_a_bend_that_is_even_pairs_differently_mirrored():
    # Bowed the same way: alike when turned the same way, and twice the bow when mirrored.
    bowed = ServoTruth(0.09, shape="cosine", bend_deg=2.0)
    other = ServoTruth(0.09, shape="cosine", bend_deg=-2.0)
    shelf = pair_up({"a": exact(bowed), "b": exact(bowed), "c": exact(other)})
    by_name = {(pair.first, pair.second): pair for pair in shelf.pairs}
    same, against = by_name["a", "b"], by_name["a", "c"]
    assert same.alike.worst_deg < 0.1 < same.mirrored.worst_deg
    assert against.mirrored.worst_deg < 0.1 < against.alike.worst_deg


def test_a_servo_turned_round_by_its_sign_alone_is_as_good():
    shelf = pair_up({"a": exact(PLAIN), "b": exact(ServoTruth(-0.09, 1510.0))})
    assert shelf.pairs[0].worst_deg < 0.05


def test_what_does_not_reach_is_left_out_with_the_reason():
    curves = {
        "a": exact(PLAIN),
        "b": exact(ServoTruth(0.09, 1495.0)),
        "short": exact(PLAIN, 1200, 1800),
        "astray": exact(ServoTruth(0.09, 2300.0)),
    }
    shelf = pair_up(curves, arm_deg=40.0)
    assert set(shelf.left_out) == {"short", "astray"}
    assert "27.0 deg" in shelf.left_out["short"]
    with pytest.raises(TravelError) as error:
        pair_up(curves, arm_deg=60.0)
    assert "--arm" in error.value.mend
    assert "45.0 deg" in error.value.cause
