"""Variation from build to build: the builds, solving them fast, bands and sensitivities."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hingeline.errors import LinkageError
from hingeline.linkage.builds import FACTORS, Errors, built
from hingeline.linkage.closure import Crank, Linkage, shaft_angle, surface_angle
from hingeline.linkage.loop import solve
from hingeline.linkage.mounting import mounted
from hingeline.linkage.rod import neutral_deg_per_mm
from hingeline.linkage.stacks import solve_stack
from hingeline.linkage.tolerance import NEGLIGIBLE_DEG, Allowed, tolerance
from tests.linkage.shapes import HINGE, level_linkage
from tests.support import models

SOME = 20_000
NONE = dict.fromkeys(FACTORS, 0.0)


def only(**errors: float) -> Errors:
    return Errors(**{**NONE, **errors})


def aileron(**changes: object) -> Linkage:
    surface, servo = models.one(**changes)
    return mounted(surface, servo)


def spatial() -> Linkage:
    """An upright servo whose arm sweeps level: nothing lies in one plane."""
    return aileron(
        horn={"side": "bottom"},
        mount={
            "ahead": "110 mm",
            "off": "-8 mm",
            "along": "-6 mm",
            "spindle": "off",
            "arm_points": "along+",
        },
    )


def by_hand(
    arm: float,
    horn: float,
    set_back: float,
    lean_deg: float,
    hinge: float,
    rod: float,
    *,
    fitted: bool,
) -> Linkage:
    """A level linkage, arm 12 on horn 15, 100 apart, drawn anew with the errors in it."""
    lean = math.radians(lean_deg)
    spindle = np.array([-100.0, 0.0, 3.0])
    tip = spindle + (12.0 + arm) * np.array([-math.sin(lean), 0.0, math.cos(lean)])
    pivot = np.array([0.0, 0.0, hinge])
    hole = np.array([set_back, 0.0, hinge + 15.0 + horn])
    length = (float(np.linalg.norm(hole - tip)) if fitted else 100.0) + rod
    return Linkage(Crank(spindle, HINGE, tip), Crank(pivot, HINGE, hole), length)


class TestBuilds:
    @given(
        st.tuples(*[st.floats(-1.0, 1.0) for _ in FACTORS]), st.booleans(), st.floats(-0.6, 0.6)
    )
    def test_each_is_the_linkage_drawn_with_its_errors(
        self, errors: tuple[float, ...], fitted: bool, shaft: float
    ):
        matrices = built(level_linkage(12.0, 15.0, 100.0), np.array([errors]).T, fitted=fitted)
        wanted = surface_angle(by_hand(*errors, fitted=fitted), shaft)
        assert solve(matrices, shaft)[0] == pytest.approx(wanted, abs=1e-12)

    def test_a_rod_of_given_length_keeps_it(self):
        drawn = level_linkage(12.0, 15.0, 100.0, rod_mm=101.5)
        alone = built(drawn, np.zeros((6, 1)), fitted=False)[0]
        fitted = built(drawn, np.zeros((6, 1)), fitted=True)[0]
        assert alone == pytest.approx(drawn.matrix, abs=1e-9)
        assert fitted == pytest.approx(drawn.matrix, abs=1e-9)

    def test_a_lean_ahead_takes_the_tip_away_from_the_horn(self):
        linkage = spatial()
        errors = np.zeros((6, 1))
        errors[FACTORS.index("lean_deg")] = 2.0
        longer = surface_angle(linkage, 0.0) - solve(built(linkage, errors, fitted=False), 0.0)
        # The rod is drawn to length, so the arm's tip moved ahead pulls the surface.
        assert longer[0] > 0.0

    @pytest.mark.parametrize("size", [-0.1, math.nan, math.inf])
    def test_sizes_of_errors_must_make_sense(self, size: float):
        with pytest.raises(LinkageError, match="for lean_deg is not 0 or more"):
            Errors(lean_deg=size)


class TestStacks:
    @given(st.integers(0, 2**32 - 1), st.floats(-1.2, 1.2))
    @settings(max_examples=30)
    def test_the_same_as_the_loop_solves(self, seed: int, shaft: float):
        errors = np.random.default_rng(seed).normal(scale=1.5, size=(6, 200))
        for linkage in (spatial(), level_linkage(20.0, 15.0, 100.0)):
            matrices = built(linkage, errors, fitted=False)
            angles = np.array([shaft, 0.0, 0.3])
            wanted = np.array([solve(matrices, angle) for angle in angles])
            found = solve_stack(matrices, angles)
            assert np.array_equal(np.isnan(found), np.isnan(wanted))
            assert found == pytest.approx(wanted, abs=1e-12, nan_ok=True)

    def test_far_from_rest_no_turn_is_lost(self):
        # A drag link: its pivots stand so near each other that both cranks turn right round,
        # and the two parts of the closed form add up to more than half a turn.
        drawn = Linkage(
            Crank((-5, 0, 0), HINGE, (-5, 0, 20)), Crank((0, 0, 0), HINGE, (15, 0, 16))
        )
        angles = np.radians(np.arange(-140.0, 141.0, 10.0))
        wanted = surface_angle(drawn, angles)
        assert np.max(np.abs(wanted)) > 2.0
        found = solve_stack(built(drawn, np.zeros((6, 1)), fitted=True), angles)[:, 0]
        assert found == pytest.approx(wanted, abs=1e-12)

    def test_some_of_these_do_not_close(self):
        errors = np.random.default_rng(1).normal(scale=1.5, size=(6, 200))
        found = solve_stack(
            built(level_linkage(20.0, 15.0, 100.0), errors, fitted=False), np.array([0.8])
        )
        assert 0 < np.isnan(found).sum() < 200


class TestBands:
    def test_errors_add_up_as_their_squares(self):
        # First order: the spread is the root of the sum of squares of the sensitivities.
        linkage = aileron(arm={"teeth_lean": 1})
        ends = shaft_angle(linkage, np.radians([15.0, -11.0]))
        found = tolerance(linkage, *ends, samples=SOME)
        for name in ("neutral", "first", "second", "differential"):
            alone = [getattr(row, f"{name}_deg") for row in found.sensitivities]
            band = getattr(found, name)
            assert band.sd_deg == pytest.approx(math.hypot(*alone), rel=0.03)
            assert band.mean_deg == pytest.approx(band.drawn_deg, abs=0.03)
            # A normal distribution holds 95 % within 1.960 standard deviations.
            assert band.low_deg == pytest.approx(band.mean_deg - 1.96 * band.sd_deg, rel=0.05)
            assert band.high_deg == pytest.approx(band.mean_deg + 1.96 * band.sd_deg, rel=0.05)
        assert [found.first.drawn_deg, found.second.drawn_deg] == pytest.approx([15.0, 11.0])
        assert found.differential.drawn_deg == pytest.approx(4.0)
        assert found.locked == 0.0

    def test_only_the_rod_moves_the_neutral_of_a_fitted_one(self):
        linkage = spatial()
        per_mm = abs(neutral_deg_per_mm(linkage))
        found = tolerance(linkage, 0.5, -0.5, samples=SOME)
        assert found.fitted
        # Standard error of a standard deviation: 1 / sqrt(2 n), here 0.5 %; four of them.
        assert found.neutral.sd_deg == pytest.approx(0.2 * per_mm, rel=0.02)
        made = tolerance(linkage, 0.5, -0.5, samples=SOME, fitted=False)
        assert not made.fitted
        assert made.neutral.sd_deg > 1.5 * found.neutral.sd_deg

    def test_a_rod_with_a_length_in_the_file_is_not_fitted(self):
        linkage = aileron(rod={"length": "72.25 mm"})
        assert not tolerance(linkage, 0.5, -0.5, samples=1000).fitted

    def test_share_within_by_the_normal_distribution(self):
        linkage = level_linkage(12.0, 15.0, 100.0)
        found = tolerance(
            linkage,
            0.5,
            -0.5,
            errors=only(rod_mm=0.3),
            allowed=Allowed(neutral_deg=1.0, throw_deg=90.0),
            samples=SOME,
        )
        share = math.erf(1.0 / (0.3 * neutral_deg_per_mm(linkage)) / math.sqrt(2.0))
        assert 0.3 < share < 0.9
        assert found.within_u == pytest.approx(math.sqrt(share * (1 - share) / SOME), rel=0.05)
        assert found.within == pytest.approx(share, abs=4.0 * found.within_u)

    def test_no_errors_no_spread(self):
        found = tolerance(aileron(), 0.5, -0.5, errors=only(), samples=1000)
        assert found.within == 1.0
        bands = (found.neutral, found.first, found.second, found.differential)
        assert [band.sd_deg for band in bands] == pytest.approx([0.0] * 4, abs=1e-12)
        assert not any(row.matters for row in found.sensitivities)

    def test_builds_that_lock_are_counted_and_never_good(self):
        # The drawn one closes just so at its throw.
        linkage = level_linkage(20.0, 15.0, 120.0)
        ends = np.radians([-46.5, 46.5])
        wide = Allowed(neutral_deg=90.0, throw_deg=90.0)
        found = tolerance(linkage, *ends, allowed=wide, samples=SOME)
        assert 0.02 < found.locked < 0.5
        assert found.within == pytest.approx(1.0 - found.locked)
        assert np.isfinite([found.first.sd_deg, found.first.low_deg]).all()
        # What locks by itself stands first, and matters.
        locking = tolerance(linkage, *ends, errors=only(arm_hole_mm=2.0), samples=1000)
        worst = locking.sensitivities[0]
        assert worst.factor == "arm_hole_mm"
        assert math.isnan(worst.worst_deg)
        assert worst.matters

    def test_half_way_counts_too(self):
        # An arm turned 150 deg each way, past its dead points, puts the surface where 30 deg
        # would; half-way a hole out of place counts nearly twice as much.
        linkage = level_linkage(8.0, 20.0, 100.0)
        ends = np.radians([150.0, -150.0])
        found = tolerance(
            linkage,
            *ends,
            errors=only(arm_hole_mm=0.3),
            allowed=Allowed(neutral_deg=90.0, throw_deg=1.0),
            samples=SOME,
        )
        tip = linkage.arm.tip_mm + np.array([0.0, 0.0, 0.01])
        longer = Linkage(Crank(linkage.arm.pivot_mm, HINGE, tip), linkage.horn)
        per_mm = []
        for at in (ends, ends / 2.0):
            moved = surface_angle(longer, at) - surface_angle(linkage, at)
            per_mm.append(np.degrees(np.max(np.abs(moved))) / 0.01)
        assert per_mm[1] > 1.5 * per_mm[0]
        share = [math.erf(1.0 / (0.3 * slope) / math.sqrt(2.0)) for slope in per_mm]
        assert share[0] > 0.9
        assert found.within == pytest.approx(share[1], abs=0.02)

    def test_the_same_seed_gives_the_same_and_another_nearly(self):
        linkage = spatial()
        one, again, other = (
            tolerance(linkage, 0.5, -0.5, samples=SOME, seed=seed) for seed in (4, 4, 5)
        )
        assert one == again
        assert one != other
        assert one.within == pytest.approx(other.within, abs=6.0 * one.within_u)
        assert (one.samples, one.seed) == (SOME, 4)

    def test_progress_is_told(self):
        told: list[tuple[int, int]] = []
        tolerance(aileron(), 0.5, -0.5, samples=12_345, progress=lambda *done: told.append(done))
        assert told[-1] == (12_345, 12_345)
        assert len(told) > 1
        assert [done for done, _ in told] == sorted({done for done, _ in told})

    def test_left_and_right_are_alike(self):
        model = models.aileron_pair()
        left, right = (mounted(s, model.servo_of(s)) for s in model.surfaces)
        one = tolerance(left, *shaft_angle(left, np.radians([15.0, -11.0])), samples=SOME)
        other = tolerance(right, *shaft_angle(right, np.radians([15.0, -11.0])), samples=SOME)
        for name in ("neutral", "first", "second", "differential"):
            a, b = getattr(one, name), getattr(other, name)
            assert (a.sd_deg, a.low_deg) == pytest.approx((b.sd_deg, b.low_deg), rel=1e-6)
        assert one.within == other.within
        for a, b in zip(one.sensitivities, other.sensitivities, strict=True):
            assert a.factor == b.factor
            assert a.first_deg == pytest.approx(b.first_deg, abs=1e-9)

    def test_twice_the_size_with_twice_the_errors_is_the_same(self):
        def level(scale: float) -> Linkage:
            return level_linkage(12.0 * scale, 15.0 * scale, 100.0 * scale)

        plain = Errors()
        twice = Errors(*(2.0 * e if f != "lean_deg" else e for f, e in _sizes(plain)))
        one = tolerance(level(1.0), 0.5, -0.5, samples=1000)
        other = tolerance(level(2.0), 0.5, -0.5, samples=1000, errors=twice)
        for name in ("neutral", "first", "second"):
            assert getattr(one, name).sd_deg == pytest.approx(getattr(other, name).sd_deg)


def _sizes(errors: Errors) -> list[tuple[str, float]]:
    return list(zip(FACTORS, errors.sizes(), strict=True))


class TestSensitivities:
    def test_the_worst_first_and_what_does_not_matter_is_told(self):
        found = tolerance(level_linkage(12.0, 15.0, 400.0), 0.5, -0.5, samples=1000)
        worst = [row.worst_deg for row in found.sensitivities]
        assert worst == sorted(worst, reverse=True)
        rows = {row.factor: row for row in found.sensitivities}
        assert set(rows) == set(FACTORS)
        # 0.2 mm on a horn of 15 mm by hand; the hinge line 0.5 mm off, seen from 400 mm.
        assert rows["rod_mm"].neutral_deg == pytest.approx(math.degrees(0.2 / 15.0), rel=1e-3)
        assert rows["rod_mm"].matters
        assert rows["hinge_mm"].worst_deg < NEGLIGIBLE_DEG
        assert not rows["hinge_mm"].matters
        # On a long rod the holes move alike: horn sin(throw) = arm sin(turn).
        stroke, throw = math.sin(0.5), math.asin(12.0 * math.sin(0.5) / 15.0)
        arm = math.degrees(math.asin(12.1 * stroke / 15.0) - throw)
        horn = math.degrees(math.asin(12.0 * stroke / 15.2) - throw)
        assert rows["arm_hole_mm"].first_deg == pytest.approx(arm, rel=0.02)
        assert rows["horn_hole_mm"].first_deg == pytest.approx(horn, rel=0.02)

    @pytest.mark.parametrize("factor", FACTORS)
    def test_one_error_alone_is_the_drawn_linkage_with_it(self, factor: str):
        size = 0.7
        shaft = np.array([0.0, 0.5, -0.4])
        found = tolerance(
            level_linkage(12.0, 15.0, 100.0),
            shaft[1],
            shaft[2],
            errors=only(**{factor: size}),
            samples=1000,
        )
        row = found.sensitivities[0]
        assert (row.factor, row.size) == (factor, size)
        wrong = by_hand(*(size if f == factor else 0.0 for f in FACTORS), fitted=True)
        drawn = level_linkage(12.0, 15.0, 100.0)
        change = np.degrees(surface_angle(wrong, shaft) - surface_angle(drawn, shaft))
        assert row.neutral_deg == pytest.approx(change[0], abs=1e-9)
        assert row.first_deg == pytest.approx(change[1], abs=1e-9)
        assert row.second_deg == pytest.approx(-change[2], abs=1e-9)  # a pulled throw
        assert row.differential_deg == pytest.approx(change[1] + change[2], abs=1e-9)


class TestRefusals:
    @pytest.mark.parametrize("ends", [(0.5, 0.4), (0.0, 0.4), (-0.1, -0.2), (math.nan, 0.5)])
    def test_both_throws_on_one_side(self, ends: tuple[float, float]):
        with pytest.raises(LinkageError, match="one each side of neutral"):
            tolerance(aileron(), *ends)

    def test_too_few_builds(self):
        with pytest.raises(LinkageError, match=r"999 builds are too few.*least is 1000"):
            tolerance(aileron(), 0.5, -0.5, samples=999)

    def test_a_range_that_does_not_close(self):
        with pytest.raises(LinkageError, match="cannot close"):
            tolerance(level_linkage(20.0, 15.0, 120.0), 0.9, -0.5)

    def test_errors_so_large_that_nothing_closes(self):
        with pytest.raises(LinkageError, match="no build with these errors closes"):
            tolerance(
                level_linkage(12.0, 15.0, 100.0), 0.5, -0.5, errors=only(rod_mm=1e9), samples=1000
            )
