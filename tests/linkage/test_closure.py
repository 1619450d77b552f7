"""Positions and ratios of the linkage: bench-side cases, branches, refusals."""

from __future__ import annotations

import numpy as np
import pytest

from hingeline.errors import LinkageError
from hingeline.linkage.closure import Crank, Linkage, ratio, shaft_angle, surface_angle
from hingeline.linkage.loop import closure_matrix, solve, solve_ratio
from tests.linkage.shapes import HINGE, level_linkage


def surface_deg(linkage: Linkage, shaft_deg: object) -> np.ndarray:
    return np.degrees(surface_angle(linkage, np.radians(shaft_deg)))


class TestServoLinkages:
    # Values computed by a separate four-bar solver; arm 12, horn 15, 120 mm apart, rod level.
    # The horn stands below, so positive is up.
    @pytest.mark.parametrize(
        ("lean_deg", "up", "down", "rod_mm"),
        [
            (0.0, 34.43, 34.46, 120.00),
            (14.4, 37.25, 29.54, 122.98),  # away from the hinge: more up than down
            (-14.4, 29.07, 37.38, 117.02),  # towards the hinge: the wrong way round
            (20.0, 37.57, 27.19, None),
        ],
    )
    def test_lean_away_from_the_hinge_gives_more_up_below_the_surface(
        self, lean_deg: float, up: float, down: float, rod_mm: float | None
    ):
        linkage = level_linkage(12.0, 15.0, 120.0, lean_deg=lean_deg)
        assert surface_deg(linkage, [45.0, -45.0]) == pytest.approx([up, -down], abs=0.006)
        if rod_mm is not None:
            assert linkage.length_mm == pytest.approx(rod_mm, abs=0.006)

    def test_rod_on_top_mirrors_the_rule(self):
        # The same servo on top: positive is now down, so the larger throw is down.
        below = level_linkage(12.0, 15.0, 120.0, lean_deg=14.4)
        flip = np.array([1.0, 1.0, -1.0])
        above = Linkage(
            Crank(below.arm.pivot_mm * flip, HINGE, below.arm.tip_mm * flip),
            Crank(below.horn.pivot_mm * flip, HINGE, below.horn.tip_mm * flip),
        )
        # Positive shaft is now a pull; about the same axis up is positive either way.
        assert surface_deg(above, [45.0, -45.0]) == pytest.approx([29.54, -37.25], abs=0.006)

    def test_over_centre_linkage_gives_nan_not_a_clamped_angle(self):
        # Arm 20 on horn 15, 120 mm apart, rod level: closes up to 47.4 one way, 49.9 the other.
        linkage = level_linkage(20.0, 15.0, 120.0)
        assert surface_deg(linkage, [45.0, -45.0]) == pytest.approx([69.8, -71.5], abs=0.06)
        assert np.isnan(surface_deg(linkage, [50.0, -47.5])).all()
        assert np.isfinite(surface_deg(linkage, [49.8, -47.4])).all()

    def test_equal_arm_and_horn_do_not_flip(self):
        swept = surface_deg(level_linkage(12.0, 12.0, 100.0), np.linspace(-45.0, 45.0, 181))
        assert swept == pytest.approx(np.linspace(-45.0, 45.0, 181), abs=1e-10)

    @pytest.mark.parametrize(
        ("apart_mm", "up", "down", "tolerance"),
        [(100.0, 20.67, 20.74, 0.006), (60.0, 20.64, 20.77, 0.006), (1e7, 20.70, 20.70, 0.006)],
        ids=["rod 100", "rod 60", "long rod"],
    )
    def test_short_arm_on_long_horn(
        self, apart_mm: float, up: float, down: float, tolerance: float
    ):
        linkage = level_linkage(9.0, 18.0, apart_mm)
        found = surface_deg(linkage, [45.0, -45.0])
        assert found == pytest.approx([up, -down], abs=tolerance)

    @pytest.mark.parametrize(
        ("lean_deg", "high", "low"),
        [(0.0, 10.60, 10.60), (14.4, 12.00, 10.02), (3.6, 10.80, 10.42)],
    )
    def test_matched_ends_leave_the_middle_apart(self, lean_deg: float, high: float, low: float):
        # Two sides set to 20 deg each way with arm over horn 0.5: half of each servo throw.
        # The stated figures are for an endlessly long rod; 1e6 mm stands for it. A leaning arm
        # does more the way that brings it to square.
        linkage = level_linkage(9.0, 18.0, 1e6, lean_deg=lean_deg)
        ends = shaft_angle(linkage, np.radians([20.0, -20.0]))
        half = np.degrees(surface_angle(linkage, 0.5 * ends))
        assert np.sort(np.abs(half)) == pytest.approx([low, high], abs=0.006)
        assert half[0] > 0.0 > half[1]

    def test_long_rods_keep_their_digits(self):
        # r (sin(lean + t) - sin(lean)) = R sin d as the rod grows without end.
        lean, t = np.radians(14.4), np.radians(np.linspace(-40.0, 40.0, 17))
        law = np.arcsin(0.5 * (np.sin(t - lean) + np.sin(lean)))
        for rod_mm, error in ((1e4, 2e-3), (1e6, 2e-5), (1e8, 2e-7)):
            linkage = level_linkage(9.0, 18.0, rod_mm, lean_deg=14.4)
            assert np.max(np.abs(surface_angle(linkage, t) - law)) < error


