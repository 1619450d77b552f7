"""Every choice of holes, teeth and set-back of one surface, judged and ranked.

All choices are worked out at once, on arrays with one axis for each thing that can be
chosen; the order of those axes is that of :class:`Space`. Nothing here knows the trade's
rule "shortest arm and longest horn that still reach": it comes out, because such a choice
uses most of the servo's travel.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hingeline.linkage.closure import Floats
from hingeline.linkage.loop import closure_matrix, levers_mm, solve, solve_ratio
from hingeline.linkage.mounting import (
    HINGE_AXIS,
    POINTS_ASTRAY_DEG,
    Mounting,
    arm_tips,
    mounting_of,
)
from hingeline.linkage.option import Limits, Option, Space, misses
from hingeline.linkage.spline import finest_deg
from hingeline.model import throws, words
from hingeline.model.schema import Servo, Surface

#: Points at which a choice is looked at over the servo's travel.
POINTS = 41


def whole_space(
    surface: Surface,
    servo: Servo,
    *,
    set_backs_mm: Sequence[float] | None = None,
    limits: Limits | None = None,
) -> Space:
    """Return everything that may be chosen for a surface.

    Without ``set_backs_mm`` the file's own set-back is kept.
    """
    most = (limits or Limits()).lean_deg
    reach = math.floor(most / finest_deg(servo))
    return Space(
        tuple(range(1, len(surface.arm.holes_mm) + 1)),
        tuple(range(1, len(surface.horn.holes_mm) + 1)),
        tuple(range(-reach, reach + 1)),
        tuple(set_backs_mm) if set_backs_mm else (float(surface.horn.set_back_mm),),
    )


@dataclass(frozen=True)
class Judged:
    """All combinations of a space, as arrays over (arm, horn, step, set-back).

    Attributes
    ----------
    space : Space
        What the axes mean.
    travel_deg : float
        Servo travel available, the lesser of the two ways.
    wanted_deg : dict of str to float
        Throws asked for, by direction.
    arrays : dict of str to ndarray
        One array for each figure of :class:`Option`; figures by direction are keyed
        "turn up" and the like.
    order : ndarray of int
        Flat indices: fit choices by cost, then the unfit, nearest miss first.
    """

    space: Space
    travel_deg: float
    wanted_deg: dict[str, float]
    arrays: dict[str, Floats]
    order: NDArray[np.intp]
    limits: Limits

    @property
    def fit_count(self) -> int:
        """How many combinations are fit."""
        return int((self.arrays["shortfall"] == 0).sum())

    def option(self, flat: int) -> Option:
        """Return one combination in full."""
        place = np.unravel_index(flat, self.arrays["cost"].shape)
        value = {name: float(array[place]) for name, array in self.arrays.items()}
        names = list(self.wanted_deg)
        option = Option(
            arm_hole=self.space.arm_holes[place[0]],
            horn_hole=self.space.horn_holes[place[1]],
            arm_mm=value["arm"],
            horn_mm=value["horn"],
            step=self.space.steps[place[2]],
            lean_deg=value["lean"],
            set_back_mm=self.space.set_backs_mm[place[3]],
            rod_mm=value["rod"],
            turn_deg={name: value[f"turn {name}"] for name in names},
            reach_deg={name: value[f"reach {name}"] for name in names},
            even_deg={name: value[f"even {name}"] for name in names},
            use=value["use"],
            bias_error_deg=value["bias error"],
            least_angle_deg=value["least angle"],
            end_angle_deg=value["end angle"],
            middle_deg=value["middle"],
            ratio=value["ratio"],
            margin=value["margin"],
            slop_deg=value["slop"],
            cost=value["cost"],
            shortfall_deg=value["shortfall"],
        )
        return replace(
            option, misses=misses(option, self.travel_deg, self.wanted_deg, self.limits)
        )

    def best(self, count: int) -> list[Option]:
        """Return the best fit combinations, at most ``count``."""
        return [self.option(int(flat)) for flat in self.order[: min(count, self.fit_count)]]

    def nearest_misses(self, count: int) -> list[Option]:
        """Return the unfit combinations that are nearest to being fit."""
        start = self.fit_count
        return [self.option(int(flat)) for flat in self.order[start : start + count]]

    def matching(self, arm_hole: int, horn_hole: int) -> list[Option]:
        """Return all leans and set-backs of one pair of holes, in the ranking's order."""
        shape = self.arrays["cost"].shape
        arm, horn, _, _ = np.unravel_index(self.order, shape)
        ours = (arm == self.space.arm_holes.index(arm_hole)) & (
            horn == self.space.horn_holes.index(horn_hole)
        )
        return [self.option(int(flat)) for flat in self.order[ours]]


