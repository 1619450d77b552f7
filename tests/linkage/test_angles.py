"""Angles of the rod to arm and horn."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given

from hingeline.linkage.angles import rod_angles
from hingeline.linkage.closure import Crank, Linkage, ratio
from tests.linkage.shapes import HINGE, level_linkage, spatial_linkages


def test_square_linkage_is_square_at_both_ends():
    angles = rod_angles(level_linkage(12.0, 15.0, 120.0), 0.0)
    assert np.degrees([angles.arm_rad, angles.horn_rad]) == pytest.approx([90.0, 90.0])
    assert angles.arm_out_of_plane_rad == pytest.approx(0.0, abs=1e-15)
    assert angles.horn_out_of_plane_rad == pytest.approx(0.0, abs=1e-15)


@pytest.mark.parametrize("lean_deg", [-20.0, -5.0, 5.0, 20.0])
def test_lean_shows_at_the_arm_only(lean_deg: float):
    # From a tip that leans ahead the spindle lies aft and down, nearer to the rod, which runs
    # aft: the angle is smaller by the lean.
    angles = rod_angles(level_linkage(12.0, 15.0, 120.0, lean_deg=lean_deg), 0.0)
    assert np.degrees(angles.arm_rad) == pytest.approx(90.0 - lean_deg)
    assert np.degrees(angles.horn_rad) == pytest.approx(90.0)


def test_straight_triangle_is_180_degrees():
    # Rod 10.5, horn 8.1, arm's hole 18.6 from the hinge: exactly straight, however it rounds.
    arm = Crank((-18.6, 0, -4), HINGE, (-18.6, 0, 0))
    linkage = Linkage(arm, Crank((0, 0, 0), HINGE, (0, 0, 8.1)), 10.5)
    assert np.degrees(rod_angles(linkage, 0.0).horn_rad) == pytest.approx(180.0, abs=1e-5)


def test_out_of_plane_is_positive_towards_the_axis_end():
    # Horn's hole 30 mm further along the hinge than the arm's, rod 50 mm: 3-4-5.
    arm = Crank((-40, 0, 5), HINGE, (-40, 0, 15))
    linkage = Linkage(arm, Crank((0, 30, 0), HINGE, (0, 30, 15)))
    angles = rod_angles(linkage, 0.0)
    out = np.degrees(np.arcsin(0.6))
    assert np.degrees(angles.arm_out_of_plane_rad) == pytest.approx(out)
    assert np.degrees(angles.horn_out_of_plane_rad) == pytest.approx(-out)
    assert np.degrees([angles.arm_rad, angles.horn_rad]) == pytest.approx([90.0, 90.0])


def test_nan_where_the_linkage_does_not_close():
    angles = rod_angles(level_linkage(20.0, 15.0, 120.0), np.radians([0.0, 60.0]))
    assert np.isfinite(angles.horn_rad).tolist() == [True, False]
    assert np.isfinite(angles.arm_rad).tolist() == [True, False]


@given(spatial_linkages())
def test_ratio_is_arm_over_horn_times_the_sines(linkage: Linkage):
    # Virtual work: force along the rod times its lever at either end.
    shaft = np.linspace(-0.2, 0.2, 5)
    angles = rod_angles(linkage, shaft)
    lever_arm = np.sin(angles.arm_rad) * np.cos(angles.arm_out_of_plane_rad)
    lever_horn = np.sin(angles.horn_rad) * np.cos(angles.horn_out_of_plane_rad)
    size = linkage.arm.radius_mm * lever_arm / (linkage.horn.radius_mm * lever_horn)
    closes = lever_horn > 1e-3
    assert np.abs(ratio(linkage, shaft))[closes] == pytest.approx(
        size[closes], rel=1e-8, abs=1e-10
    )
