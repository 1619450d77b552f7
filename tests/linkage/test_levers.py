"""Effective levers of arm and horn."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hingeline.linkage.angles import rod_angles
from hingeline.linkage.closure import Linkage, ratio
from hingeline.linkage.levers import levers
from hingeline.linkage.limits import dead_points
from hingeline.linkage.loop import branch_at_rest, levers_mm
from tests.linkage.shapes import level_linkage, spatial_linkages


def test_square_cranks_have_their_radius_for_a_lever():
    found = levers(level_linkage(12.0, 15.0, 120.0), 0.0)
    # A positive turn of both takes the holes aft, which is along the rod.
    assert (found.arm_mm, found.horn_mm) == pytest.approx((12.0, 15.0), abs=1e-12)


def test_no_lever_at_a_dead_point():
    linkage = level_linkage(8.0, 20.0, 100.0)
    dead = dead_points(linkage)
    found = levers(linkage, [dead.low_rad, dead.high_rad])
    assert found.arm_mm == pytest.approx([0.0, 0.0], abs=1e-6)
    assert (np.abs(found.horn_mm) > 15.0).all()


def test_nan_where_it_does_not_close():
    found = levers(level_linkage(20.0, 15.0, 120.0), np.radians([45.0, 60.0]))
    assert np.isfinite(found.horn_mm).tolist() == [True, False]
    assert np.isfinite(found.arm_mm).tolist() == [True, False]


@given(spatial_linkages(fitted=False), st.floats(-0.4, 0.4))
def test_levers_are_radius_times_both_sines_and_their_quotient_is_the_ratio(
    linkage: Linkage, shaft: float
):
    found, angles = levers(linkage, shaft), rod_angles(linkage, shaft)
    arm = linkage.arm.radius_mm * np.sin(angles.arm_rad) * np.cos(angles.arm_out_of_plane_rad)
    horn = linkage.horn.radius_mm * np.sin(angles.horn_rad) * np.cos(angles.horn_out_of_plane_rad)
    assert abs(found.arm_mm) == pytest.approx(arm, abs=1e-9, nan_ok=True)
    assert abs(found.horn_mm) == pytest.approx(horn, abs=1e-9, nan_ok=True)
    # The loop's own lever, from the closure matrix, knows no sign; the branch is the sign.
    by_matrix = levers_mm(linkage.matrix, linkage.length_mm, shaft)
    sign = -branch_at_rest(linkage.matrix)
    assert found.horn_mm == pytest.approx(sign * by_matrix, abs=1e-6, nan_ok=True)
    if abs(found.horn_mm) > 0.1:
        assert found.arm_mm / found.horn_mm == pytest.approx(ratio(linkage, shaft), rel=1e-9)
