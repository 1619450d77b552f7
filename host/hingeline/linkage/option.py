"""One combination of holes, lean and set-back: what may be chosen, and what is found of it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Limits:
    """What makes a choice unfit. All are our own choice unless a source is named.

    Attributes
    ----------
    tolerance_deg : float
        A throw may fall this much short.
    least_angle_deg : float
        Rod and horn, and rod and arm, may not come nearer to being in line than this
        within the throws. (Textbooks of mechanisms ask for about 40 deg of transmission
        angle in machines, from memory; a model's surface is light.)
    end_angle_deg : float
        How far the rod may leave the plane of arm or horn: more binds a bent-wire end.
    least_margin : float
        What the servo may be asked for over what the air asks of it, at the throws.
    lean_deg : float
        Leans beyond this are not looked at.
    """

    tolerance_deg: float = 0.0
    least_angle_deg: float = 30.0
    end_angle_deg: float = 12.0
    least_margin: float = 1.0
    lean_deg: float = 60.0


@dataclass(frozen=True)
class Space:
    """What may be chosen: every combination of these is judged.

    Attributes
    ----------
    arm_holes, horn_holes : tuple of int
        Numbers of the holes, from 1.
    steps : tuple of int
        Leans, in steps of the finest that the spline and the part's arms allow.
    set_backs_mm : tuple of float
        Set-backs of the horn's hole.
    """

    arm_holes: tuple[int, ...]
    horn_holes: tuple[int, ...]
    steps: tuple[int, ...]
    set_backs_mm: tuple[float, ...]

    @property
    def size(self) -> int:
        """Number of combinations."""
        return (
            len(self.arm_holes) * len(self.horn_holes) * len(self.steps) * len(self.set_backs_mm)
        )


@dataclass(frozen=True)
class Option:
    """One combination, judged.

    Attributes
    ----------
    arm_hole, horn_hole : int
        Numbers of the holes, from 1.
    arm_mm, horn_mm : float
        Their radii.
    step : int
        Lean, in finest steps, positive ahead.
    lean_deg, set_back_mm, rod_mm : float
        Lean from square, set-back, rod from hole to hole.
    turn_deg : dict of str to float
        Size of the servo's turn that gives each wanted throw; nan where it cannot be had.
    reach_deg : dict of str to float
        Where the surface stands at each end of the servo's travel; nan where it locks.
    even_deg : dict of str to float
        Throws for equal turns of the servo both ways: what the linkage does by itself.
    use : float
        Part of the servo's travel that the wanted throws use, 0 to 1, the greater of the
        two ways.
    bias_error_deg : float
        How far the difference of the even throws is from the difference wanted.
    least_angle_deg : float
        Least angle between the rod and horn or arm, within the throws.
    end_angle_deg : float
        Greatest angle of the rod to the planes of arm and horn, within the throws.
    middle_deg : float
        How uneven the two ways are half-way, beyond what the wanted difference makes of it:
        sides that agree at their ends can differ in between.
    ratio : float
        Surface per servo turn at neutral: torque that the servo must give for each unit of
        hinge moment. The less, the greater its margin.
    margin : float
        What the servo may be asked for over what the air asks of it, at the throws; infinite
        when the load is not known.
    slop_deg : float
        Free play at neutral for the rod's play in the model file.
    cost : float
        What the ranking goes by: less is better.
    shortfall_deg : float
        0 for a fit choice; else how far it is from being one, in degrees.
    misses : tuple of str
        Why it is unfit; empty for a fit choice.
    """

    arm_hole: int
    horn_hole: int
    arm_mm: float
    horn_mm: float
    step: int
    lean_deg: float
    set_back_mm: float
    rod_mm: float
    turn_deg: dict[str, float]
    reach_deg: dict[str, float]
    even_deg: dict[str, float]
    use: float
    bias_error_deg: float
    least_angle_deg: float
    end_angle_deg: float
    middle_deg: float
    ratio: float
    margin: float
    slop_deg: float
    cost: float
    shortfall_deg: float
    misses: tuple[str, ...] = ()


def misses(
    option: Option, travel_deg: float, wanted_deg: Mapping[str, float], limits: Limits
) -> tuple[str, ...]:
    """Say why a combination is unfit; nothing for a fit one.

    Parameters
    ----------
    option : Option
        The combination, whose own ``misses`` are not looked at.
    travel_deg : float
        Servo travel available each way.
    wanted_deg : mapping of str to float
        Throws asked for, by direction.
    limits : Limits
        What makes a combination unfit.
    """
    found = []
    for name, wanted in wanted_deg.items():
        turn, reach = option.turn_deg[name], option.reach_deg[name]
        if turn <= travel_deg:
            continue
        if math.isnan(reach):
            found.append(f"the linkage locks before the servo's travel ends ({name})")
        elif reach < wanted - limits.tolerance_deg:
            found.append(
                f"reaches only {reach:.1f} deg {name}, {wanted - reach:.1f} short of {wanted:.1f}"
            )
    if option.least_angle_deg < limits.least_angle_deg:
        found.append(
            f"the rod comes within {option.least_angle_deg:.1f} deg of being in line with horn "
            f"or arm; {limits.least_angle_deg:.0f} is the least"
        )
    if option.end_angle_deg > limits.end_angle_deg:
        found.append(
            f"the rod stands {option.end_angle_deg:.0f} deg out of the plane of arm or horn; "
            f"a bent end binds beyond {limits.end_angle_deg:.0f}"
        )
    if option.margin < limits.least_margin:
        found.append(
            f"the servo would have only {option.margin:.2f} of the torque that it may be asked "
            "for in the air"
        )
    return tuple(found)
