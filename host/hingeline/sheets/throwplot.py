"""A plot of what the surface does while the servo turns.

Imported only when something is drawn: it imports matplotlib.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MultipleLocator

from hingeline import units
from hingeline.linkage.closure import Floats, Linkage, ratio, surface_angle
from hingeline.linkage.limits import dead_points
from hingeline.linkage.plan import EVEN_DEG, SurfacePlan
from hingeline.model import words
from hingeline.model.schema import Surface
from hingeline.sheets.labels import Labels
from hingeline.sheets.page import (
    GREY,
    INK,
    MARGIN_MM,
    PALE,
    PENS,
    SMALL_PT,
    TITLE_PT,
    axes_on,
    clean,
    new_page,
    pens_and_letters,
    write,
)

_WIDE_MM, _HIGH_MM = 210.0, 148.0  # A5 across
#: Half the height of the band round a wanted throw: about what a gauge at the bench can tell
#: (common practice, no source).
TOLERANCE_DEG = 1.0
_BEYOND = 1.2  # how far the plot goes past the servo's travel and the wanted turns
_POINTS = 361
_SMALL: dict[str, Any] = {"size": SMALL_PT}


@dataclass(frozen=True)
class _Range:
    """What the plot covers; the servo counts positive towards the first direction word."""

    sense: int  # +1 when counter-clockwise moves the surface in its first direction
    first: int  # the engine's sign of that direction
    travel_deg: tuple[float, float]
    locks_deg: tuple[float, float]
    turns_deg: tuple[float, ...]  # where the surface turns back
    shown_deg: tuple[float, float]
    most_deg: float  # half the plot's height


@dataclass(frozen=True)
class _Word:
    text: str
    at: tuple[float, float]
    towards: tuple[float, float]
    how: dict[str, Any]


def throw_plot(
    surface: Surface,
    linkage: Linkage,
    plan: SurfacePlan,
    travel_deg: tuple[float, float],
    *,
    tolerance_deg: float = TOLERANCE_DEG,
) -> Figure:
    """Plot a surface's deflection against the servo's angle.

    Parameters
    ----------
    surface : Surface
    linkage : Linkage
        Of that surface.
    plan : SurfacePlan
        Of that surface: wanted throws, free travel and where it locks.
    travel_deg : tuple of float
        Lowest and highest shaft angle at the servo's pulse limits, counter-clockwise
        positive looking at the arm.
    tolerance_deg : float
        Half the height of the band round each wanted throw.

    Returns
    -------
    Figure
        One A5 page across. No angle on it carries a sign: directions stand in words.
    """
    what = _range(surface, linkage, plan, travel_deg)
    with pens_and_letters():
        figure = new_page(_WIDE_MM, _HIGH_MM)
        title = f"{clean(surface.name)}: throw against servo angle"
        write(figure, MARGIN_MM, _HIGH_MM - MARGIN_MM - 4.0, title, TITLE_PT, fontweight="bold")
        for number, line in enumerate(reversed(_notes(surface, plan, what))):
            write(figure, MARGIN_MM, MARGIN_MM + 3.6 * number, line)
        axes = axes_on(figure, 25.0, 33.0, _WIDE_MM - 25.0 - MARGIN_MM, _HIGH_MM - 51.0)
        _rulers(axes, surface, what)
        labels = Labels(figure, axes)
        _curves(axes, labels, linkage, what)
        said = _wanted(axes, labels, surface, plan, what, tolerance_deg)
        said += _limits(axes, labels, surface, plan, what)
        for word in said:  # once every line is there to be kept clear of
            labels.put(word.text, word.at, word.towards, **word.how)
    return figure


def _range(
    surface: Surface, linkage: Linkage, plan: SurfacePlan, travel_deg: tuple[float, float]
) -> _Range:
    first = words.sign_of(surface, words.directions(surface)[0])
    sense = 1 if first * float(ratio(linkage, 0.0)) >= 0.0 else -1
    dead = dead_points(linkage)
    turns = (math.degrees(dead.low_rad), math.degrees(dead.high_rad))
    heights = [way.free_deg for way in plan.ways.values()]
    heights += [way.wanted_deg for way in plan.ways.values()]
    heights += [abs(way.reach_deg) for way in plan.ways.values() if way.reach_deg is not None]
    travel = _turned(travel_deg, sense)
    wanted = [sense * way.shaft_deg for way in plan.ways.values() if way.shaft_deg is not None]
    return _Range(
        sense=sense,
        first=first,
        travel_deg=travel,
        shown_deg=(_BEYOND * min(*travel, *wanted, -5.0), _BEYOND * max(*travel, *wanted, 5.0)),
        locks_deg=_turned(plan.locks_deg, sense),
        turns_deg=tuple(sense * turn for turn in turns if math.isfinite(turn)),
        most_deg=1.2 * max(heights),
    )


def _turned(pair: tuple[float, float], sense: int) -> tuple[float, float]:
    low, high = sorted(sense * value for value in pair)
    return low, high


def _rulers(axes: Axes, surface: Surface, what: _Range) -> None:
    up, down = words.directions(surface)
    turning = ("counter-clockwise", "clockwise")[:: what.sense]
    low, high = what.shown_deg
    axes.set_xlim(low, high)
    axes.set_ylim(-what.most_deg, what.most_deg)
    for axis, span, (less, more), name in (
        (axes.xaxis, high - low, (turning[1], turning[0]), "servo turns, deg, looking at the arm"),
        (axes.yaxis, 2 * what.most_deg, (down, up), "surface, deg"),
    ):
        axis.set_major_locator(MultipleLocator(5.0 if span < 75.0 else 10.0))
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{abs(value):g}"))
        axis.set_label_text(f"← {less}      {name}      {more} →", color=GREY)
        axis.labelpad = 3.0
    axes.tick_params(length=2.0, pad=1.5, labelsize=SMALL_PT)
    axes.grid(color=PALE, linewidth=0.25)
    axes.set_axisbelow(True)
    for line in (axes.axhline, axes.axvline):
        line(0.0, color=GREY, linewidth=0.5, zorder=1)


def _deflection(linkage: Linkage, what: _Range, turn_deg: Floats) -> Floats:
    """Return the surface's deflection, positive in its first direction, nan where it locks."""
    shaft = np.radians(what.sense * turn_deg)
    deflection: Floats = what.first * np.degrees(surface_angle(linkage, shaft))
    return deflection


