"""What must hold for every linkage, planar or spatial."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from hingeline.linkage.closure import Crank, Linkage, ratio, shaft_angle, surface_angle
from hingeline.linkage.limits import dead_points, shaft_limits
from tests.linkage.shapes import spatial_linkages

fractions = st.lists(st.floats(-0.95, 0.95), min_size=1, max_size=6)


def working(linkage: Linkage, parts: list[float]) -> np.ndarray:
    """Shaft angles within 60 deg of rest, clear of limits and dead points."""
    limits, dead = shaft_limits(linkage), dead_points(linkage)
    low = max(limits.low_rad, dead.low_rad, -np.pi / 3)
    high = min(limits.high_rad, dead.high_rad, np.pi / 3)
    return np.array([part * (high if part > 0 else -low) for part in parts])


@given(spatial_linkages(), fractions)
def test_the_rod_keeps_its_length(linkage: Linkage, parts: list[float]):
    shaft = working(linkage, parts)
    rod = linkage.horn.tip_at(surface_angle(linkage, shaft)) - linkage.arm.tip_at(shaft)
    assert np.linalg.norm(rod, axis=-1) == pytest.approx(linkage.length_mm, rel=1e-9)


@given(spatial_linkages(), fractions)
def test_there_and_back_is_where_it_was(linkage: Linkage, parts: list[float]):
    shaft = working(linkage, parts)
    there = surface_angle(linkage, shaft)
    steep = np.abs(ratio(linkage, shaft))
    back = shaft_angle(linkage, there)
    # Near a limit the ratio is large, near a dead point small: either way digits are lost.
    assert np.all(np.abs(back - shaft) < 1e-11 * (1.0 / steep**2 + steep**2))


@given(spatial_linkages(), fractions)
def test_ratio_is_the_slope_of_the_angle(linkage: Linkage, parts: list[float]):
    shaft, step = working(linkage, parts) * 0.9, 1e-4
    low, middle, high = (surface_angle(linkage, shaft + k * step) for k in (-1, 0, 1))
    assume(np.isfinite(low + high).all())
    found, bend = ratio(linkage, shaft), np.abs(high - 2.0 * middle + low) / step**2
    assume(np.all(bend < 20.0))
    # A central difference is right to step^2 times the third derivative.
    assert found == pytest.approx((high - low) / (2.0 * step), abs=2e-5)


@given(spatial_linkages(fitted=False), fractions, st.floats(1e-3, 1e3))
def test_scale_changes_no_angle(linkage: Linkage, parts: list[float], scale: float):
    assume(np.isfinite(surface_angle(linkage, 0.0)))
    shaft = working(linkage, parts)

    def grown(crank: Crank) -> Crank:
        return Crank(crank.pivot_mm * scale, crank.axis, crank.tip_mm * scale)

    larger = Linkage(grown(linkage.arm), grown(linkage.horn), linkage.length_mm * scale)
    assert surface_angle(larger, shaft) == pytest.approx(surface_angle(linkage, shaft), abs=1e-9)


@given(spatial_linkages(), fractions)
def test_mirror_image_moves_as_the_mirror_shows(linkage: Linkage, parts: list[float]):
    shaft = working(linkage, parts)
    flip = np.array([1.0, -1.0, 1.0])

    def mirrored(crank: Crank) -> Crank:
        # An axis of rotation in a mirror turns the other way.
        return Crank(crank.pivot_mm * flip, -crank.axis * flip, crank.tip_mm * flip)

    other = Linkage(mirrored(linkage.arm), mirrored(linkage.horn))
    assert surface_angle(other, shaft) == pytest.approx(surface_angle(linkage, shaft), abs=1e-9)
    assert np.array_equal(
        np.isnan(surface_angle(other, [-2.0, 2.0])), np.isnan(surface_angle(linkage, [-2.0, 2.0]))
    )


@given(spatial_linkages(), fractions, st.floats(-500, 500), st.floats(-3, 3))
def test_where_the_aeroplane_stands_does_not_matter(
    linkage: Linkage, parts: list[float], away: float, turn: float
):
    shaft = working(linkage, parts)
    c, s = np.cos(turn), np.sin(turn)
    turned = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])

    def moved(crank: Crank) -> Crank:
        return Crank(
            turned @ crank.pivot_mm + away, turned @ crank.axis, turned @ crank.tip_mm + away
        )

    other = Linkage(moved(linkage.arm), moved(linkage.horn))
    assert surface_angle(other, shaft) == pytest.approx(surface_angle(linkage, shaft), abs=1e-9)


@given(spatial_linkages(), fractions)
def test_turning_an_axis_round_changes_the_sign_only(linkage: Linkage, parts: list[float]):
    shaft, arm, horn = working(linkage, parts), linkage.arm, linkage.horn
    here = surface_angle(linkage, shaft)
    down = Linkage(arm, Crank(horn.pivot_mm, -horn.axis, horn.tip_mm))
    assert surface_angle(down, shaft) == pytest.approx(-here, abs=1e-12)
    back = Linkage(Crank(arm.pivot_mm, -arm.axis, arm.tip_mm), horn)
    assert surface_angle(back, -shaft) == pytest.approx(here, abs=1e-12)


@given(spatial_linkages(fitted=False), st.lists(st.floats(-1.0, 1.0), min_size=1, max_size=8))
def test_an_array_is_its_elements(linkage: Linkage, angles: list[float]):
    # Not to the last bit: numpy may take another road through its functions for one number
    # than for eight, and next to a limit the acos makes 1e-8 of that.
    whole, single = surface_angle(linkage, angles), [surface_angle(linkage, t) for t in angles]
    np.testing.assert_allclose(whole, single, rtol=0, atol=1e-7)
    gentle = np.array(angles)[np.abs(ratio(linkage, angles)) < 100.0]
    slopes = [ratio(linkage, t) for t in gentle]
    assert ratio(linkage, gentle) == pytest.approx(slopes, abs=1e-8)


@given(spatial_linkages())
def test_no_jump_from_rest_to_the_limit(linkage: Linkage):
    limits = shaft_limits(linkage)
    low, high = max(limits.low_rad, -2.0) + 1e-6, min(limits.high_rad, 2.0) - 1e-6
    shaft = np.linspace(low, high, 4001)
    # Angles may wrap only once the arm's tip has gone half-way round the hinge line.
    away = linkage.arm.tip_at(np.append(shaft, 0.0)) - linkage.horn.centre_mm
    out = linkage.horn.tip_mm - linkage.horn.centre_mm
    across = np.cross(linkage.horn.axis, out)
    bearing = np.arctan2(away @ across, away @ out)
    gone = np.abs(np.angle(np.exp(1j * (bearing[:-1] - bearing[-1]))))
    assume(np.max(gone) < 3.0)
    surface, slopes = surface_angle(linkage, shaft), np.abs(ratio(linkage, shaft))
    # A flip to the mirror position or a wrap would be a large step between gentle slopes.
    step = np.abs(np.diff(surface))
    gentle = (slopes[:-1] < 5.0) & (slopes[1:] < 5.0)
    assert np.max(step[gentle], initial=0.0) < 0.05
