"""Which leans of an arm can be built: teeth of the spline and arms of the part.

A part with several evenly spaced arms offers leans between the teeth whenever turning it
to its next arm is not a whole number of teeth: there are arms / gcd(arms, teeth) positions
for every tooth. (Exact arithmetic.)
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from hingeline.model.schema import Servo


@dataclass(frozen=True)
class Position:
    """How a lean is built.

    Attributes
    ----------
    arm : int
        Arm of the part to use, counted the way a positive lean turns; 1 is the arm that
        stands square on tooth 0.
    teeth : int
        Teeth by which the part is turned, positive likewise.
    """

    arm: int
    teeth: int


@dataclass(frozen=True)
class Fit:
    """How near to a wanted place an arm of the part can be brought.

    Attributes
    ----------
    arm : int
        Arm to use, counted counter-clockwise from the one that was looked at, which is 1.
    teeth : int
        Teeth by which the part is turned, positive counter-clockwise.
    off_deg : float
        What remains, counter-clockwise positive.
    """

    arm: int
    teeth: int
    off_deg: float


def finest_deg(servo: Servo) -> float:
    """Return the finest step of lean that spline and part allow, in degrees."""
    return 360.0 / math.lcm(servo.spline_teeth, servo.arm_count)


def steps_per_tooth(servo: Servo) -> int:
    """Return how many leans can be built for each tooth."""
    return math.lcm(servo.spline_teeth, servo.arm_count) // servo.spline_teeth


def position(servo: Servo, step: int) -> Position:
    """Return the arm and the teeth that give a lean of ``step`` finest steps.

    Of the several ways to build it, the one with the fewest teeth.
    """
    teeth, arms = servo.spline_teeth, servo.arm_count
    wanted = step * math.gcd(teeth, arms)  # in units of 360 / (teeth x arms) degrees
    found = []
    for arm in range(arms):
        left, rest = divmod(wanted - arm * teeth, arms)
        if rest == 0:
            whole_turn = left - teeth * round(left / teeth)
            found.append(Position(arm + 1, whole_turn))
    return min(found, key=lambda place: (abs(place.teeth), place.arm))


def nearest_fit(teeth: int, arms: int, off_deg: float) -> Fit:
    """Return the arm and tooth that come nearest to a wanted place.

    Parameters
    ----------
    teeth, arms : int
        Teeth of the spline; evenly spaced arms of the part.
    off_deg : float
        How far counter-clockwise of the wanted place one arm stands now.
    """
    pitch = 360.0 / teeth
    found = []
    for arm in range(arms):
        stands = off_deg + arm * 360.0 / arms
        turned = round(stands / pitch)
        found.append(Fit(arm + 1, -turned, stands - turned * pitch))
    return min(found, key=lambda fit: (round(abs(fit.off_deg), 9), fit.arm))