def _curves(axes: Axes, labels: Labels, linkage: Linkage, what: _Range) -> None:
    inside = np.linspace(*what.travel_deg, _POINTS)
    around = np.linspace(*axes.get_xlim(), _POINTS)
    middle = float(_deflection(linkage, what, np.zeros(1))[0])
    # Turned end for end about the middle: equal turns give equal throws where both agree.
    mirrored = 2.0 * middle - _deflection(linkage, what, -around)
    dotted: dict[str, Any] = {"color": GREY, "linewidth": 0.8, "linestyle": (0, (1, 2))}
    thin: dict[str, Any] = {"color": INK, "linewidth": 0.6}
    for x, y, gid, pen in (
        (around, mirrored, "mirror", dotted),
        (around, _deflection(linkage, what, around), "beyond", thin),
        (inside, _deflection(linkage, what, inside), "curve", {**thin, "linewidth": 1.6}),
    ):
        axes.plot(x, y, gid=gid, zorder=4, **pen)
        seen = np.isfinite(y) & (np.abs(y) <= what.most_deg)
        if seen.any():
            labels.keep_clear(np.stack([x[seen], y[seen]], axis=1))


def _limits(
    axes: Axes, labels: Labels, surface: Surface, plan: SurfacePlan, what: _Range
) -> list[_Word]:
    low, high = axes.get_xlim()
    said = []
    hatched: dict[str, Any] = {
        "facecolor": "none",
        "edgecolor": PALE,
        "linewidth": 0.0,
        "zorder": 0,
    }
    uprights = [(end, "servo's pulse limit", 0.4) for end in what.travel_deg]
    uprights += [(lock, "linkage locks", 0.75) for lock in what.locks_deg if low < lock < high]
    uprights += [
        (turn, "surface turns back", 0.58) for turn in what.turns_deg if low < turn < high
    ]
    for turn, _, _ in uprights:
        axes.axvline(turn, color=GREY, linewidth=0.9, linestyle=(0, (6, 1.5, 1, 1.5)))
        labels.keep_clear([[turn, -what.most_deg], [turn, what.most_deg]])
    for end, edge in zip(what.travel_deg, (low, high), strict=True):
        axes.axvspan(end, edge, hatch="\\\\\\", **hatched)
    for word, side in zip(words.directions(surface), (1.0, -1.0), strict=True):
        free = plan.ways[word].free_deg
        axes.axhspan(side * free, side * what.most_deg, hatch="///", **hatched)
        axes.axhline(side * free, color=GREY, linewidth=0.7, linestyle=(0, (4, 2)))
        labels.keep_clear([[low, side * free], [high, side * free]])
        text = f"surface's free travel ends: {word} {units.deg(free)}"
        at = (0.25 * (low if side > 0 else high), side * free)
        said.append(_Word(text, at, (0.0, side), _SMALL))
    # The curve rises from the lower left: above it on the left and below it on the right is room.
    for turn, text, height in uprights:
        side = -1.0 if turn > 0 else 1.0
        at = (turn, side * height * what.most_deg)
        said.append(_Word(f"{text}: {units.deg(abs(turn))}", at, (side, 0.0), _SMALL))
    return said