def judge(
    surface: Surface,
    servo: Servo,
    travel_deg: tuple[float, float],
    space: Space,
    limits: Limits | None = None,
    *,
    hinge_nm: Mapping[str, float] | None = None,
    servo_nm: float | None = None,
) -> Judged:
    """Judge every combination of a space.

    Parameters
    ----------
    surface, servo : Surface, Servo
        From the model file; its own holes and lean are not looked at.
    travel_deg : tuple of float
        Lowest and highest shaft angle at the servo's pulse limits.
    space : Space
        What may be chosen.
    limits : Limits, optional
        What makes a choice unfit.
    hinge_nm : mapping of str to float, optional
        Size of the hinge moment at each wanted throw; without it, or without ``servo_nm``,
        the servo's margin is not judged.
    servo_nm : float, optional
        Torque that the servo may be asked for.

    Raises
    ------
    ModelError
        When the mounting contradicts itself.
    """
    limits = limits or Limits()
    names = words.directions(surface)
    signs = {name: words.sign_of(surface, name) for name in names}
    wanted = {name: throws.throw_deg(surface, name) for name in names}
    figures, built = _built(surface, servo, space)
    matrix = built.matrix
    # The shaft's sense: a rising surface may need a falling shaft.
    sense = np.sign(solve(matrix, np.radians(0.5)))
    travel = min(abs(travel_deg[0]), abs(travel_deg[1]))
    for name, sign in signs.items():
        shaft = np.degrees(solve(np.swapaxes(matrix, -1, -2), math.radians(sign * wanted[name])))
        figures[f"turn {name}"] = shaft * sense * sign
        end = np.where(sense * sign > 0, travel_deg[1], travel_deg[0])
        figures[f"reach {name}"] = sign * np.degrees(solve(matrix, np.radians(end)))
    _throws_by_itself(figures, matrix, signs, wanted, sense, travel)
    used = [np.nan_to_num(figures[f"turn {name}"], nan=travel) for name in names]
    figures["use"] = np.maximum(*used) / travel
    _angles(figures, built, sense, signs, travel)
    play_mm = surface.rod.play_mm or 0.1  # for comparing choices any play does
    lever = levers_mm(matrix, built.rod_mm, 0.0)
    figures["slop"] = np.degrees(play_mm / lever)
    figures["margin"] = _margin(figures, matrix, sense, signs, hinge_nm, servo_nm)
    figures["shortfall"] = _shortfall(figures, names, wanted, travel, limits)
    figures["cost"] = _cost(figures)
    order = np.lexsort((figures["cost"].ravel(), figures["shortfall"].ravel()))
    return Judged(space, travel, wanted, figures, order, limits)


@dataclass(frozen=True)
class _Built:
    """All linkages of a space; the arrays' leading axes are those of the space."""

    mounting: Mounting
    tip_mm: Floats
    matrix: Floats
    rod_mm: Floats


