"""A servo's travel curve with its readings, so that a look tells whether it is good.

Three panels over the same pulses: the whole curve; how far it departs from a straight
line, enlarged until its up/down difference and its 95 % interval can be seen; and what
each reading differs from the curve. Imported only when something is drawn.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator, MultipleLocator
from numpy.typing import NDArray

from hingeline import units
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
from hingeline.travel.curve import TravelCurve
from hingeline.travel.linearity import independent
from hingeline.travel.reading import Approach
from hingeline.units import rounded_up

_WIDE_MM, _HIGH_MM = 210.0, 148.0  # A5 across
_LEFT_MM, _ACROSS_MM = 24.0, 177.0
#: Bottom and height of the three panels, from the top one down.
_PANELS_MM = ((74.0, 59.0), (35.5, 34.5), (14.5, 17.5))
_POINTS = 401
_LEAST_DEG = 0.6  # the enlarged panels show no less than this either way
#: Of readings within this many standard deviations of the curve 95 in 100 are found.
_USUAL = 2.0
_MARK_US = 8.0  # words keep so far from a mark
#: What lies beyond a panel is shown at this part of its height.
_EDGE = 0.86
_SMALL: dict[str, Any] = {"size": SMALL_PT}
#: Colour, dashes and mark of each approach; the marks point the way the pulse went.
_RISING: dict[str, Any] = {"color": BLUE, "marker": "^", "dashes": (5.0, 2.0)}
_FALLING: dict[str, Any] = {"color": VERMILION, "marker": "v", "dashes": (6.0, 1.5, 1.0, 1.5)}
_PENS: dict[Approach, dict[str, Any]] = {"rising": _RISING, "falling": _FALLING}


@dataclass(frozen=True)
class _Seen:
    """What the panels share.

    ``pulses_us`` runs over what was measured; ``readings`` are rows of pulse, angle, whether
    it rose, whether it is a suspect.
    """

    curve: TravelCurve
    pulses_us: Floats
    slope: float
    intercept: float
    readings: Floats

    def straight(self, pulse_us: Floats) -> Floats:
        return self.intercept + self.slope * pulse_us

    def sides(self) -> tuple[Approach, ...]:
        """Approaches that the curve tells apart."""
        return () if self.curve.half_gap_deg is None else ("rising", "falling")

    def expected_deg(self) -> Floats:
        """Where the curve says that each reading should be."""
        pulses, rising = self.readings[:, 0], self.readings[:, 2] > 0
        if not self.sides():
            return self.curve.angle_deg(pulses)
        below, above = (self.curve.angle_deg(pulses, side) for side in self.sides())
        return np.where(rising, below, above)

    def chosen(self, approach: Approach) -> NDArray[np.bool_]:
        """Mark the readings of an approach that had weight."""
        rising = self.readings[:, 2] > 0
        return np.asarray((rising == (approach == "rising")) & ~self.suspect)

    @property
    def suspect(self) -> NDArray[np.bool_]:
        return np.asarray(self.readings[:, 3] > 0)


def curve_plot(label: str, curve: TravelCurve) -> Figure:
    """Plot a travel curve, its readings and what they tell of it.

    Parameters
    ----------
    label : str
        The servo's.
    curve : TravelCurve

    Returns
    -------
    Figure
        One A5 page across.
    """
    seen = _seen(curve)
    with pens_and_letters():
        figure = new_page(_WIDE_MM, _HIGH_MM)
        title = f"Travel curve of servo {clean(label, 40)}"
        write(figure, MARGIN_MM, _HIGH_MM - MARGIN_MM - 3.0, title, TITLE_PT, fontweight="bold")
        write(figure, MARGIN_MM, 3.5, _note(curve), SMALL_PT, color=GREY)
        panels = [axes_on(figure, _LEFT_MM, low, _ACROSS_MM, high) for low, high in _PANELS_MM]
        _pulse_rulers(panels, curve)
        _whole(figure, panels[0], seen)
        _departure(figure, panels[1], seen)
        _residuals(panels[2], seen)
    return figure


def _seen(curve: TravelCurve) -> _Seen:
    low, high = curve.limits_us
    suspects = {suspect.index for suspect in curve.suspects}
    readings = np.asarray(
        [
            (one.pulse_us, one.angle_deg, one.approach == "rising", index in suspects)
            for index, one in enumerate(curve.readings)
        ],
        dtype=np.float64,
    )
    inside = np.linspace(low, high, 61)
    line = independent(inside, curve.angle_deg(inside))
    pulses = np.union1d(np.linspace(*curve.range_us, _POINTS), [low, high])
    return _Seen(curve, pulses, line.slope, line.intercept, readings)


def _pulse_rulers(panels: list[Axes], curve: TravelCurve) -> None:
    low, high = curve.range_us
    air = 0.035 * (high - low)
    for axes in panels:
        axes.set_xlim(low - air, high + air)
        axes.xaxis.set_major_locator(MultipleLocator(100.0 if high - low < 1500 else 200.0))
        axes.tick_params(length=2.0, pad=1.5, labelsize=SMALL_PT, labelbottom=False)
        axes.grid(color=PALE, linewidth=0.25)
        axes.set_axisbelow(True)
        axes.axhline(0.0, color=GREY, linewidth=0.5, zorder=1)
        if low <= curve.nominal_centre_us <= high:
            axes.axvline(curve.nominal_centre_us, color=GREY, linewidth=0.5, zorder=1)
        for limit, stop in zip(curve.limits_us, curve.stops, strict=True):
            if stop is not None:
                axes.axvspan(
                    limit,
                    low - air if limit < (low + high) / 2.0 else high + air,
                    facecolor="none",
                    edgecolor=PALE,
                    hatch="////",
                    linewidth=0.0,
                    zorder=0,
                )
    panels[-1].tick_params(labelbottom=True)
    panels[-1].set_xlabel("pulse, us", color=GREY, labelpad=1.5, size=SMALL_PT)


def _whole(figure: Figure, axes: Axes, seen: _Seen) -> None:
    """Draw the whole curve, its centre and its ends."""
    curve = seen.curve
    angle = curve.angle_deg(seen.pulses_us)
    kept = seen.readings[~seen.suspect, 1]
    most = 1.12 * max(np.abs(angle).max(), np.abs(kept).max())
    axes.set_ylim(-most, most)
    axes.yaxis.set_major_locator(MaxNLocator(8, steps=[1, 1.5, 2, 3, 5, 10]))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{abs(value):g}"))
    axes.set_ylabel("← cw   arm, deg   ccw →", color=GREY, labelpad=3.0, size=SMALL_PT)
    labels = Labels(figure, axes)
    axes.plot(seen.pulses_us, angle, color=INK, linewidth=1.2, zorder=4, gid="curve")
    labels.keep_clear(np.stack([seen.pulses_us, angle], axis=1))
    _marks(axes, seen, seen.readings[:, 1])
    rising = curve.rate_deg_per_us > 0
    _figures(axes, curve, left=rising)
    if curve.centre_us is not None:
        at = (curve.centre_us, 0.0)
        axes.plot(*at, "o", color=INK, markersize=4.5, zorder=6, gid="centre")
        labels.put(
            f"centre {curve.centre_us:.0f} us", at, (1.0, -1.0 if rising else 1.0), **_SMALL
        )
    for end, stop in enumerate(curve.stops):
        if stop is not None:
            text = f"stands on a stop at {abs(stop.angle_deg):.1f} deg"
            inward = (1.0 if end == 0 else -1.0, 1.0 if (end == 0) == rising else -1.0)
            labels.put(text, (stop.pulse_us, stop.angle_deg), inward, **_SMALL)
    for place, beyond, suspect in _suspect_places(seen, seen.readings[:, 1], most):
        _cross(axes, place, beyond)
        labels.put(suspect, place, (1.0, -0.5 if place[1] > 0 else 0.5), **_SMALL)


def _departure(figure: Figure, axes: Axes, seen: _Seen) -> None:
    """Draw what the curve has beyond a straight line, enlarged, where the arm moves freely."""
    curve = seen.curve
    low, high = curve.limits_us
    pulses = seen.pulses_us[(seen.pulses_us >= low) & (seen.pulses_us <= high)]
    straight = seen.straight(pulses)
    least, greatest = (edge - straight for edge in curve.interval_deg(pulses))
    read = seen.readings[:, 1] - seen.straight(seen.readings[:, 0])
    free = (seen.readings[:, 0] >= low) & (seen.readings[:, 0] <= high)
    kept = read[free & ~seen.suspect]
    most = 1.2 * max(_LEAST_DEG, *(float(np.abs(part).max()) for part in (least, greatest, kept)))
    _small_ruler(axes, most, "from a straight\nline, deg")
    labels = Labels(figure, axes)
    axes.fill_between(
        pulses, least, greatest, facecolor=INK, alpha=0.14, linewidth=0.0, zorder=2, gid="interval"
    )
    mean = curve.angle_deg(pulses) - straight
    axes.plot(pulses, mean, color=INK, linewidth=1.2, zorder=4, gid="departure")
    labels.keep_clear(np.stack([pulses, mean], axis=1))
    sides = [(side, curve.angle_deg(pulses, side) - straight) for side in seen.sides()]
    for side, away in sides:
        pen = _PENS[side]
        axes.plot(pulses, away, color=pen["color"], dashes=pen["dashes"], linewidth=0.8, zorder=3)
        labels.keep_clear(np.stack([pulses, away], axis=1))
    _marks(axes, seen, np.where(free, read, np.nan))
    for pulse, away in zip(seen.readings[free, 0], np.clip(read[free], -most, most), strict=True):
        labels.keep_clear([[pulse - _MARK_US, away], [pulse + _MARK_US, away]])
    if curve.linearity_deg is not None:
        for edge in (-curve.linearity_deg, curve.linearity_deg):
            axes.axhline(edge, color=GREY, linewidth=0.5, linestyle=(0, (1, 2)), zorder=1)
    at = int(np.searchsorted(pulses, low + 0.8 * (high - low)))
    for side, away in sides:
        above = 1.0 if away[at] > mean[at] else -1.0
        place = (float(pulses[at]), float(away[at]))
        labels.put(f"{side} pulse", place, (0.0, above), color=_PENS[side]["color"], **_SMALL)
    for place, beyond, _ in _suspect_places(seen, read, most):
        _cross(axes, place, beyond)


def _residuals(axes: Axes, seen: _Seen) -> None:
    """Draw what each reading differs from the curve of its own direction."""
    curve = seen.curve
    off = seen.readings[:, 1] - seen.expected_deg()
    usual = _USUAL * curve.residual_sd_deg
    kept = np.abs(off[~seen.suspect])
    most = 1.2 * max(_LEAST_DEG / 2.0, 1.2 * usual, float(kept.max()))
    _small_ruler(axes, most, "reading less\ncurve, deg")
    axes.axhspan(-usual, usual, facecolor=GREY, alpha=0.14, linewidth=0.0, zorder=0, gid="usual")
    _marks(axes, seen, off)
    for place, beyond, _ in _suspect_places(seen, off, most):
        _cross(axes, place, beyond)


def _small_ruler(axes: Axes, most: float, name: str) -> None:
    axes.set_ylim(-most, most)
    axes.yaxis.set_major_locator(MaxNLocator(4, steps=[1, 2, 5, 10]))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:+g}" if value else "0"))
    axes.set_ylabel(name, color=GREY, labelpad=3.0, size=SMALL_PT)


def _marks(axes: Axes, seen: _Seen, values: Floats) -> None:
    """Mark the readings that had weight, by the way they were reached."""
    for side, pen in _PENS.items():
        ours = seen.chosen(side)
        axes.plot(
            seen.readings[ours, 0],
            values[ours],
            linestyle="none",
            marker=pen["marker"],
            markersize=3.4,
            markerfacecolor="white",
            markeredgecolor=pen["color"],
            markeredgewidth=0.7,
            zorder=5,
            gid=f"readings-{side}",
        )


def _suspect_places(
    seen: _Seen, values: Floats, most: float
) -> Iterator[tuple[tuple[float, float], bool, str]]:
    """Give where each suspect is shown, whether it lies beyond the edge, and what it says."""
    for suspect in seen.curve.suspects:
        value = float(values[suspect.index])
        shown = float(np.clip(value, -_EDGE * most, _EDGE * most))
        likely = "" if suspect.likely is None else f", {suspect.likely:g}?"
        beyond = abs(value) > most
        off = f", {abs(suspect.residual_deg):.0f} deg off" if beyond else ""
        said = f'suspect: "{clean(suspect.as_typed, 20)}"{off}{likely}'
        yield (suspect.pulse_us, shown), beyond, said


def _cross(axes: Axes, place: tuple[float, float], beyond: bool) -> None:
    # An arrow that ends at the edge: what it stands for lies farther out.
    mark = ("$\\uparrow$" if place[1] > 0 else "$\\downarrow$") if beyond else "x"
    pen: dict[str, Any] = (
        {"markersize": 9.0, "markeredgewidth": 0.3}
        if beyond
        else {"markersize": 5.5, "markeredgewidth": 1.3}
    )
    axes.plot(*place, marker=mark, color=INK, zorder=7, gid="suspect", linestyle="none", **pen)


def _figures(axes: Axes, curve: TravelCurve, *, left: bool) -> None:
    """Write the figures into the corner that the curve leaves free."""
    k = curve.coverage_factor(0.95)
    lines = []
    if curve.centre_us is not None and curve.centre_us_u is not None:
        lines.append(f"centre {curve.centre_us:.0f} us ± {rounded_up(k * curve.centre_us_u, 0)}")
    if curve.centre_error_deg is not None and curve.centre_error_deg_u is not None:
        off = units.deg(abs(curve.centre_error_deg))
        way = "ccw" if curve.centre_error_deg > 0 else "cw"
        where = "at neutral" if off == units.deg(0.0) else f"{off} {way} of neutral"
        half = rounded_up(k * curve.centre_error_deg_u, 1)
        lines.append(f"at {curve.nominal_centre_us:.0f} us {where} ± {half}")
    half = rounded_up(k * curve.rate_deg_per_us_u, 4)
    lines.append(f"rate {abs(curve.rate_deg_per_us):.4f} deg/us ± {half}")
    if curve.hysteresis_deg is not None and curve.hysteresis_deg_u is not None:
        lines.append(
            f"up/down difference {units.deg(curve.hysteresis_deg)} "
            f"± {rounded_up(k * curve.hysteresis_deg_u, 1)}"
        )
    if curve.linearity_deg is not None:
        lines.append(f"linearity {curve.linearity_deg:.1f} deg, independent (dotted)")
    lines.append(f"scatter {curve.residual_sd_deg:.2f} deg standard deviation")
    axes.text(
        0.02 if left else 0.98,
        0.95,
        "\n".join(lines),
        transform=axes.transAxes,
        ha="left" if left else "right",
        va="top",
        size=SMALL_PT,
        color=INK,
        linespacing=1.45,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.5},
        zorder=8,
    )


def _note(curve: TravelCurve) -> str:
    crosses = ", × had no weight (arrow: beyond the edge)" if curve.suspects else ""
    return (
        f"{len(curve.readings)} readings: ▲ with rising pulse, ▼ with falling{crosses}. Grey: "
        "95 % interval of the mean curve; lowest panel: two standard deviations of a reading."
    )
