"""Causes of unequal throws: sizes against worked figures and against the exact linkage."""

import math

import numpy as np
import pytest

from hingeline.errors import LinkageError
from hingeline.linkage.closure import Crank, Linkage, surface_angle
from hingeline.linkage.diagnosis import causes, lean_of

FAR_MM = 1e6  # a rod so long that its swing does not matter


def far_linkage(arm_mm, horn_mm, *, lean_deg=0.0, set_back_mm=0.0, rod_error_mm=0.0):
    """Build a level linkage with a long rod, worked out from its picture."""
    lean = math.radians(lean_deg)
    tip = [-FAR_MM - arm_mm * math.sin(lean), 0.0, arm_mm * math.cos(lean)]
    arm = Crank([-FAR_MM, 0, 0], [0, 1, 0], tip)
    horn = Crank([0, 0, 0], [0, 1, 0], [set_back_mm, 0, horn_mm])
    fits = Linkage(arm, horn).length_mm
    return Linkage(arm, horn, fits + rod_error_mm)


def throws(linkage, turn_deg):
    pushed, pulled = np.degrees(surface_angle(linkage, np.radians([turn_deg, -turn_deg])))
    return float(pushed), float(-pulled)


@pytest.mark.parametrize(("turn", "lean"), [(45.0, 36.3), (30.0, 48.6)])
def test_nineteen_and_ten_degrees_need_more_than_a_tooth_of_lean(turn, lean):
    # Worked by hand: (sin 19 - sin 10) / (sin 19 + sin 10) = 0.304.
    found = causes(19.0, 10.0, turn, horn_mm=15.0, teeth=25)
    assert found.lean_deg == pytest.approx(lean, abs=0.05)
    assert 2.0 < found.teeth < 4.0  # "fitted with the servo not centred" rather than trim
    assert found.set_back_mm is None  # 33 mm behind the hinge line is no fitting error
    # 4.5 deg of neutral at a horn of 15 mm
    assert found.rod_mm == pytest.approx(1.177, abs=1e-3)


@pytest.mark.parametrize("lean", [-20.0, -5.0, 0.0, 14.4, 28.8])
def test_a_lean_is_found_from_the_throws_it_makes(lean):
    pushed, pulled = throws(far_linkage(7.0, 18.0, lean_deg=lean), 40.0)
    found = causes(pushed, pulled, 40.0, horn_mm=18.0, teeth=25)
    assert found.lean_deg == pytest.approx(lean, abs=1e-3)
    assert found.teeth == pytest.approx(lean / 14.4, abs=1e-4)


@pytest.mark.parametrize("set_back", [-6.0, -1.0, 0.0, 2.0, 8.0])
def test_a_set_back_is_found_from_the_throws_it_makes(set_back):
    pushed, pulled = throws(far_linkage(7.0, 18.0, set_back_mm=set_back), 40.0)
    found = causes(pushed, pulled, 40.0, horn_mm=18.0, teeth=25)
    assert found.set_back_mm == pytest.approx(set_back, abs=1e-3)


@pytest.mark.parametrize("error", [-1.0, 0.3, 1.0])
def test_a_rod_length_error_is_found_from_the_throws_it_makes(error):
    pushed, pulled = throws(far_linkage(7.0, 18.0, rod_error_mm=error), 40.0)
    found = causes(pushed, pulled, 40.0, horn_mm=18.0, teeth=25)
    # The closed form takes the stroke as shared evenly; good to a few per cent.
    assert found.rod_mm == pytest.approx(error, rel=0.08)


def test_equal_throws_have_no_cause():
    found = causes(15.0, 15.0, 40.0, horn_mm=18.0, teeth=25)
    assert (found.lean_deg, found.set_back_mm, found.rod_mm) == (0.0, 0.0, 0.0)


@pytest.mark.parametrize("bad", [0.0, -1.0, 90.0, math.nan])
def test_what_is_no_throw_is_refused(bad):
    for arguments in ((bad, 10.0, 40.0), (10.0, bad, 40.0), (10.0, 10.0, bad)):
        with pytest.raises(LinkageError, match="between 0 and 90"):
            lean_of(*arguments)