class TestRods:
    def test_fitted_rod_puts_neutral_at_zero(self):
        linkage = level_linkage(12.0, 15.0, 120.0, lean_deg=14.4)
        assert surface_angle(linkage, 0.0) == pytest.approx(0.0, abs=1e-15)

    def test_same_length_given_changes_nothing(self):
        fitted = level_linkage(12.0, 15.0, 120.0, lean_deg=14.4)
        given = level_linkage(12.0, 15.0, 120.0, lean_deg=14.4, rod_mm=fitted.length_mm)
        shaft = np.linspace(-0.8, 0.8, 33)
        assert surface_angle(given, shaft) == pytest.approx(
            surface_angle(fitted, shaft), abs=1e-14
        )

    def test_longer_rod_moves_neutral_along_the_same_branch(self):
        # A level rod 1 mm longer pushes the horn by about 1/15 rad, and the length is kept.
        linkage = level_linkage(12.0, 15.0, 120.0, rod_mm=121.0)
        neutral = surface_angle(linkage, 0.0)
        assert neutral == pytest.approx(1.0 / 15.0, rel=0.02)
        lengths = [level_linkage(12.0, 15.0, 120.0, rod_mm=120.0 + 0.05 * k) for k in range(21)]
        steps = np.diff([surface_angle(each, 0.0) for each in lengths])
        assert np.all((steps > 0.003) & (steps < 0.0037))
        held = linkage.horn.tip_at(neutral) - linkage.arm.tip_mm
        assert np.linalg.norm(held) == pytest.approx(121.0, rel=1e-14)

    def test_rod_that_cannot_reach_gives_nan(self):
        assert np.isnan(surface_angle(level_linkage(12.0, 15.0, 120.0, rod_mm=104.0), 0.0))


