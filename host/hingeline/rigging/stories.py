"""Ways in which a surface may be built otherwise than planned, held against its throws.

A story is a build with something wrong in it. In every story all that a builder gets a
little wrong is free, with the standard deviations of `hingeline.linkage.builds.Errors`; one
thing more is wrong by a stated amount (a tooth, a hole) or free to be wrong by much
(set-back, rod). With the free amounts written in their standard deviations as z, and the
residuals r in those of the readings, a story is scored by

    E = min over z of (|r|^2 + |z|^2)  +  ln det(1 + J'J)  -  2 ln(odds)

where J = dr/dz: -2 times the logarithm of its probability given the readings, in Laplace's
approximation. The second term is what a story pays for being able to explain anything.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from hingeline.linkage.builds import FACTORS, Errors, built
from hingeline.linkage.closure import Floats, ratio
from hingeline.linkage.loop import solve
from hingeline.linkage.mounting import lean_deg, tooth_deg
from hingeline.rigging.judging_throws import ThrowPoint
from hingeline.travel.curve import TravelCurve
from hingeline.travel.setting import Setting

#: What may be wrong: the builds' errors, half the free play, and how much further than its
#: curve says the servo turns (a share).
WRONG = (*FACTORS, "lag_deg", "turn")
#: Standard deviations of the last two where nothing is wrong. Our own choice.
LAG_SD_DEG, TURN_SD = 0.15, 0.003
#: The same of a servo that was not measured.
UNMEASURED_TURN_SD = 0.1
#: Of what is wrong by much: set-back and rod in mm, lean and half play in degrees, a share
#: of the servo's turn. Our own choice.
MUCH = {"set_back_mm": 3.0, "rod_mm": 1.5, "lean_deg": 6.0, "lag_deg": 1.0, "turn": 0.1}
#: How often something is wrong for once that nothing is. Our own choice; a wrong tooth or
#: hole is much rarer once it was looked at, and costs more when it is missed.
ODDS = {
    "planned": 1.0,
    "set_back_mm": 0.2,
    "rod_mm": 0.2,
    "lean_deg": 0.02,
    "lag_deg": 0.1,
    "turn": 0.02,
    "tooth": 0.05,
    "differential": 0.1,
    "hole": 0.05,
}
#: A lean known no better was not read: then it is as often wrong as a set-back. Our own choice.
UNREAD_DEG = 2.0
#: The odds fall by this for every further tooth or hole.
FURTHER = 0.3
#: Most teeth that an arm is put on wrongly without being seen.
MOST_TEETH = 3
_STEPS, _SETTLED = 12, 1e-3
_STEP = 1e-4
_NO_LINKAGE_DEG = 1e3


@dataclass(frozen=True)
class Story:
    """One way in which a surface may be built.

    Attributes
    ----------
    kind : str
        A key of `ODDS`.
    fixed : mapping of str to float
        What is wrong by a stated amount, by names of `WRONG`.
    odds : float
        Before anything is measured.
    teeth : int
        For "tooth" and "differential": further ahead than planned.
    part, hole : str, int
        For "hole": "arm" or "horn", and the hole really used.
    """

    kind: str
    odds: float
    fixed: Mapping[str, float] = field(default_factory=dict)
    teeth: int = 0
    part: str = ""
    hole: int = 0


@dataclass(frozen=True)
class Held:
    """A story held against the readings.

    Attributes
    ----------
    story : Story
    score : float
        E of the module's docstring; the lowest is the likeliest.
    misfit : float
        Its first term: of about as many as there are readings when the story is true.
    wrong : dict of str to float
        All that is wrong, at the likeliest, by names of `WRONG`.
    u : dict of str to float
        Standard uncertainties of what is free.
    """

    story: Story
    score: float
    misfit: float
    wrong: dict[str, float]
    u: dict[str, float]


def stories_of(setting: Setting, seat_u_deg: float) -> list[Story]:
    """List the stories that can be told of a surface whose arm's lean is known so well."""
    surface, tooth = setting.surface, tooth_deg(setting.servo)
    odds = dict(ODDS)
    if seat_u_deg > UNREAD_DEG:
        odds["lean_deg"] = odds["set_back_mm"]
    found = [Story(kind, odds[kind]) for kind in ("planned", *MUCH)]
    turned = -2.0 * lean_deg(surface, setting.servo) / tooth
    whole = round(turned) if abs(turned - round(turned)) < 1e-6 else 0
    most = max(MOST_TEETH, min(abs(whole), 2 * MOST_TEETH))
    for teeth in range(-most, most + 1):
        if teeth == 0 or (abs(teeth) > MOST_TEETH and teeth != whole):
            continue
        kind = "differential" if teeth == whole else "tooth"
        rarer = 1.0 if teeth == whole else FURTHER ** (abs(teeth) - 1)
        found.append(Story(kind, odds[kind] * rarer, {"lean_deg": teeth * tooth}, teeth=teeth))
    for part, table in (("arm", surface.arm), ("horn", surface.horn)):
        if table.hole is None:
            continue
        for hole, mm in enumerate(table.holes_mm, 1):
            if hole != table.hole:
                rarer = FURTHER ** (abs(hole - table.hole) - 1)
                off = {f"{part}_hole_mm": float(mm - table.holes_mm[table.hole - 1])}
                found.append(Story("hole", odds["hole"] * rarer, off, part=part, hole=hole))
    return found


