"""Pens and symbols of a wiring drawing, and what is joined to what in it.

Everything is drawn from the same points from which the nets are worked out, dots included: a
drawing cannot show a joint that its nets do not have.
"""

from __future__ import annotations

import io
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.figure import Figure
from matplotlib.patches import Circle, FancyBboxPatch

Point = tuple[float, float]

INK, GREY, PALE = "#1a1a1a", "#5f5f5f", "#f1f1ee"
# Colours that the colour-blind tell apart (M. Okabe and K. Ito, Color Universal Design, 2008;
# values from memory), never alone: each kind of wire has its own width, and words beside it.
PENS: dict[str, dict[str, Any]] = {
    "signal": {"color": "#0072b2", "linewidth": 1.4},
    "plus": {"color": "#d55e00", "linewidth": 2.6},
    "minus": {"color": INK, "linewidth": 2.6},
    "ground": {"color": INK, "linewidth": 1.4},
    "jumper": {"color": "#0072b2", "linewidth": 1.4, "linestyle": (0, (4.0, 2.5))},
}
LETTERS_PT, SMALL_PT, TITLE_PT = 10.0, 9.0, 14.0
_STYLE: Any = {
    "font.family": ["DejaVu Sans", "sans-serif"],  # the first comes with matplotlib
    "font.size": LETTERS_PT,
    "text.hinting": "none",
    "text.parse_math": False,
    "svg.fonttype": "none",  # text stays text
    "svg.hashsalt": "hingeline",  # the same drawing gives the same file
    "path.simplify": False,
}


@contextmanager
def _style() -> Iterator[None]:
    """Draw alike whatever the user's own settings of matplotlib say."""
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_STYLE)
        yield


class Sheet:
    """One drawing, its size and every place on it in inches from the lower left corner.

    Attributes
    ----------
    pins : dict of str to Point
        Where each named pin of a box stands, such as "board GP0" or "servo 1 plus".
    parts : dict of str to tuple of Point
        Both ends of each part with two ends, by its name.
    """

    def __init__(self, width_in: float, height_in: float):
        with _style():
            self.figure = Figure(figsize=(width_in, height_in))
            self._axes = self.figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self._axes.set_xlim(0.0, width_in)
        self._axes.set_ylim(0.0, height_in)
        self._axes.set_axis_off()
        self.pins: dict[str, Point] = {}
        self.parts: dict[str, tuple[Point, Point]] = {}
        self._wires: list[tuple[Point, ...]] = []
        self._grounds: list[Point] = []

    def words(self, at: Point, text: str, size: float = LETTERS_PT, **how: Any) -> None:
        """Write one line, its left end at mid-height of the letters unless told otherwise."""
        with _style():
            self._axes.text(*at, text, **{"size": size, "color": INK, "va": "center", **how})

    def line(self, *points: Point, **pen: Any) -> None:
        """Draw strokes that are no wire."""
        xs, ys = zip(*points, strict=True)
        how = {"color": INK, "linewidth": 1.4, "solid_capstyle": "round", **pen}
        self._axes.plot(xs, ys, **how)

    def box(self, corner: Point, width: float, height: float, **how: Any) -> None:
        """Draw a box from its lower left corner."""
        look = {"facecolor": PALE, "edgecolor": INK, "linewidth": 1.2, "zorder": 3, **how}
        style = "round,pad=0,rounding_size=0.05"
        self._axes.add_patch(FancyBboxPatch(corner, width, height, boxstyle=style, **look))

    def pin(self, name: str, at: Point) -> Point:
        """Name a place where a wire meets a box."""
        self.pins[name] = at
        return at

    def wire(self, kind: str, *points: Point) -> None:
        """Draw a wire; it joins whatever has a point in common with it."""
        self._wires.append(points)
        self.line(*points, zorder=2, **PENS[kind])

    def ground(self, at: Point) -> None:
        """Draw the sign of the common ground, hanging from a point."""
        self._grounds.append(at)
        x, y = at
        for half, drop in ((0.12, 0.0), (0.075, 0.05), (0.03, 0.1)):
            self.line((x - half, y - drop), (x + half, y - drop))

    def block(self, name: str, a: Point, b: Point, text: str = "") -> None:
        """Draw a resistor or fuse: a narrow box between two points, along either axis."""
        self.parts[name] = (a, b)
        (left, right), (low, high) = sorted((a[0], b[0])), sorted((a[1], b[1]))
        if low == high:
            corner, size, turned = (left, low - 0.095), (right - left, 0.19), 0
        else:
            corner, size, turned = (left - 0.085, low), (0.17, high - low), 90
        self.box(corner, *size, facecolor="white")
        if text:
            middle = ((left + right) / 2, (low + high) / 2)
            how = {"ha": "center", "zorder": 4, "rotation": turned}
            self.words(middle, text, SMALL_PT, **how)

    def capacitor(self, name: str, a: Point, b: Point, polar: bool = False) -> None:
        """Draw a capacitor between two points, its plus (where it has one) at the first."""
        self.parts[name] = (a, b)
        (ax, ay), (bx, by) = a, b
        flat = ay == by
        half_gap = 0.05 / (abs(bx - ax) + abs(by - ay))
        for end, part in ((a, 0.5 - half_gap), (b, 0.5 + half_gap)):
            x, y = ax + (bx - ax) * part, ay + (by - ay) * part
            ends = ((x, y - 0.16), (x, y + 0.16)) if flat else ((x - 0.16, y), (x + 0.16, y))
            self.line(*ends, linewidth=2.2)
            self.line(end, (x, y))
        if polar:
            self.words(((ax + bx) / 2 - 0.16, (ay + by) / 2 + 0.17), "+", ha="center")

    def joints(self) -> list[Point]:
        """Return every point at which three or more leads meet."""
        leads: Counter[Point] = Counter()
        for points in self._wires:
            leads.update(points)
            leads.update(points[1:-1])  # a wire that passes through counts twice
        leads.update(end for ends in self.parts.values() for end in ends)
        return sorted(point for point, count in leads.items() if count > 2)

    def nets(self) -> list[set[str]]:
        """Return what is joined by wires: the names of pins, and of parts with "/1" or "/2"."""
        groups: list[set[Point]] = []
        for points in [*self._wires, tuple(self._grounds)]:
            joined = set(points)
            apart = []
            for group in groups:
                if group & joined:
                    joined |= group
                else:
                    apart.append(group)
            groups = [*apart, joined]
        named = list(self.pins.items())
        for name, ends in self.parts.items():
            named += [(f"{name}/{n}", end) for n, end in enumerate(ends, 1)]
        return [{name for name, at in named if at in group} for group in groups if group]

    def save(self, path: Path) -> None:
        """Write the drawing, its dots on it; the same drawing gives the same file."""
        for point in self.joints():
            self._axes.add_patch(Circle(point, 0.045, color=INK, zorder=5))
        made = io.BytesIO()
        meta = {"Date": None, "Creator": "Hingeline"} if path.suffix == ".svg" else {}
        with _style():
            self.figure.savefig(made, format=path.suffix[1:], metadata=meta, dpi=110)
        path.write_bytes(made.getvalue())
