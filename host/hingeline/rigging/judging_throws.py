"""Throws as they came out, against what was wanted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from hingeline import chord, units
from hingeline.chord import Measure
from hingeline.model.schema import Surface
from hingeline.model.words import directions, say, sign_of, word_of
from hingeline.travel.reading import Approach
from hingeline.travel.setting import Setting

#: A planned differential of less than this is none. Our own choice: what a gauge shows.
DIFFERENTIAL_DEG = 1.0


@dataclass(frozen=True)
class ThrowPoint:
    """One point of a surface's throws; angles in the engine's signs, positive when pushed.

    Attributes
    ----------
    share : float
        Part of the full throw, -1 to 1; positive in the surface's first direction.
    pulse_us : float
        What was sent.
    approach : {"rising", "falling"} or None
        From which side the pulse was reached; None: not known.
    wanted_deg, predicted_deg, measured_deg : float
        Asked for; by linkage and curve; on the gauge.
    """

    share: float
    pulse_us: float
    approach: Approach | None
    wanted_deg: float
    predicted_deg: float
    measured_deg: float

    @property
    def miss_deg(self) -> float:
        """Measured less wanted."""
        return self.measured_deg - self.wanted_deg


def figures_of(surface: Surface, points: Sequence[ThrowPoint]) -> list[dict[str, Any]]:
    """Return points as plain figures, positive in the surface's first direction."""
    sign = sign_of(surface, directions(surface)[0])
    return [
        {
            "share": point.share,
            "pulse_us": point.pulse_us,
            "approach": point.approach,
            "wanted_deg": sign * point.wanted_deg + 0.0,
            "predicted_deg": sign * point.predicted_deg + 0.0,
            "measured_deg": sign * point.measured_deg + 0.0,
        }
        for point in points
    ]


def points_of(surface: Surface, rows: Sequence[Mapping[str, Any]]) -> list[ThrowPoint]:
    """Return points again from their figures, in the engine's signs."""
    sign = sign_of(surface, directions(surface)[0])
    return [
        ThrowPoint(
            row["share"],
            row["pulse_us"],
            row["approach"],
            sign * row["wanted_deg"],
            sign * row["predicted_deg"],
            sign * row["measured_deg"],
        )
        for row in rows
    ]


@dataclass(frozen=True)
class Judged:
    """A surface's throws, judged.

    Attributes
    ----------
    misses_deg : tuple of float
        Measured less wanted at each point.
    worst : float
        The largest of them, without sign.
    passed : bool
        Whether all are within the tolerance.
    wrong_way : bool
        Whether a full throw went against its direction.
    differential_wanted_deg, differential_got_deg : float or None
        The first direction's full throw less the second's; None without both.
    reversed_differential : bool
        Whether the throw that should be larger is the smaller one, beyond what the gauge
        could make of it.
    sentences : tuple of str
        The same for people.
    """

    misses_deg: tuple[float, ...]
    worst: float
    passed: bool
    wrong_way: bool
    differential_wanted_deg: float | None
    differential_got_deg: float | None
    reversed_differential: bool
    sentences: tuple[str, ...]


def judge(
    setting: Setting,
    points: Sequence[ThrowPoint],
    *,
    tolerance_deg: float,
    u_deg: float,
    measure: Measure | None = None,
) -> Judged:
    """Judge the points of a surface's throws.

    Parameters
    ----------
    setting : Setting
        The surface.
    points : sequence of ThrowPoint
        One at least.
    tolerance_deg : float
        By how much a point may miss.
    u_deg : float
        Standard uncertainty of one reading.
    measure : {"drop", "straight"}, optional
        How mm were read; the worst miss is then said in mm as well.
    """
    misses = tuple(point.miss_deg for point in points)
    worst_point = max(points, key=lambda point: abs(point.miss_deg))
    worst = abs(worst_point.miss_deg)
    full = {place: [p for p in points if p.share == place] for place in (1.0, -1.0)}
    wrong_way = any(p.measured_deg * p.wanted_deg < 0 for ends in full.values() for p in ends)
    wanted = got = None
    if full[1.0] and full[-1.0]:
        first, second = full[1.0][-1], full[-1.0][-1]
        wanted = abs(first.wanted_deg) - abs(second.wanted_deg)
        got = abs(first.measured_deg) - abs(second.measured_deg)
    # Two readings make the difference: twice its standard uncertainty.
    sure = 2.0 * 2.0**0.5 * u_deg
    turned = (
        not wrong_way
        and wanted is not None
        and got is not None
        and abs(wanted) >= DIFFERENTIAL_DEG
        and got * wanted < 0
        and abs(got) >= sure
    )
    # A hair beyond, from sums of decimal figures, is within.
    passed = not wrong_way and worst <= tolerance_deg + 1e-9
    return Judged(
        misses,
        worst,
        passed,
        wrong_way,
        wanted,
        got,
        turned,
        tuple(_sentences(setting, points, worst_point, tolerance_deg, wrong_way, turned, measure)),
    )


def _sentences(
    setting: Setting,
    points: Sequence[ThrowPoint],
    worst: ThrowPoint,
    tolerance_deg: float,
    wrong_way: bool,
    turned: bool,
    measure: Measure | None,
) -> list[str]:
    surface = setting.surface
    if wrong_way:
        return [f"{surface.name} goes the wrong way."]
    miss = abs(worst.miss_deg)
    within = miss <= tolerance_deg + 1e-9
    judged = "within" if within else "beyond"
    said = [
        f"Worst miss {units.deg(miss)}{_in_mm(surface, worst, measure)}, {judged} "
        f"{units.deg(tolerance_deg)}: {say(surface, worst.measured_deg)} instead of "
        f"{say(surface, worst.wanted_deg)} at {worst.pulse_us:.0f} us."
    ]
    if turned:
        larger = max(
            (point for point in points if abs(point.share) == 1.0),
            key=lambda point: abs(point.wanted_deg),
        )
        said.append(
            "The differential is the wrong way round: the throw "
            f"{word_of(surface, larger.wanted_deg)} must be the larger one."
        )
    return said


def _in_mm(surface: Surface, point: ThrowPoint, measure: Measure | None) -> str:
    if measure is None:
        return ""
    measured, wanted = (
        chord.throw_mm(deg, surface.chord_mm, measure)
        for deg in (point.measured_deg, point.wanted_deg)
    )
    return f" ({units.mm(abs(measured - wanted))} {measure})"