def _wanted(
    axes: Axes,
    labels: Labels,
    surface: Surface,
    plan: SurfacePlan,
    what: _Range,
    tolerance_deg: float,
) -> list[_Word]:
    low, high = axes.get_xlim()
    said = []
    for word, side, pen in zip(words.directions(surface), (1.0, -1.0), PENS[1:], strict=True):
        way = plan.ways[word]
        color, wanted = pen["color"], side * way.wanted_deg
        axes.axhspan(
            wanted - tolerance_deg, wanted + tolerance_deg, color=color, alpha=0.13, linewidth=0
        )
        axes.axhline(wanted, linewidth=0.6, **pen)
        labels.keep_clear([[low, wanted], [high, wanted]])
        text = f"wanted: {word} {units.deg(way.wanted_deg)}"
        at = (0.0, wanted)
        if way.shaft_deg is None:
            text += ", out of reach"
        else:
            at = (what.sense * way.shaft_deg, wanted)
            text += f"\nservo turns {units.deg(abs(way.shaft_deg))}"
            marker = "^" if side > 0 else "v"
            axes.plot(*at, marker, color=color, markersize=6, zorder=6, gid=f"wanted-{word}")
        said.append(_Word(text, at, (-side, side), {"color": color}))
    return said


def _notes(surface: Surface, plan: SurfacePlan, what: _Range) -> list[str]:
    first, second = words.directions(surface)
    notes = [
        "Thick: within the servo's pulse limits. Thin: beyond them. Dotted: the same curve turned "
        "end for end; where it lies",
        "apart, equal turns of the servo give unequal throws."
        + _bias_words(plan.bias_deg, first, second),
    ]
    locks = [lock for lock in what.locks_deg if math.isfinite(lock)]
    turns = [f"{units.deg(abs(turn))} {_sense(turn * what.sense)}" for turn in what.turns_deg]
    locking = [f"{units.deg(abs(lock))} {_sense(lock * what.sense)}" for lock in locks]
    notes.append(
        f"The linkage locks at {' and '.join(locking)}."
        if locking
        else "The linkage does not lock within a whole turn of the servo."
    )
    if turns:
        notes[-1] += f" The surface turns back at {' and '.join(turns)}."
    return notes


def _sense(shaft_deg: float) -> str:
    return "counter-clockwise" if shaft_deg > 0 else "clockwise"


def _bias_words(bias_deg: float, first: str, second: str) -> str:
    if abs(bias_deg) < EVEN_DEG:
        return " Here they are even."
    more, less = (first, second) if bias_deg > 0 else (second, first)
    return (
        f" At the largest turn that both sides use, {more} goes {units.deg(abs(bias_deg))} "
        f"further than {less}."
    )
