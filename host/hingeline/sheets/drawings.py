"""A page with a surface's linkage to scale: its views, rulers, key and caption.

Imported only when something is drawn: it imports matplotlib.
"""

from __future__ import annotations

import math
import textwrap
from dataclasses import dataclass, replace

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from hingeline import units
from hingeline.linkage.closure import Floats, Linkage
from hingeline.linkage.plan import SurfacePlan, lean_in_words
from hingeline.model.schema import Servo, Surface
from hingeline.sheets.page import (
    GREY,
    INCH_MM,
    LETTERS_PT,
    MARGIN_MM,
    PALE,
    PENS,
    POINT_MM,
    SMALL_PT,
    TITLE_PT,
    axes_on,
    clean,
    new_page,
    pens_and_letters,
    scale_that_fits,
    scale_words,
    write,
)
from hingeline.sheets.panel import Panel
from hingeline.sheets.parts import PanelDrawing
from hingeline.sheets.views import SAME, Scene, View, scene

_WIDE_MM, _HIGH_MM = 297.0, 210.0  # A4 across, the most that a page takes
_HEAD_MM = 17.0  # title and key
_LINE_MM = 1.35 * LETTERS_PT * POINT_MM
_LINE_LETTERS = 200
_RULER_MM = (11.0, 9.0)  # left of and below a panel
_TITLE_MM = 5.0  # above a panel
_AIR_MM = (12.0, 21.0, 7.0)  # for words: left, right, and both above and below
_ENOUGH = 1.5  # at this scale and above, holes are plain without a view of their own
_TICKS_APART_MM = 9.0
_BAR_MM = 50.0


@dataclass(frozen=True)
class _Place:
    """A panel, where it stands on the page and how large it is drawn."""

    panel: Panel
    left: float
    bottom: float
    width: float
    height: float
    scale: float


def linkage_figure(surface: Surface, servo: Servo, linkage: Linkage, plan: SurfacePlan) -> Figure:
    """Draw a surface's linkage to scale, neutral and at its throws.

    Parameters
    ----------
    surface, servo : Surface, Servo
        As in the model file, with both holes chosen.
    linkage : Linkage
        Of that surface.
    plan : SurfacePlan
        Of that surface; its shaft angles are the ones that are drawn.

    Returns
    -------
    Figure
        As wide as an A4 page across and no higher. Printed at 100 % its scales are true.

    Raises
    ------
    LinkageError
        When the linkage does not close with the servo at its centre.
    """
    turns = {word: way.shaft_deg for word, way in plan.ways.items()}
    what = scene(surface, servo, linkage, turns)
    lines = _caption(surface, servo, plan, what)
    hole_mm = surface.rod.diameter_mm
    with pens_and_letters():
        foot_mm = MARGIN_MM + len(lines) * _LINE_MM + 1.0
        high_mm, places = _places(what, foot_mm)
        figure = new_page(_WIDE_MM, high_mm)
        for place in places:
            axes = _ruled(figure, place, what)
            PanelDrawing(figure, axes, place.panel, what, place.scale, hole_mm).draw()
        _head(figure, surface, what, plan)
        for number, line in enumerate(reversed(lines)):
            write(figure, MARGIN_MM, MARGIN_MM + number * _LINE_MM, line)
    return figure


# -- which views, how large, where -------------------------------------------------------


def _places(what: Scene, foot_mm: float) -> tuple[float, list[_Place]]:
    """Share the page out: the whole linkage, and both ends larger where that is too small.

    Returns the height that the page needs, in mm, and the places.
    """
    width, height = _WIDE_MM - 2 * MARGIN_MM, _HIGH_MM - MARGIN_MM - _HEAD_MM - foot_mm
    whole = _whole(what, fine=True)
    rows = _rows(whole, what, width, height)
    if rows[0][0].scale < _ENOUGH or not any(panel.faces(what.axis) for panel in whole):
        ends = _ends(what)
        rows = _rows(_whole(what, fine=False), what, width, 0.55 * height)
        left = height - sum(_height(row) for row in rows)
        rows.append(_row(ends, what, _scale_of_row(ends, what, width, left), width))
    needed = sum(_height(row) for row in rows)
    places, top = [], foot_mm + needed
    for row in rows:
        top -= _height(row)
        places += [replace(place, bottom=top + _RULER_MM[1]) for place in row]
    return foot_mm + needed + _HEAD_MM + MARGIN_MM, places


