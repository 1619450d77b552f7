"""Free play of joints and gears at the trailing edge."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from hingeline.linkage.closure import Linkage, surface_angle
from hingeline.linkage.limits import shaft_limits
from hingeline.linkage.mounting import mounted
from hingeline.linkage.slop import cable_slack_mm, slop, surface_slop
from tests.linkage.shapes import level_linkage, spatial_linkages
from tests.support import models


def test_square_cranks_by_hand():
    found = slop(
        level_linkage(12.0, 15.0, 120.0), 0.0, play_mm=0.3, gear_play_rad=0.01, chord_mm=50.0
    )
    assert found.joints_rad == pytest.approx(0.3 / 15.0)
    assert found.gears_rad == pytest.approx(0.01 * 12.0 / 15.0)
    assert found.total_rad == pytest.approx(0.028)
    assert found.drop_mm == pytest.approx(50.0 * 0.028, rel=1e-4)


@given(spatial_linkages(), st.floats(-0.5, 0.5), st.floats(0.0, 0.02), st.floats(0.0, 0.002))
def test_against_the_linkage_moved_to_both_ends_of_its_play(
    linkage: Linkage, shaft: float, play: float, gears: float
):
    limits = shaft_limits(linkage)
    assume(0.8 * limits.low_rad < shaft < 0.8 * limits.high_rad)
    # The rod longer and shorter, the shaft turned on and back, all solved in full.
    rods = [
        Linkage(linkage.arm, linkage.horn, linkage.length_mm + way * play / 2.0)
        for way in (1.0, -1.0)
    ]
    ends = [surface_angle(rod, shaft + way * gears / 2.0) for rod in rods for way in (1.0, -1.0)]
    whole = max(ends) - min(ends)
    assume(np.isfinite(whole) and whole < 0.05)
    found = slop(linkage, shaft, play_mm=play, gear_play_rad=gears, chord_mm=60.0)
    assert found.total_rad == pytest.approx(whole, rel=0.01, abs=1e-9)
    assert found.total_rad == found.joints_rad + found.gears_rad
    deflection = surface_angle(linkage, shaft)
    both = deflection + np.array([0.5, -0.5]) * found.total_rad
    edge = 60.0 * np.sin(both)
    assert abs(found.drop_mm) == pytest.approx(abs(edge[0] - edge[1]), abs=1e-9)


def test_any_shape_of_shaft_angles_and_nan_past_the_limit():
    shaft = np.radians([[-40.0, 0.0], [40.0, 60.0]])
    linkage = level_linkage(20.0, 15.0, 120.0)
    found = slop(linkage, shaft, play_mm=0.2, gear_play_rad=0.0, chord_mm=50.0)
    assert found.total_rad.shape == (2, 2)
    assert np.isnan(found.total_rad).tolist() == [[False, False], [False, True]]
    one = slop(linkage, shaft[0, 0], play_mm=0.2, gear_play_rad=0.0, chord_mm=50.0)
    assert found.total_rad[0, 0] == one.total_rad


class TestSurface:
    def slop_of(self, changes: dict[str, object], **servo: object):
        model = models.model(models.surface(**changes), servos={"A1": models.servo(**servo)})
        surface = model.surfaces[0]
        known = model.servo_of(surface)
        return surface_slop(surface, known, mounted(surface, known), -0.7, 0.7)

    def test_of_both(self):
        found = self.slop_of({}, gear_play="0.5 deg")
        assert found.missing == ()
        for at in (found.neutral, found.worst):
            assert at.total_deg == pytest.approx(at.joints_deg + at.gears_deg)
        assert found.neutral.shaft_deg == found.neutral.surface_deg == 0.0
        # The horn's hole is 70 mm aft and 19 mm off the spindle, and the arm of 6.4 is square to
        # the rod, which rises by this angle and passes the hinge line at 19 mm times its cosine.
        rise = math.atan2(19.0, 70.0) - math.asin(6.4 / math.hypot(70.0, 19.0))
        lever = 19.0 * math.cos(rise)
        assert found.neutral.joints_deg == pytest.approx(math.degrees(0.1 / lever), rel=1e-9)
        assert found.neutral.gears_deg == pytest.approx(0.5 * 6.4 / lever, rel=1e-9)
        assert found.neutral.drop_mm == pytest.approx(
            45.0 * math.radians(found.neutral.total_deg), rel=1e-4
        )
        assert found.worst.total_deg >= found.neutral.total_deg

    def test_gears_that_are_not_known_are_said_and_left_out(self):
        found = self.slop_of({})
        assert found.neutral.gears_deg is found.worst.gears_deg is None
        assert found.neutral.total_deg == found.neutral.joints_deg > 0.0
        assert found.missing == (
            "The play of the gears is not counted: gear_play of servo A1 is not given.",
        )

    def test_no_play_is_said(self):
        found = self.slop_of({"rod": {"play": "0 mm"}}, gear_play="0 deg")
        assert found.worst.total_deg == found.worst.drop_mm == 0.0
        assert found.worst.gears_deg == 0.0
        assert "rod.play is 0" in found.missing[0]


def test_cables_on_unequal_levers():
    # 1 in on one side and 3/4 in on the other: at 30 deg one moves 12.70 mm, the other 9.53 mm.
    assert cable_slack_mm(25.4, 19.05, math.radians(30.0)) == pytest.approx(12.70 - 9.525)
    assert cable_slack_mm(19.05, 25.4, math.radians(-30.0)) == pytest.approx(3.175)
    assert cable_slack_mm(20.0, 20.0, np.linspace(-1, 1, 5)).tolist() == [0.0] * 5