def _built(surface: Surface, servo: Servo, space: Space) -> tuple[dict[str, Floats], _Built]:
    """Build all linkages of a space, and their plain figures."""
    mounting = mounting_of(surface)
    arm = np.array([surface.arm.holes_mm[hole - 1] for hole in space.arm_holes])
    horn = np.array([surface.horn.holes_mm[hole - 1] for hole in space.horn_holes])
    lean = np.array(space.steps) * finest_deg(servo)
    shape = (len(arm), len(horn), len(lean), len(space.set_backs_mm))
    arm4, horn4, lean4, back4 = np.meshgrid(arm, horn, lean, space.set_backs_mm, indexing="ij")
    horn_tip = np.stack([back4, np.zeros(shape), horn4], axis=-1)
    tip, astray = arm_tips(mounting, horn_tip, arm4, np.radians(lean4))
    tip = np.where((astray <= math.radians(POINTS_ASTRAY_DEG))[..., np.newaxis], tip, np.nan)
    matrix = closure_matrix(
        mounting.spindle_mm, mounting.axis, tip, np.zeros(3), HINGE_AXIS, horn_tip
    )
    rod = np.linalg.norm(horn_tip - tip, axis=-1)
    figures = {"arm": arm4, "horn": horn4, "lean": lean4, "set-back": back4, "rod": rod}
    return figures, _Built(mounting, tip, matrix, rod)


def _throws_by_itself(
    figures: dict[str, Floats],
    matrix: Floats,
    signs: dict[str, int],
    wanted: dict[str, float],
    sense: Floats,
    travel: float,
) -> None:
    """Work out what the linkage does for equal turns, and how far that is from wanted.

    The turn is the one that the larger of the two throws needs; what the other then goes
    too far, the radio's end point must take away.
    """
    first, second = signs
    turn = np.fmin(np.fmax(figures[f"turn {first}"], figures[f"turn {second}"]), travel)
    for name, sign in signs.items():
        shaft = np.radians(turn * sense * sign)
        figures[f"even {name}"] = sign * np.degrees(solve(matrix, shaft))
    bias = figures[f"even {first}"] - figures[f"even {second}"]
    figures["bias error"] = np.abs(bias - (wanted[first] - wanted[second]))
    half = [
        sign * np.degrees(solve(matrix, np.radians(0.5 * turn * sense * sign)))
        for sign in signs.values()
    ]
    # A lean makes the difference with the square of the turn: a quarter of it half-way.
    figures["middle"] = np.abs(half[0] - half[1] - 0.25 * (wanted[first] - wanted[second]))
    figures["ratio"] = np.abs(solve_ratio(matrix, 0.0))


def _angles(
    figures: dict[str, Floats],
    built: _Built,
    sense: Floats,
    signs: dict[str, int],
    travel: float,
) -> None:
    """Work out how the rod stands to arm and horn over the throws wanted, at its worst."""
    ends = [
        sense * sign * np.clip(np.nan_to_num(figures[f"turn {name}"], nan=travel), 0.0, travel)
        for name, sign in signs.items()
    ]
    worst_sine = np.full(sense.shape, np.inf)
    worst_end = np.zeros(sense.shape)
    # Point by point: all points of all choices at once would not stay in the cache.
    for part in np.linspace(0.0, 1.0, POINTS):
        shaft = np.radians(ends[0] + part * (ends[1] - ends[0]))
        turned = solve(built.matrix, shaft)
        sine, end = _rod_at(figures, built, shaft, turned)
        worst_sine = np.fmin(worst_sine, np.nan_to_num(sine, nan=0.0))
        worst_end = np.fmax(worst_end, end)
    figures["least angle"] = np.degrees(np.arcsin(np.clip(worst_sine, 0.0, 1.0)))
    figures["end angle"] = np.degrees(np.arcsin(np.clip(worst_end, 0.0, 1.0)))


