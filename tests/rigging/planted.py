"""Surfaces built otherwise than planned, and what a person reads off a gauge there.

The builds are put together from cranks, without the code that is to find them out.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np

from hingeline.linkage.closure import Crank, Linkage, surface_angle
from hingeline.linkage.mounting import tooth_deg
from hingeline.model.reading import parse_model
from hingeline.model.throws import signed_deg
from hingeline.model.words import directions
from hingeline.model.writing import example_text
from hingeline.rigging.judging_throws import ThrowPoint
from hingeline.travel.fit import fit
from hingeline.travel.schedule import traverse
from hingeline.travel.setting import setting_of
from tests.support.servo_truth import ServoTruth

MODEL = parse_model(example_text(), source="example")
NAMES = [surface.name for surface in MODEL.surfaces]
#: The order in which throws are taken, neutral from both sides.
SHARES = (0.0, 0.5, 1.0, 0.0, -0.5, -1.0)
#: A person holds a gauge of half-degree marks this well.
HAND_DEG, MARK_DEG = 0.3, 0.5
U_DEG = math.hypot(HAND_DEG, MARK_DEG / math.sqrt(12.0))
SEAT_U_DEG = 0.7
#: Whole play of sound joints at the surface.
SOUND_PLAY_DEG = 0.3


@cache
def servo_truth(sense):
    return ServoTruth(0.09 * sense, bend_deg=0.5, play_deg=0.3, noise_deg=0.1)


@cache
def calibrated(sense, seed=1):
    """Calibrate a servo on a protractor of half degrees."""
    steps = traverse(1000, 2000, limits_us=(900, 2100), start_us=1500)
    return fit(servo_truth(sense).read(steps, np.random.default_rng(seed), MARK_DEG))


def sense_of(servo):
    return -1 if servo.turns == "cw" else 1


def planned(name):
    """Return the setting of a surface with a measured servo."""
    surface = MODEL.surface(name)
    servo = MODEL.servo_of(surface)
    return setting_of(surface, servo, calibrated(sense_of(servo)))


def ahead_is_ccw(linkage):
    """Tell by trial whether turning the arm counter-clockwise takes its hole from the horn's."""
    near, far = (
        float(np.linalg.norm(linkage.horn.tip_mm - linkage.arm.tip_at(turn)))
        for turn in (-1e-3, 1e-3)
    )
    return far > near


def built(setting, *, teeth=0.0, set_back_mm=0.0, rod_mm=0.0, arm_hole=None, horn_hole=None):
    """Build a surface with faults; its rod is fitted with the servo at neutral."""
    linkage, surface = setting.linkage, setting.surface
    turn = math.radians(teeth * tooth_deg(setting.servo))
    arm_tip = linkage.arm.tip_at(turn if ahead_is_ccw(linkage) else -turn)
    if arm_hole is not None:
        way = (arm_tip - linkage.arm.centre_mm) / linkage.arm.radius_mm
        arm_tip = linkage.arm.centre_mm + way * surface.arm.holes_mm[arm_hole - 1]
    horn_tip = np.array(linkage.horn.tip_mm)
    horn_tip[0] += set_back_mm
    if horn_hole is not None:
        horn_tip[2] = surface.horn.holes_mm[horn_hole - 1]
    arm = Crank(linkage.arm.pivot_mm, linkage.arm.axis, arm_tip)
    horn = Crank(linkage.horn.pivot_mm, linkage.horn.axis, horn_tip)
    return Linkage(arm, horn, float(np.linalg.norm(horn_tip - arm_tip)) + rod_mm)


def next_hole(table):
    """Return a neighbour of the chosen hole."""
    return table.hole - 1 if table.hole > 1 else table.hole + 1


def wanted_deg(setting, share):
    if not share:
        return 0.0
    return abs(share) * signed_deg(setting.surface, directions(setting.surface)[share < 0])


def stands_deg(setting, linkage, pulse_us, rising, play_deg=0.0):
    """Return where the surface truly stands at a pulse that was come to from one side."""
    truth = servo_truth(sense_of(setting.servo))
    counter = rising == (truth.rate_deg_per_us > 0)
    shaft = truth.mean_deg(pulse_us) - (1 if counter else -1) * truth.play_deg / 2.0
    driven = math.degrees(float(surface_angle(linkage, math.radians(shaft))))
    pushes = setting.predicted_deg(pulse_us + 9, None) > setting.predicted_deg(pulse_us - 9, None)
    return driven - (1 if pushes == rising else -1) * play_deg / 2.0


def taken(setting, linkage, rng=None, *, play_deg=SOUND_PLAY_DEG, pulses=None):
    """Take the points of the throws; without ``rng`` they are read without error."""
    pulses = pulses or {share: setting.pulse_us(wanted_deg(setting, share)) for share in SHARES}
    points = []
    at = setting.pulse_us(0.25 * wanted_deg(setting, -1.0))
    for share in SHARES:
        pulse = pulses[share]
        approach = "rising" if pulse > at else "falling"
        at = pulse
        seen = stands_deg(setting, linkage, pulse, approach == "rising", play_deg)
        if rng is not None:
            seen = round((seen + rng.normal(0.0, HAND_DEG)) / MARK_DEG) * MARK_DEG
        predicted = setting.predicted_deg(pulse, approach)
        points.append(
            ThrowPoint(share, pulse, approach, wanted_deg(setting, share), predicted, seen)
        )
    return points


def worst_deg(setting, linkage, **taking):
    """Return the worst miss of a build, read without error."""
    return max(abs(point.miss_deg) for point in taken(setting, linkage, **taking))