def hold(
    setting: Setting,
    points: Sequence[ThrowPoint],
    *,
    u_deg: float,
    seat_u_deg: float,
    play_deg: float | None,
) -> list[Held]:
    """Hold all stories against a surface's throws, the likeliest first.

    Parameters
    ----------
    setting : Setting
    points : sequence of ThrowPoint
    u_deg : float
        Standard uncertainty of one reading.
    seat_u_deg : float
        Of the arm's lean as it was read.
    play_deg : float or None
        Whole free play at the surface where it was measured.
    """
    bench = _Bench(setting, points, u_deg, seat_u_deg, play_deg)
    return sorted(bench.hold(stories_of(setting, seat_u_deg)), key=lambda one: one.score)


def predicted_deg(
    setting: Setting, points: Sequence[ThrowPoint], wrong: Mapping[str, float]
) -> Floats:
    """Return where a surface stands at points when this is wrong with it; signed."""
    values = np.array([[wrong.get(name, 0.0)] for name in WRONG])
    return _stands(setting, _shaft_deg(setting, points), _motion(setting, points), values)[:, 0]


class _Bench:
    """The readings of one surface, and what is known beforehand."""

    def __init__(
        self,
        setting: Setting,
        points: Sequence[ThrowPoint],
        u_deg: float,
        seat_u_deg: float,
        play_deg: float | None,
    ) -> None:
        self.setting = setting
        self.shaft_deg = _shaft_deg(setting, points)
        self.motion = _motion(setting, points)
        self.seen = np.array([point.measured_deg for point in points])
        careful = Errors()
        careful = replace(careful, lean_deg=min(seat_u_deg, careful.lean_deg))
        turn = TURN_SD if isinstance(setting.curve, TravelCurve) else UNMEASURED_TURN_SD
        self.sds = np.array([*careful.sizes(), LAG_SD_DEG, turn])
        self.start = np.zeros(len(WRONG))
        if play_deg is not None:
            self.start[WRONG.index("lag_deg")] = play_deg / 2.0
        self.u = np.hypot(u_deg, self._curve_u_deg(points))

    def _curve_u_deg(self, points: Sequence[ThrowPoint]) -> Floats:
        """Return the curve's own uncertainty at the surface, without that of the arm's seat."""
        curve = self.setting.curve
        if not isinstance(curve, TravelCurve):
            return np.zeros(len(points))
        shaft_u = np.array([float(curve.angle_u_deg(point.pulse_us)) for point in points])
        own = np.sqrt(np.maximum(np.square(shaft_u) - curve.u_common_deg**2, 0.0))
        slopes = np.abs(ratio(self.setting.linkage, np.radians(self.shaft_deg)))
        return np.asarray(own * np.nan_to_num(slopes))

    def hold(self, stories: Sequence[Story]) -> list[Held]:
        """Fit stories, all at once; those that cannot move through the readings are left out."""
        sds = np.tile(self.sds, (len(stories), 1))
        start = np.tile(self.start, (len(stories), 1))
        for row, story in enumerate(stories):
            if story.kind in MUCH:
                place = WRONG.index(story.kind)
                sds[row, place] = max(sds[row, place], MUCH[story.kind])
            for name, size in story.fixed.items():
                start[row, WRONG.index(name)] += size
        z = np.zeros_like(start)
        for _ in range(_STEPS):
            r, slopes, inner = self._standing(start, sds, z)
            downhill = np.einsum("spk,sp->sk", slopes, r) - z
            step = np.linalg.solve(inner, downhill[..., np.newaxis])[..., 0]
            # Beyond two standard deviations at once the straight line ends.
            longest = np.abs(step).max(axis=1, keepdims=True)
            z = z + step / np.maximum(1.0, longest / 2.0)
            if float(longest.max()) < _SETTLED:
                break
        r, slopes, inner = self._standing(start, sds, z)
        misfit = np.sum(np.square(r), axis=1) + np.sum(np.square(z), axis=1)
        odds = np.array([story.odds for story in stories])
        score = misfit + np.linalg.slogdet(inner)[1] - 2.0 * np.log(odds)
        u = sds * np.sqrt(np.diagonal(np.linalg.inv(inner), axis1=1, axis2=2))
        wrong = start + sds * z
        closes = np.abs(r * self.u).max(axis=1) < _NO_LINKAGE_DEG / 2.0
        return [
            Held(
                story,
                float(score[row]),
                float(misfit[row]),
                dict(zip(WRONG, wrong[row].tolist(), strict=True)),
                dict(zip(WRONG, u[row].tolist(), strict=True)),
            )
            for row, story in enumerate(stories)
            if closes[row]
        ]

    def _standing(self, start: Floats, sds: Floats, z: Floats) -> tuple[Floats, Floats, Floats]:
        """Return residuals in their uncertainties, how the predictions move with z, 1 + J'J.

        Shapes (stories, points), (stories, points, z) and (stories, z, z).
        """
        count, free = z.shape
        around = np.zeros((count, 1 + free, free))
        around[:, 1:] = _STEP * np.eye(free)
        values = start[:, np.newaxis] + sds[:, np.newaxis] * (z[:, np.newaxis] + around)
        stands = _stands(self.setting, self.shaft_deg, self.motion, values.reshape(-1, free).T)
        each = np.moveaxis(stands.reshape(len(self.seen), count, 1 + free), 0, 1)
        slopes = (each[..., 1:] - each[..., :1]) / _STEP / self.u[:, np.newaxis]
        inner = np.eye(free) + np.einsum("spk,spl->skl", slopes, slopes)
        return (self.seen - each[..., 0]) / self.u, slopes, inner


def _shaft_deg(setting: Setting, points: Sequence[ThrowPoint]) -> Floats:
    return np.array(
        [float(setting.curve.angle_deg(point.pulse_us, point.approach)) for point in points]
    )


def _motion(setting: Setting, points: Sequence[ThrowPoint]) -> Floats:
    """Return for each point which way the surface came: +1 when it was pushed there."""
    turning = float(ratio(setting.linkage, 0.0)) * setting.curve.rate_deg_per_us
    rising = 1.0 if turning > 0 else -1.0
    ways = {"rising": rising, "falling": -rising, None: 0.0}
    return np.array([ways[point.approach] for point in points])


def _stands(setting: Setting, shaft_deg: Floats, motion: Floats, values: Floats) -> Floats:
    """Return deflections, shape (points, columns of ``values``), for what is wrong."""
    errors, lag, turn = values[: len(FACTORS)], values[-2], values[-1]
    matrices = built(setting.linkage, errors, fitted=True)
    shaft = np.radians(shaft_deg)[:, np.newaxis] * (1.0 + turn)
    driven = np.degrees(solve(matrices, shaft))
    driven = np.nan_to_num(driven, nan=_NO_LINKAGE_DEG)
    return np.asarray(driven - motion[:, np.newaxis] * lag)
