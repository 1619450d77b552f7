"""Limits of closing, dead points and reach."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from hingeline.errors import LinkageError
from hingeline.linkage.angles import rod_angles
from hingeline.linkage.closure import Crank, Linkage, ratio, surface_angle
from hingeline.linkage.limits import closing_limits, dead_points, reach, shaft_limits
from hingeline.linkage.loop import closure_matrix
from tests.linkage.shapes import HINGE, level_linkage, spatial_linkages


def test_over_centre_linkage():
    # Arm 20 on horn 15, 120 mm apart, rod level: computed by a separate four-bar solver.
    linkage = level_linkage(20.0, 15.0, 120.0)
    limits = shaft_limits(linkage)
    assert np.degrees([limits.low_rad, limits.high_rad]) == pytest.approx([-47.4, 49.9], abs=0.05)
    straight = np.degrees(rod_angles(linkage, [limits.low_rad, limits.high_rad]).horn_rad)
    assert np.sort(straight) == pytest.approx([0.0, 180.0], abs=1e-5)


def test_long_rod_tends_to_the_ideal_limit():
    limits = shaft_limits(level_linkage(20.0, 15.0, 1e7))
    ideal = np.arcsin(15.0 / 20.0)
    assert [limits.low_rad, limits.high_rad] == pytest.approx([-ideal, ideal], abs=1e-5)


def test_parallelogram_stops_where_it_may_fold_either_way():
    limits = shaft_limits(level_linkage(12.0, 12.0, 100.0))
    assert np.degrees([limits.low_rad, limits.high_rad]) == pytest.approx([-90, 90], abs=1e-5)


def test_short_arm_turns_round_and_the_surface_turns_back():
    linkage = level_linkage(8.0, 20.0, 100.0)
    limits, dead = shaft_limits(linkage), dead_points(linkage)
    assert (limits.low_rad, limits.high_rad) == (-np.inf, np.inf)
    at = np.array([dead.low_rad, dead.high_rad])
    assert ratio(linkage, at) == pytest.approx([0.0, 0.0], abs=1e-12)
    in_line = np.degrees(rod_angles(linkage, at).arm_rad)
    assert np.sort(in_line) == pytest.approx([0.0, 180.0], abs=1e-5)


@pytest.mark.parametrize("more_mm", [0.1, 1e-3, 1e-5])
def test_a_horn_a_hair_longer_than_the_arm_lets_the_arm_turn_round(more_mm: float):
    # Grashof: shortest + longest <= the other two, by a hair, so the limit is nearly touched.
    limits = shaft_limits(level_linkage(12.0, 12.0 + more_mm, 100.0, rod_mm=100.0))
    assert (limits.low_rad, limits.high_rad) == (-np.inf, np.inf)
    shorter = shaft_limits(level_linkage(12.0, 12.0 - more_mm, 100.0, rod_mm=100.0))
    assert np.isfinite([shorter.low_rad, shorter.high_rad]).all()


def test_dead_points_by_the_law_of_cosines():
    # Arm and rod in line put the horn's hole at rod - arm or rod + arm from the spindle.
    linkage = level_linkage(8.0, 20.0, 100.0)
    dead = dead_points(linkage)
    tips = linkage.horn.tip_at(surface_angle(linkage, [dead.low_rad, dead.high_rad]))
    apart = np.linalg.norm(tips - linkage.arm.centre_mm, axis=-1)
    assert np.sort(apart) == pytest.approx([92.0, 108.0], abs=1e-10)


def test_arm_resting_at_a_dead_point_is_one_on_both_sides():
    linkage = Linkage(
        Crank((-60, 0, 15), HINGE, (-50, 0, 15)), Crank((0, 0, 0), HINGE, (0, 0, 15))
    )
    dead = dead_points(linkage)
    assert (dead.low_rad, dead.high_rad) == (0.0, 0.0)


@given(st.floats(0.1, 1.4), st.floats(20.0, 200.0))
def test_dead_at_rest_however_it_rounds(attitude: float, rod_mm: float):
    way = np.array([np.cos(attitude), 0.0, np.sin(attitude)])
    horn = Crank((0, 0, 0), HINGE, (0, 0, 15))
    tip = horn.tip_mm - rod_mm * way
    dead = dead_points(Linkage(Crank(tip - 9.0 * way, HINGE, tip), horn))
    assert (dead.low_rad, dead.high_rad) == (0.0, 0.0)


def test_rod_that_does_not_reach_at_centre_names_the_rods_that_do():
    with pytest.raises(LinkageError, match=r"105\.93 mm to 135\.93 mm") as caught:
        shaft_limits(level_linkage(12.0, 15.0, 120.0, rod_mm=95.0))
    assert "120.00 mm" in caught.value.mend
    for rod_mm, closes in ((105.92, False), (105.94, True), (135.92, True), (135.94, False)):
        found = surface_angle(level_linkage(12.0, 15.0, 120.0, rod_mm=rod_mm), 0.0)
        assert np.isfinite(found) == closes


class TestReach:
    def test_ends_of_a_plain_range(self):
        linkage, ends = level_linkage(12.0, 15.0, 120.0, lean_deg=14.4), np.radians([-45.0, 45.0])
        found = reach(linkage, *ends)
        assert np.degrees([found.low_rad, found.high_rad]) == pytest.approx(
            [-29.54, 37.25], abs=0.006
        )
        assert (found.at_low_rad, found.at_high_rad) == tuple(ends)
        assert found.dead_rad == ()

    def test_surface_that_turns_back_is_extreme_at_the_dead_point(self):
        linkage = level_linkage(8.0, 20.0, 100.0)
        shaft = np.linspace(-2.5, 2.5, 20_001)
        swept = surface_angle(linkage, shaft)
        found = reach(linkage, -2.5, 2.5)
        assert len(found.dead_rad) == 2
        assert (found.low_rad, found.high_rad) == pytest.approx(
            (swept.min(), swept.max()), abs=1e-7
        )
        assert found.low_rad <= swept.min() + 1e-12
        assert found.high_rad >= swept.max() - 1e-12
        assert found.at_low_rad == pytest.approx(shaft[swept.argmin()], abs=3e-4)

    def test_whole_turn_of_the_arm_meets_both_dead_points(self):
        linkage = level_linkage(8.0, 20.0, 100.0)
        two = dead_points(linkage)
        found = reach(linkage, 0.0, 6.2)
        assert found.dead_rad == pytest.approx((two.high_rad, two.low_rad + 2.0 * np.pi))
        assert (found.low_rad, found.high_rad) == pytest.approx(
            tuple(surface_angle(linkage, [two.low_rad, two.high_rad]))
        )

    @pytest.mark.parametrize(
        ("ends_deg", "words"),
        [((-45.0, 50.0), r"50\.0 deg: it stops at 49\.9"), ((-60.0, 0.0), r"-60\.0 deg.*-47\.4")],
    )
    def test_range_beyond_closing_is_refused(self, ends_deg: tuple[float, float], words: str):
        with pytest.raises(LinkageError, match=words):
            reach(level_linkage(20.0, 15.0, 120.0), *np.radians(ends_deg))

    @pytest.mark.parametrize("ends", [(0.2, -0.2), (np.nan, 0.2), (-0.2, np.inf)])
    def test_range_must_be_one(self, ends: tuple[float, float]):
        with pytest.raises(LinkageError, match="is not a range"):
            reach(level_linkage(12.0, 15.0, 120.0), *ends)


@given(spatial_linkages(fitted=False))
@settings(max_examples=200)
def test_nan_exactly_outside_the_limits(linkage: Linkage):
    assume(np.isfinite(surface_angle(linkage, 0.0)))
    limits = shaft_limits(linkage)
    low, high = max(limits.low_rad, -np.pi), min(limits.high_rad, np.pi)
    inside = np.linspace(low + 1e-7, high - 1e-7, 501)
    assert np.isfinite(surface_angle(linkage, inside)).all()
    for limit, way in ((limits.low_rad, -1.0), (limits.high_rad, 1.0)):
        if not np.isfinite(limit):
            continue
        beyond = surface_angle(linkage, limit + way * np.array([1e-7, 1e-6, 1e-5]))
        # W^2 leaves zero either at once or, where it only touches, hardly at all.
        step = 1e-5
        touches = abs(_square(linkage, limit + way * step)) < 1e-8
        assert np.isnan(beyond).all() or touches


def _square(linkage: Linkage, shaft: float) -> float:
    minus_r, p, q = np.array([1.0, np.cos(shaft), np.sin(shaft)]) @ linkage.matrix
    return float((p * p + q * q - minus_r * minus_r) / (p * p + q * q))


@given(spatial_linkages(), st.floats(0.05, 1.0), st.floats(0.05, 1.0))
@settings(max_examples=200)
def test_reach_is_what_a_fine_sweep_finds(linkage: Linkage, back: float, on: float):
    limits = shaft_limits(linkage)
    low, high = max(-back * np.pi, limits.low_rad * 0.98), min(on * np.pi, limits.high_rad * 0.98)
    swept = surface_angle(linkage, np.linspace(low, high, 2001))
    assume(np.max(np.abs(np.diff(swept))) < 0.05)  # no wrap, no near-limit rush
    found = reach(linkage, low, high)
    assert found.low_rad <= swept.min() + 1e-9
    assert found.high_rad >= swept.max() - 1e-9
    assert found.low_rad == pytest.approx(swept.min(), abs=1e-4)
    assert found.high_rad == pytest.approx(swept.max(), abs=1e-4)
    slopes = ratio(linkage, np.array([*found.dead_rad, 0.0]))[:-1]
    assert slopes == pytest.approx(np.zeros(len(found.dead_rad)), abs=1e-6)


def test_limits_of_many_linkages_at_once_match_one_by_one():
    rng = np.random.default_rng(3)
    count = 200
    pivots = rng.normal(scale=10.0, size=(count, 3)) - [90.0, 0.0, 0.0]
    tips = pivots + rng.normal(scale=12.0, size=(count, 3))
    axes, horn_axes = rng.normal(size=(2, count, 3))
    horn_tips = rng.normal(scale=12.0, size=(count, 3))
    matrices = closure_matrix(pivots, axes, tips, np.zeros(3), horn_axes, horn_tips)
    low, high = closing_limits(matrices)
    for k in range(count):
        linkage = Linkage(
            Crank(pivots[k], axes[k], tips[k]), Crank(np.zeros(3), horn_axes[k], horn_tips[k])
        )
        one = shaft_limits(linkage)
        assert (one.low_rad, one.high_rad) == pytest.approx((low[k], high[k]), abs=1e-9)
    assert 20 < np.isfinite(high).sum() < 200