def _whole(what: Scene, *, fine: bool) -> list[Panel]:
    """Return the views that show the linkage from end to end."""
    views = [("hinge", what.along_hinge), *([] if what.planar else [("across", what.across)])]
    return [
        Panel(name, _title(view, what), view, np.zeros(3), "hinge line", fine=fine)
        for name, view in views
    ]


def _ends(what: Scene) -> list[Panel]:
    """Return a view of each end in which its circle is round."""
    view = what.along_hinge if what.planar else what.along_spindle
    title, hinge = "Servo end" if what.planar else f"Servo end, {view.seen}", np.zeros(3)
    return [
        Panel("servo", title, view, what.spindle_mm, "spindle", horn=False),
        Panel("horn", "Horn end", what.along_hinge, hinge, "hinge line", servo=False),
    ]


def _title(view: View, what: Scene) -> str:
    towards = float(view.towards_eye @ what.axis)
    title = f"{view.name}, {view.seen}"
    if abs(towards) > SAME:
        title += f"; the spindle points {'at you' if towards > 0 else 'away from you'}"
    return title


def _size(panel: Panel, what: Scene) -> Floats:
    low, high = panel.extent_mm(what)
    return high - low


def _height(row: list[_Place]) -> float:
    """Return the height of a row on the page with all that belongs to it, in mm."""
    return row[0].height + _RULER_MM[1] + _TITLE_MM


def _rows(panels: list[Panel], what: Scene, width: float, height: float) -> list[list[_Place]]:
    """Put panels below each other or, where they come out larger, side by side."""
    stacked = _scale_of_stack(panels, what, width, height)
    abreast = _scale_of_row(panels, what, width, height)
    if abreast > stacked:
        return [_row(panels, what, abreast, width)]
    return [_row([panel], what, stacked, width) for panel in panels]


def _scale_of_stack(panels: list[Panel], what: Scene, width: float, height: float) -> float:
    sizes = np.array([_size(panel, what) for panel in panels])
    spent = len(panels) * (2 * _AIR_MM[2] + _RULER_MM[1] + _TITLE_MM)
    room = (width - _RULER_MM[0] - _AIR_MM[0] - _AIR_MM[1], height - spent)
    return scale_that_fits(float(sizes[:, 0].max()), float(sizes[:, 1].sum()), room)


def _scale_of_row(panels: list[Panel], what: Scene, width: float, height: float) -> float:
    sizes = np.array([_size(panel, what) for panel in panels])
    spent = len(panels) * (_RULER_MM[0] + _AIR_MM[0] + _AIR_MM[1])
    room = (width - spent, height - 2 * _AIR_MM[2] - _RULER_MM[1] - _TITLE_MM)
    return scale_that_fits(float(sizes[:, 0].sum()), float(sizes[:, 1].max()), room)


def _row(panels: list[Panel], what: Scene, scale: float, width: float) -> list[_Place]:
    """Put panels side by side and share the width by need; the bottom is not yet known."""
    sizes = scale * np.array([_size(panel, what) for panel in panels])
    needs = sizes[:, 0] + _AIR_MM[0] + _AIR_MM[1]
    spare = (width - len(panels) * _RULER_MM[0] - float(needs.sum())) / len(panels)
    height = float(sizes[:, 1].max()) + 2 * _AIR_MM[2]
    places, left = [], MARGIN_MM
    for panel, need in zip(panels, needs, strict=True):
        left += _RULER_MM[0]
        places.append(_Place(panel, left, 0.0, float(need) + spare, height, scale))
        left += float(need) + spare
    return places


# -- what stands round the views ---------------------------------------------------------