class TestExactlyStraight:
    # 10.5 and 8.1 make 18.6 exactly, yet in binary the cosine comes out below -1.
    SIDES = (10.5, 8.1, 18.6)

    def linkage(self, rod_mm: float) -> Linkage:
        """Arm 4 mm whose tip at rest is 18.6 mm from the hinge; horn 8.1 mm across the line."""
        arm = Crank((-18.6, 0, -4), HINGE, (-18.6, 0, 0))
        return Linkage(arm, Crank((0, 0, 0), HINGE, (0, 0, 8.1)), rod_mm)

    def test_the_trap_is_real(self):
        a, b, c = self.SIDES
        assert (a * a + b * b - c * c) / (2.0 * a * b) < -1.0

    def test_straight_is_solved(self):
        # The horn points at the arm's tip: a quarter turn from where it stood.
        found = surface_deg(self.linkage(10.5), 0.0)
        assert found == pytest.approx(-90.0, abs=1e-5)
        horn_tip = self.linkage(10.5).horn.tip_at(np.radians(found))
        assert np.linalg.norm(horn_tip - [-18.6, 0, 0]) == pytest.approx(10.5, abs=1e-9)

    @pytest.mark.parametrize("short_mm", [1e-9, 1e-6, 0.1])
    def test_a_real_miss_is_never_clamped(self, short_mm: float):
        assert np.isnan(surface_angle(self.linkage(10.5 - short_mm), 0.0))

    def test_every_straight_triple_of_one_decimal_lengths_is_solved(self):
        # Two sides from 5.0 to 26.0 mm in tenths, the third exactly their sum.
        tenths = np.arange(50, 261)
        first, second = (side.ravel() for side in np.meshgrid(tenths, tenths))
        fits = first + second <= 260
        rod, horn, gap = first[fits] / 10, second[fits] / 10, (first + second)[fits] / 10
        nought = np.zeros_like(rod)
        tip = np.stack([-gap, nought, nought], axis=-1)
        matrices = closure_matrix(
            *(tip - [0, 0, 4], HINGE, tip),
            *((0, 0, 0), HINGE, np.stack([nought, nought, horn], axis=-1)),
            rod,
        )
        assert len(rod) > 10_000
        assert np.degrees(solve(matrices, 0.0)) == pytest.approx(
            np.full(len(rod), -90.0), abs=1e-5
        )
        # Straight is where the ratio grows beyond all bounds: huge or infinite, not nan.
        assert np.all(np.abs(solve_ratio(matrices, 0.0)) > 1e5)


class TestManyAtOnce:
    def test_stacks_broadcast_like_loops(self):
        rng = np.random.default_rng(5)
        arm_mm, horn_mm, lean_deg = rng.uniform((8, 14, -20), (13, 20, 20), size=(50, 3)).T
        each = [
            level_linkage(a, h, 90.0, lean_deg=e)
            for a, h, e in zip(arm_mm, horn_mm, lean_deg, strict=True)
        ]
        stack = closure_matrix(
            *(
                np.stack([getattr(one.arm, k) for one in each])
                for k in ("pivot_mm", "axis", "tip_mm")
            ),
            *(
                np.stack([getattr(one.horn, k) for one in each])
                for k in ("pivot_mm", "axis", "tip_mm")
            ),
        )
        shaft = np.radians([-40.0, -10.0, 0.0, 25.0, 45.0])
        loop = np.array([[float(surface_angle(one, t)) for t in shaft] for one in each])
        assert solve(stack[:, np.newaxis], shaft) == pytest.approx(loop, abs=1e-13)
        slopes = np.array([[float(ratio(one, t)) for t in shaft] for one in each])
        assert solve_ratio(stack[:, np.newaxis], shaft) == pytest.approx(slopes, rel=1e-13)
        turned = solve(np.swapaxes(stack, -1, -2)[:, np.newaxis], loop)
        assert turned == pytest.approx(np.broadcast_to(shaft, (50, 5)), abs=1e-12)

    def test_long_arrays_are_solved_in_parts_without_a_seam(self):
        linkage = level_linkage(12.0, 15.0, 120.0, lean_deg=10.0)
        shaft = np.linspace(-0.8, 0.8, 20_011)
        whole = surface_angle(linkage, shaft)
        parts = [surface_angle(linkage, shaft[k : k + 997]) for k in range(0, 20_011, 997)]
        assert np.concatenate(parts) == pytest.approx(whole, abs=1e-13)
        assert np.max(np.abs(np.diff(whole, n=2))) < 1e-7
        tall = np.broadcast_to(linkage.matrix, (20_011, 3, 3))
        assert solve(tall, shaft) == pytest.approx(whole, abs=1e-13)

    @pytest.mark.parametrize("shape", [(), (1,), (0,), (3, 4), (2, 1, 3)])
    def test_shapes_are_kept(self, shape: tuple[int, ...]):
        linkage = level_linkage(12.0, 15.0, 120.0)
        assert np.shape(surface_angle(linkage, np.zeros(shape))) == shape
        assert np.shape(ratio(linkage, np.zeros(shape))) == shape
        stack = np.broadcast_to(linkage.matrix, (5, *[1] * len(shape), 3, 3))
        assert np.shape(solve(stack, np.zeros(shape))) == (5, *shape)

    def test_strided_and_integer_angles_are_taken(self):
        linkage = level_linkage(12.0, 15.0, 120.0)
        grid = np.linspace(-0.7, 0.7, 24).reshape(4, 6)
        assert np.array_equal(surface_angle(linkage, grid.T), surface_angle(linkage, grid).T)
        assert surface_angle(linkage, [0]) == pytest.approx([0.0], abs=1e-15)

    def test_nan_stays_nan_and_troubles_no_neighbour(self):
        linkage = level_linkage(12.0, 15.0, 120.0)
        found = surface_angle(linkage, [0.3, np.nan, 0.3])
        assert np.isnan(found[1])
        assert found[0] == found[2] == surface_angle(linkage, 0.3)

    def test_arguments_are_left_alone(self):
        linkage = level_linkage(12.0, 15.0, 120.0)
        shaft = np.linspace(-0.5, 0.5, 7)
        kept = shaft.copy()
        surface_angle(linkage, shaft)
        ratio(linkage, shaft)
        assert np.array_equal(shaft, kept)


