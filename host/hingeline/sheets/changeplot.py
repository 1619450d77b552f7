"""Two calibrations of one servo, one over the other, and how far they lie apart.

Imported only when something is drawn: it imports matplotlib.
"""

from __future__ import annotations

import textwrap
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator, MultipleLocator

from hingeline.linkage.closure import Floats
from hingeline.sheets.labels import Labels
from hingeline.sheets.page import (
    BLUE,
    GREY,
    INK,
    MARGIN_MM,
    PALE,
    SMALL_PT,
    TITLE_PT,
    VERMILION,
    axes_on,
    clean,
    new_page,
    pens_and_letters,
    write,
)
from hingeline.travel.comparing import FALSE_ALARM, Comparison, by_chance_deg
from hingeline.travel.curve import TravelCurve
from hingeline.travel.linearity import independent

_WIDE_MM, _HIGH_MM = 210.0, 148.0  # A5 across
_LEFT_MM, _ACROSS_MM = 24.0, 177.0
_PANELS_MM = ((82.0, 51.0), (24.0, 53.0))
_POINTS = 201
_LEAST_DEG = 0.6  # a panel shows no less than this either way
_LINE_LETTERS = 140
_SMALL: dict[str, Any] = {"size": SMALL_PT}


def change_plot(label: str, old: TravelCurve, new: TravelCurve, found: Comparison) -> Figure:
    """Plot what became of a servo between two calibrations.

    Parameters
    ----------
    label : str
        The servo's.
    old, new : TravelCurve
        Its curves.
    found : Comparison
        Of these two, from `hingeline.travel.comparing.compare`.

    Returns
    -------
    Figure
        One A5 page across. Above, both curves less one straight line, each with its 95 %
        interval; below, their difference, in the band in which it may lie by chance.
    """
    low = max(old.limits_us[0], new.limits_us[0])
    high = min(old.limits_us[1], new.limits_us[1])
    pulses = np.linspace(low, high, _POINTS)
    with pens_and_letters():
        figure = new_page(_WIDE_MM, _HIGH_MM)
        title = f"Servo {clean(label, 40)}: two calibrations"
        write(figure, MARGIN_MM, _HIGH_MM - MARGIN_MM - 3.0, title, TITLE_PT, fontweight="bold")
        said = " ".join(found.words) or "Nothing changed by more than is uncertain."
        lines = textwrap.wrap(clean(said, 3 * _LINE_LETTERS), _LINE_LETTERS)
        for number, line in enumerate(lines, start=1):
            write(figure, MARGIN_MM, 4.0 + 3.6 * (len(lines) - number), line, SMALL_PT)
        panels = [axes_on(figure, _LEFT_MM, base, _ACROSS_MM, tall) for base, tall in _PANELS_MM]
        for axes in panels:
            _rulers(axes, low, high)
        panels[0].tick_params(labelbottom=False)
        panels[1].set_xlabel("pulse, us", color=GREY, labelpad=1.5, size=SMALL_PT)
        _both(figure, panels[0], old, new, pulses)
        _apart(figure, panels[1], old, new, pulses, found)
    return figure


def _both(figure: Figure, axes: Axes, old: TravelCurve, new: TravelCurve, pulses: Floats) -> None:
    line = independent(pulses, old.angle_deg(pulses))
    straight = line.intercept + line.slope * pulses
    drawn = []
    for curve, name, color, dashes in (
        (old, "then", VERMILION, (6.0, 1.5, 1.0, 1.5)),
        (new, "now", BLUE, (5.0, 2.0)),
    ):
        least, greatest = (edge - straight for edge in curve.interval_deg(pulses))
        away = curve.angle_deg(pulses) - straight
        axes.fill_between(
            pulses, least, greatest, facecolor=color, alpha=0.15, linewidth=0.0, zorder=2
        )
        axes.plot(pulses, away, color=color, dashes=dashes, linewidth=1.2, zorder=4, gid=name)
        drawn.append((name, color, away, least, greatest))
    _upright(axes, np.concatenate([edge for one in drawn for edge in one[3:]]))
    axes.set_ylabel("from one straight\nline, deg", color=GREY, labelpad=3.0, size=SMALL_PT)
    labels = Labels(figure, axes)
    for _, _, away, _, _ in drawn:
        labels.keep_clear(np.stack([pulses, away], axis=1))
    at = round(0.8 * _POINTS)
    above = 1.0 if drawn[0][2][at] > drawn[1][2][at] else -1.0
    for (name, color, away, _, _), side in zip(drawn, (above, -above), strict=True):
        labels.put(name, (float(pulses[at]), float(away[at])), (0.0, side), color=color, **_SMALL)


def _apart(
    figure: Figure,
    axes: Axes,
    old: TravelCurve,
    new: TravelCurve,
    pulses: Floats,
    found: Comparison,
) -> None:
    # The very band that the comparison judges by.
    confidence = 1.0 - FALSE_ALARM / (len(found.changes) + 1)
    chance = by_chance_deg(old, new, pulses, confidence)
    apart = new.angle_deg(pulses) - old.angle_deg(pulses)
    axes.fill_between(
        pulses, -chance, chance, facecolor=GREY, alpha=0.18, linewidth=0.0, zorder=0, gid="chance"
    )
    axes.plot(pulses, apart, color=INK, linewidth=1.2, zorder=4, gid="difference")
    _upright(axes, np.concatenate([apart, chance, -chance]))
    axes.set_ylabel("now less\nthen, deg", color=GREY, labelpad=3.0, size=SMALL_PT)
    labels = Labels(figure, axes)
    labels.keep_clear(np.stack([pulses, apart], axis=1))
    at = (found.at_us, found.curve.difference)
    axes.plot(*at, "o", color=INK, markersize=4.5, zorder=6, gid="worst")
    beyond = "beyond chance" if found.curve.beyond else "may be chance"
    side = 1.0 if at[1] >= 0 else -1.0
    labels.put(f"{at[1]:+.1f} deg at {at[0]:.0f} us: {beyond}", at, (0.0, side), **_SMALL)
    edge = round(0.2 * _POINTS)
    band = (float(pulses[edge]), -side * float(chance[edge]))
    labels.put("grey: may be chance", band, (0.0, -side), color=GREY, **_SMALL)


def _rulers(axes: Axes, low: float, high: float) -> None:
    air = 0.035 * (high - low)
    axes.set_xlim(low - air, high + air)
    axes.xaxis.set_major_locator(MultipleLocator(100.0 if high - low < 1500 else 200.0))
    axes.tick_params(length=2.0, pad=1.5, labelsize=SMALL_PT)
    axes.grid(color=PALE, linewidth=0.25)
    axes.set_axisbelow(True)
    axes.axhline(0.0, color=GREY, linewidth=0.5, zorder=1)


def _upright(axes: Axes, values: Floats) -> None:
    """Scale a panel to what it shows; zero is among it."""
    low, high = min(float(values.min()), 0.0), max(float(values.max()), 0.0)
    spare = max(_LEAST_DEG - (high - low) / 2.0, 0.15 * (high - low))
    axes.set_ylim(low - spare, high + spare)
    axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:+g}" if value else "0"))