def _ruled(figure: Figure, place: _Place, what: Scene) -> Axes:
    panel, scale = place.panel, place.scale
    axes = axes_on(figure, place.left, place.bottom, place.width, place.height)
    low, high = panel.extent_mm(what)
    middle, half = (low + high) / 2.0, np.array([place.width, place.height]) / (2.0 * scale)
    middle[0] += (_AIR_MM[1] - _AIR_MM[0]) / (2.0 * scale)
    axes.set_xlim(middle[0] - half[0], middle[0] + half[0])
    axes.set_ylim(middle[1] - half[1], middle[1] + half[1])
    step = _tick_step(scale)
    for axis, (low_mm, high_mm), (more, less) in (
        (axes.xaxis, axes.get_xlim(), panel.view.right_words),
        (axes.yaxis, axes.get_ylim(), panel.view.up_words),
    ):
        ticks = np.arange(math.ceil(low_mm / step), math.floor(high_mm / step) + 1) * step
        axis.set_ticks(ticks, [f"{abs(tick):g}" for tick in ticks])
        text = f"mm from the {panel.origin}"
        if more and axis is axes.xaxis:
            text = f"← {less}   {text}   {more} →"
        elif more:
            text = f"mm   {more} →"
        axis.set_label_text(text, fontsize=SMALL_PT, color=GREY)
        axis.labelpad = 2.5
    axes.tick_params(length=2.0, pad=1.5, labelsize=SMALL_PT - 0.5)
    axes.grid(color=PALE, linewidth=0.25)
    axes.set_axisbelow(True)
    text = f"{panel.title}   ({scale_words(scale)})"
    write(figure, place.left, place.bottom + place.height + 1.2, text, fontweight="bold")
    return axes


def _tick_step(scale: float) -> float:
    steps = (step * 10.0**power for power in range(-3, 7) for step in (1.0, 2.0, 5.0))
    return next(step for step in steps if step * scale >= _TICKS_APART_MM)


def _head(figure: Figure, surface: Surface, what: Scene, plan: SurfacePlan) -> None:
    top = float(figure.get_size_inches()[1]) * INCH_MM - MARGIN_MM
    title = f"{clean(surface.name)}: linkage (servo {clean(surface.servo, 20)})"
    write(figure, MARGIN_MM, top - 4.0, title, TITLE_PT, fontweight="bold")
    left = MARGIN_MM
    for pose in what.poses:
        pen = PENS[pose.order]
        _stroke(figure, left, top - 9.2, 11.0, linewidth=1.1, **pen)
        text = pose.label
        if pose.word != "neutral":
            turn = math.degrees(pose.shaft_rad)
            sense = "counter-clockwise" if turn > 0 else "clockwise"
            text += f": servo turns {units.deg(abs(turn))} {sense}, looking at the arm"
        left += 18.0 + write(figure, left + 13.0, top - 10.0, text, color=pen["color"])
    for word in what.missing:
        text = f"{word} {units.deg(plan.ways[word].wanted_deg)}: out of reach, not drawn"
        left += 5.0 + write(figure, left, top - 10.0, text)
    right = _WIDE_MM - MARGIN_MM
    _stroke(figure, right - _BAR_MM, top - 2.0, _BAR_MM, linewidth=1.5, color=GREY, gid="bar")
    text = f"{_BAR_MM:g} mm on paper when printed at 100 %"
    write(figure, right, top - 5.6, text, SMALL_PT, color=GREY, ha="right")


def _stroke(figure: Figure, left: float, bottom: float, length: float, **how: object) -> None:
    across, up = (size * INCH_MM for size in figure.get_size_inches())
    line = Line2D([left / across, (left + length) / across], [bottom / up] * 2, **how)  # type: ignore[arg-type]
    line.set_solid_capstyle("butt")
    figure.add_artist(line)


def _caption(surface: Surface, servo: Servo, plan: SurfacePlan, what: Scene) -> list[str]:
    back = what.set_back_mm
    set_back = ""
    if abs(back) >= 0.05:
        set_back = f", {units.mm(abs(back))} {'aft' if back > 0 else 'ahead'} of it"
    text = [
        f"Arm hole {surface.arm.hole} ({units.mm(plan.arm_mm)} from the spindle), "
        f"{lean_in_words(surface, servo)}. Horn hole {surface.horn.hole} "
        f"({units.mm(plan.horn_mm)} from the hinge line{set_back}), horn on the "
        f"{surface.horn.side}. Rod {units.mm(plan.rod_mm)} from hole to hole.",
        *(f"WARNING: {warning}" for warning in plan.warnings),
        "Drawn to scale, mm: spindle, holes, rod, hinge line and chord. The outlines of arm, "
        "horn, section and servo are suggestions; filled holes carry the rod.",
    ]
    return [line for part in text for line in textwrap.wrap(part, _LINE_LETTERS)]