class TestRefusals:
    GOOD = ((0.0, 0.0, 0.0), HINGE, (0.0, 0.0, 15.0))

    @pytest.mark.parametrize(
        ("place", "value", "words"),
        [
            (0, (np.nan, 0, 0), "pivot_mm"),
            (2, (0, np.inf, 15), "tip_mm"),
            (2, (0, 15), "tip_mm"),
            (1, (0, 0, 0), "axis"),
            (2, (0, 0, 0), "radius 0 mm must be more than 0"),
            (2, (0, 7, 0), "radius 0 mm must be more than 0"),
            (2, (-0.0, -0.0, -0.0), "must be more than 0"),
        ],
    )
    def test_crank(self, place: int, value: tuple[float, ...], words: str):
        parts: list[tuple[float, ...]] = list(self.GOOD)
        parts[place] = value
        with pytest.raises(LinkageError, match=words):
            Crank(*parts)

    @pytest.mark.parametrize("rod_mm", [0.0, -0.0, -90.0, np.nan, np.inf])
    def test_rod(self, rod_mm: float):
        with pytest.raises(LinkageError, match=r"rod length .* must be a number above 0 mm"):
            level_linkage(12.0, 15.0, 120.0, rod_mm=rod_mm)

    def test_holes_that_coincide_leave_no_rod(self):
        with pytest.raises(LinkageError, match="rod length 0 mm"):
            Linkage(Crank((5, 0, 0), HINGE, (0, 0, 15)), Crank(*self.GOOD))

    def test_rod_in_line_with_the_horn_at_rest(self):
        arm = Crank((-10, 0, 60), HINGE, (0, 0, 60))
        with pytest.raises(LinkageError, match="in line with the horn"):
            Linkage(arm, Crank(*self.GOOD))

    def test_rod_in_line_with_the_arm_at_rest_has_no_way_back(self):
        linkage = Linkage(Crank((-60, 0, 15), HINGE, (-50, 0, 15)), Crank(*self.GOOD))
        assert ratio(linkage, 0.0) == pytest.approx(0.0, abs=1e-15)
        assert np.isfinite(surface_angle(linkage, [-0.3, 0.3])).all()
        with pytest.raises(LinkageError, match="in line with the arm"):
            shaft_angle(linkage, 0.0)
        assert np.isnan(solve(linkage.matrix.T, 0.0))

    def test_points_cannot_be_changed_under_a_linkage(self):
        linkage = level_linkage(12.0, 15.0, 120.0)
        with pytest.raises(ValueError, match="read-only"):
            linkage.arm.tip_mm[0] = 1.0


def test_axis_of_any_length_is_the_same_crank():
    long = Crank((0, 0, 0), (0, 40, 0), (3, 7, 4))
    assert long.axis == pytest.approx([0, 1, 0])
    assert long.centre_mm == pytest.approx([0, 7, 0])
    assert long.radius_mm == pytest.approx(5.0)
    assert long.tip_at(np.pi / 2) == pytest.approx([4, 7, -3])


def test_ratio_is_nan_beyond_a_limit():
    linkage = level_linkage(20.0, 15.0, 120.0)
    assert np.isnan(ratio(linkage, np.radians([-47.5, 49.8, 50.0]))).tolist() == [
        True,
        False,
        True,
    ]
