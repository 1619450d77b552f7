"""Throws that differ more than planned are told with what would explain them."""

import math

import numpy as np
import pytest

from hingeline.linkage.closure import surface_angle
from hingeline.linkage.mounting import mounted
from hingeline.model.reading import parse_model
from hingeline.model.writing import example_text
from hingeline.travel.setting import setting_of
from hingeline.travel.unevenness import Seen, built_otherwise, unevenness

MODEL = parse_model(example_text(), source="example")


def seen(setting, off_lean_deg):
    """Send the throws wanted to an arm that leans more than planned; no other fault."""
    built = mounted(setting.surface, setting.servo, off_lean_deg=off_lean_deg)
    found = []
    for wanted in (11.0, -11.0):
        pulse = setting.pulse_us(wanted)
        approach = setting.approach_of(pulse)
        shaft = float(setting.curve.angle_deg(pulse, approach))
        stands = math.degrees(float(surface_angle(built, math.radians(shaft))))
        found.append(Seen(pulse, setting.predicted_deg(pulse, approach), stands))
    return found


@pytest.mark.parametrize("name", [surface.name for surface in MODEL.surfaces])
@pytest.mark.parametrize("lean", [14.4, -14.4])
def test_an_arm_a_tooth_off_is_among_the_causes_with_its_size(name, lean):
    surface = MODEL.surface(name)
    setting = setting_of(surface, MODEL.servo_of(surface), None)
    found = unevenness(setting, seen(setting, lean))
    if found is None:  # on a small turn a tooth makes little difference: too little to tell
        uneven = sum(item.measured_deg for item in seen(setting, lean))
        assert abs(uneven) < 2.5
        return
    assert np.sign(found.more_pushed_deg) == np.sign(lean)
    assert found.causes.teeth == pytest.approx(lean / 14.4, abs=0.4)
    assert found.causes.rod_mm * lean > 0


def test_what_went_as_planned_has_no_cause():
    for surface in MODEL.surfaces:
        setting = setting_of(surface, MODEL.servo_of(surface), None)
        assert unevenness(setting, seen(setting, 0.0)) is None


def test_one_throw_alone_or_a_wrong_way_is_not_judged():
    surface = MODEL.surface("rudder")
    setting = setting_of(surface, MODEL.servo_of(surface), None)
    good = seen(setting, 14.4)
    assert unevenness(setting, good[:1]) is None
    assert unevenness(setting, [good[0], Seen(1500, -11.0, 11.0)]) is None


def test_four_throws_tell_which_it_is():
    surface = MODEL.surface("rudder")
    setting = setting_of(surface, MODEL.servo_of(surface), None)
    built = mounted(surface, setting.servo, off_lean_deg=28.8)
    found = []
    for wanted in (20.0, 10.0, -10.0, -20.0):
        pulse = setting.pulse_us(wanted)
        shaft = float(setting.curve.angle_deg(pulse, setting.approach_of(pulse)))
        stands = math.degrees(float(surface_angle(built, math.radians(shaft))))
        found.append(Seen(pulse, setting.predicted_deg(pulse, None), stands))
    whole = built_otherwise(setting, found, 0.3)
    assert whole.causes[0].name == "lean"
    assert "2 teeth" in whole.causes[0].text
    assert built_otherwise(setting, found[:3], 0.3) is None
    planned = [Seen(item.pulse_us, item.predicted_deg, item.predicted_deg) for item in found]
    assert built_otherwise(setting, planned, 0.3) is None
