"""Words beside the things they name, without lying over each other or over lines.

Imported only when something is drawn: it imports matplotlib.
"""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.transforms import IdentityTransform
from numpy.typing import ArrayLike

from hingeline.linkage.closure import Floats
from hingeline.sheets.page import INCH_MM, INK, LETTERS_PT, measured

_DISTANCES_MM = (1.5, 2.2, 3.5, 5.5, 8.0, 11.0, 15.0, 20.0, 26.0)
_TURNS_DEG = (0, 20, -20, 40, -40, 65, -65, 90, -90, 120, -120, 150, -150, 180)
_STEP_MM = 0.6  # lines are kept clear of at points this far apart
_AIR_MM = 0.5
_LEADER_MM = 3.0  # a word further away than this is tied to its thing by a thin line
# What a place costs, in mm of distance that would be as bad.
_OVER_WORDS, _OUTSIDE, _PER_POINT, _PER_TURN_DEG = 1000.0, 1000.0, 3.0, 0.04


class Labels:
    """Places words on one axes; its limits must be final.

    Parameters
    ----------
    figure : Figure
        That new_page made.
    axes : Axes
        On it.
    """

    def __init__(self, figure: Figure, axes: Axes) -> None:
        self._axes, self._figure = axes, figure
        self._mm = INCH_MM / figure.dpi
        box = axes.get_window_extent()
        self._frame = np.array([[box.x0, box.y0], [box.x1, box.y1]]) * self._mm
        self._lines = np.empty((0, 2))
        self._boxes: list[Floats] = []

    def keep_clear(self, points: ArrayLike) -> None:
        """Keep words off a line through points of shape (n, 2), in the axes' own units."""
        self._keep_clear_mm(self._on_page(points))

    def put(
        self,
        text: str,
        at: ArrayLike,
        towards: tuple[float, float],
        *,
        straight: bool = False,
        least_mm: float = 0.0,
        size: float = LETTERS_PT,
        **how: Any,
    ) -> None:
        """Write a word beside a place.

        Parameters
        ----------
        text : str
        at : array_like, shape (2,)
            What it names, in the axes' own units.
        towards : tuple of float
            Where it would best stand as seen from there, as a direction on the page.
        straight : bool
            In that direction only, on a white ground, rather than where most room is.
        least_mm : float
            Not nearer than this, on the page.
        size : float
            Height of the letters in points.
        """
        anchor = self._on_page(at)
        if straight:
            how["bbox"] = {"facecolor": "white", "edgecolor": "none", "pad": 0.4}
        word = self._figure.text(
            0, 0, text, fontsize=size, transform=IdentityTransform(),
            ha="center", va="center", **{"color": INK, **how},
        )  # fmt: skip
        half = np.array(measured(self._figure, word)) / 2.0
        middle, distance = self._best(anchor, half, towards, least_mm, straight)
        # Positions stay true at any dpi only when they are given in parts of the figure.
        word.set_transform(self._figure.transFigure)
        word.set_position(tuple(middle / (self._figure.get_size_inches() * INCH_MM)))
        self._boxes.append(np.array([middle - half, middle + half]))
        if distance > _LEADER_MM:
            self._leader(anchor, middle, half)

    def _best(
        self,
        anchor: Floats,
        half: Floats,
        towards: tuple[float, float],
        least_mm: float,
        straight: bool,
    ) -> tuple[Floats, float]:
        wanted = math.degrees(math.atan2(towards[1], towards[0]))
        best: tuple[float, Floats, float] | None = None
        for distance in (least_mm + more for more in _DISTANCES_MM):
            for turn in _TURNS_DEG[:1] if straight else _TURNS_DEG:
                angle = math.radians(wanted + turn)
                way = np.array([math.cos(angle), math.sin(angle)])
                middle = anchor + way * distance + half * np.clip(1.4 * way, -1.0, 1.0)
                cost = distance + _PER_TURN_DEG * abs(turn) + self._cost(middle, half)
                if best is None or cost < best[0]:
                    best = cost, middle, distance
        assert best is not None  # noqa: S101  (there are always candidates)
        return best[1], best[2]

    def _cost(self, middle: Floats, half: Floats) -> float:
        low, high = middle - half - _AIR_MM, middle + half + _AIR_MM
        cost = 0.0
        if (low < self._frame[0]).any() or (high > self._frame[1]).any():
            cost += _OUTSIDE
        for box in self._boxes:
            shared = np.minimum(high, box[1]) - np.maximum(low, box[0])
            if (shared > 0.0).all():
                cost += _OVER_WORDS
        inside = (self._lines > low).all(axis=1) & (self._lines < high).all(axis=1)
        return cost + _PER_POINT * min(int(inside.sum()), 40)

    def _leader(self, anchor: Floats, middle: Floats, half: Floats) -> None:
        way = anchor - middle
        with np.errstate(divide="ignore"):
            part = min(1.0, float(np.min((half + _AIR_MM) / np.abs(way))))
        ends = np.array([middle + part * way, anchor])
        back = self._axes.transData.inverted().transform(ends / self._mm)
        self._axes.plot(*back.T, color=INK, linewidth=0.3, zorder=5)
        self._keep_clear_mm(ends)

    def _on_page(self, points: ArrayLike) -> Floats:
        page: Floats = self._axes.transData.transform(np.asarray(points)) * self._mm
        return page

    def _keep_clear_mm(self, points: Floats) -> None:
        spread = [points[:1]]
        for start, end in itertools.pairwise(points):
            count = max(1, math.ceil(float(np.linalg.norm(end - start)) / _STEP_MM))
            parts = np.linspace(0.0, 1.0, min(count, 2000) + 1)[1:, np.newaxis]
            spread.append(start + parts * (end - start))
        self._lines = np.concatenate([self._lines, *spread])