def _rod_at(
    figures: dict[str, Floats], built: _Built, shaft: Floats, turned: Floats
) -> tuple[Floats, Floats]:
    """Return sines at one place: rod to the nearer of horn and arm; rod out of their planes."""
    mounting, rod = built.mounting, built.rod_mm
    horn_lever = levers_mm(built.matrix, rod, shaft)
    arm_lever = levers_mm(np.swapaxes(built.matrix, -1, -2), rod, turned)
    sine = np.minimum(horn_lever / figures["horn"], arm_lever / figures["arm"])
    # Horn's hole at the deflection; the arm's place along the hinge at the shaft angle.
    cos, sin = np.cos(turned), np.sin(turned)
    x = figures["set-back"] * cos + figures["horn"] * sin
    z = figures["horn"] * cos - figures["set-back"] * sin
    axis, spindle = mounting.axis, mounting.spindle_mm
    out_of_arm = (x - spindle[0]) * axis[0] - spindle[1] * axis[1] + (z - spindle[2]) * axis[2]
    arm = built.tip_mm - spindle
    across = arm[..., 1] * np.cos(shaft) + np.cross(axis, arm)[..., 1] * np.sin(shaft)
    out_of_horn = spindle[1] + across
    return sine, np.fmax(np.abs(out_of_arm), np.abs(out_of_horn)) / rod


def _margin(
    figures: dict[str, Floats],
    matrix: Floats,
    sense: Floats,
    signs: dict[str, int],
    hinge_nm: Mapping[str, float] | None,
    servo_nm: float | None,
) -> Floats:
    """Return what the servo may give over what it must, at the harder of the two throws."""
    if hinge_nm is None or servo_nm is None:
        return np.full(sense.shape, np.inf)
    needed = np.zeros(sense.shape)
    for name, sign in signs.items():
        shaft = np.radians(figures[f"turn {name}"] * sense * sign)
        needed = np.fmax(needed, hinge_nm[name] * np.abs(solve_ratio(matrix, shaft)))
    with np.errstate(divide="ignore"):
        margin: Floats = servo_nm / needed
    return margin


def _shortfall(
    figures: dict[str, Floats],
    names: Sequence[str],
    wanted: dict[str, float],
    travel: float,
    limits: Limits,
) -> Floats:
    """Return how far each choice is from being fit, in degrees; 0 when it is."""
    total = np.zeros(figures["arm"].shape)
    for name in names:
        turn = figures[f"turn {name}"]
        reach = np.nan_to_num(figures[f"reach {name}"], nan=0.0)
        short = np.where(turn <= travel, 0.0, wanted[name] - reach - limits.tolerance_deg)
        total += np.maximum(np.nan_to_num(short, nan=wanted[name]), 0.0)
    total += np.maximum(limits.least_angle_deg - figures["least angle"], 0.0)
    total += np.maximum(figures["end angle"] - limits.end_angle_deg, 0.0)
    # A servo that is too weak by a tenth counts like a throw that is a degree short.
    weak = np.maximum(limits.least_margin - figures["margin"], 0.0)
    total += 10.0 * np.nan_to_num(weak, nan=0.0)
    return np.where(np.isnan(figures["rod"]), np.inf, total)


def _cost(figures: dict[str, Floats]) -> Floats:
    """Weigh what makes one fit choice better than another; the weights are our own choice.

    One degree of differential that the radio would have to make up weighs as much as a
    tenth of the servo's travel left unused, a degree of unevenness half-way, half of the
    hinge moment on the servo, half a degree of slop, or ten degrees of rod angle. A margin of
    the servo that is known to be small weighs by its inverse, double at its limit.
    """
    idle = 1.0 - np.clip(figures["use"], 0.0, 1.0)
    cost = (
        1.0 * figures["bias error"]
        + 10.0 * idle
        + 1.0 * figures["middle"]
        + 2.0 * figures["ratio"]
        + 2.0 * figures["slop"]
        + 0.1 * (90.0 - figures["least angle"])
        + 0.1 * figures["end angle"]
    )
    with np.errstate(divide="ignore"):
        cost = cost + 2.0 * np.nan_to_num(1.0 / figures["margin"], nan=0.0)
    # Between equals, the plainer build: less lean, less set-back.
    plain = 0.002 * np.abs(figures["lean"])
    return np.nan_to_num(cost + plain, nan=np.inf)
