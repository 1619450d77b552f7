"""The parts of a linkage drawn on one panel: arm, horn, rod, surface, servo, and their words.

Imported only when something is drawn: it imports matplotlib.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon

from hingeline import units
from hingeline.linkage.closure import Floats
from hingeline.linkage.mounting import HINGE_AXIS
from hingeline.sheets.labels import Labels
from hingeline.sheets.outlines import OFF
from hingeline.sheets.page import GREY, INK, PALE, PENS, SMALL_PT
from hingeline.sheets.panel import Panel
from hingeline.sheets.views import Pose, Scene

_HOLE_MM = 0.5  # least radius on the page
_NUMBER_APART_MM = 2.6  # holes nearer than this on the page are not numbered
_SQUARE_DEG = 0.05  # a lean that would be written as 0.0 is none


class PanelDrawing:
    """Draws a scene on the axes of one panel, whose limits must be final.

    Parameters
    ----------
    figure : Figure
        That new_page made.
    axes : Axes
        On it.
    panel : Panel
    scene : Scene
    scale : float
        Page per thing.
    hole_mm : float
        Diameter of the holes.
    """

    def __init__(
        self,
        figure: Figure,
        axes: Axes,
        panel: Panel,
        scene: Scene,
        scale: float,
        hole_mm: float,
    ) -> None:
        self._axes, self._panel, self._scene, self._scale = axes, panel, scene, scale
        self._hole_mm = max(hole_mm / 2.0, _HOLE_MM / scale)
        self._labels = Labels(figure, axes)
        self._edge_on = not panel.faces(HINGE_AXIS)

    def draw(self) -> None:
        """Draw everything."""
        if self._panel.horn:
            self._fixed_part()
        if self._panel.servo:
            self._case()
        for pose in reversed(self._scene.poses):
            self._pose(pose, PENS[pose.order])
        if self._panel.servo:
            self._cross(self._scene.spindle_mm)
        if self._panel.horn and not self._edge_on:
            self._cross(np.zeros(3))
        if self._panel.servo and self._panel.horn:
            self._rod_length()
        if self._panel.fine:
            self._numbers()
            self._lean()
            self._set_back()
        self._words()

    # -- shapes -------------------------------------------------------------------------

    def _fixed_part(self) -> None:
        panel, pose = self._panel, self._scene.poses[0]
        if self._edge_on:
            # Seen from its edge the surface is a strip as wide as its chord.
            low, high = self._axes.get_ylim()
            trailing = panel.flat(pose.section_mm)[-1, 0]
            hinge = panel.flat(np.zeros(3))[0]
            self._axes.axvspan(hinge, trailing, facecolor=PALE, alpha=0.35, linewidth=0)
            for x, dashes in ((hinge, (0, (8.0, 2.0, 1.0, 2.0))), (trailing, "-")):
                self._axes.plot([x, x], [low, high], color=GREY, linewidth=0.6, linestyle=dashes)
                self._labels.keep_clear([[x, low], [x, high]])
            return
        fixed = panel.flat(self._scene.fixed_mm)
        self._axes.plot(*fixed.T, color=GREY, linewidth=0.6)
        self._labels.keep_clear(fixed)

    def _case(self) -> None:
        panel = self._panel
        corners = panel.view.outline(self._scene.case_mm - panel.origin_mm)
        how: dict[str, Any] = {"edgecolor": GREY, "linewidth": 0.7, "linestyle": (0, (3.0, 2.5))}
        self._axes.add_patch(Polygon(corners, fill=False, gid=f"{panel.name}-case", **how))
        self._labels.keep_clear([*corners, corners[0]])

    def _pose(self, pose: Pose, pen: dict[str, Any]) -> None:
        panel, neutral = self._panel, pose.word == "neutral"
        width = 1.1 if neutral else 0.8
        if panel.horn and not self._edge_on:
            self._closed(panel.flat(pose.section_mm), pose, pen, width, fill=PALE)
        if panel.horn:
            horn = np.stack([pose.horn_foot_mm, pose.horn_end_mm])
            self._crank("horn", horn, pose.horn_outline_mm, pose, pen, width)
        if panel.servo:
            arm = np.stack([self._scene.spindle_mm, pose.arm_end_mm])
            self._crank("arm", arm, pose.arm_outline_mm, pose, pen, width)
        rod = np.stack([pose.arm_tip_mm, pose.horn_tip_mm])
        self._line("rod", rod, pose, pen, width + 0.3)
        # The holes come last, on top of the rod's ends.
        for there, holes, used in (
            (panel.horn, pose.horn_holes_mm, pose.horn_tip_mm),
            (panel.servo, pose.arm_holes_mm, pose.arm_tip_mm),
        ):
            for hole in (holes if neutral else used[np.newaxis]) if there else ():
                chosen = bool(np.linalg.norm(hole - used) < 1e-6)
                self._hole(hole, pen, filled=chosen and neutral)

    def _closed(
        self, points: Floats, pose: Pose, pen: dict[str, Any], width: float, *, fill: str
    ) -> None:
        neutral = pose.word == "neutral"
        how = {"edgecolor": pen["color"], "linestyle": pen["linestyle"], "linewidth": width}
        face = fill if neutral else "none"
        self._axes.add_patch(Polygon(points, facecolor=face, zorder=2 if neutral else 3, **how))
        self._labels.keep_clear([*points, points[0]])

    def _crank(
        self,
        name: str,
        middle_mm: Floats,
        outline_mm: Floats,
        pose: Pose,
        pen: dict[str, Any],
        width: float,
    ) -> None:
        panel = self._panel
        if pose.word == "neutral":
            outline = panel.view.outline(outline_mm - panel.origin_mm)
            self._closed(outline, pose, pen, width, fill="#f2f2f2")
            self._labels.keep_clear(panel.flat(middle_mm))
        else:
            self._line(name, middle_mm, pose, pen, width)

    def _line(
        self, name: str, ends_mm: Floats, pose: Pose, pen: dict[str, Any], width: float
    ) -> None:
        ends = self._panel.flat(ends_mm)
        gid = f"{self._panel.name}-{name}-{pose.word}"
        self._axes.plot(*ends.T, linewidth=width, zorder=4, gid=gid, **pen)
        self._labels.keep_clear(self._inside(ends))

    def _inside(self, ends: Floats) -> Floats:
        """Keep of a line what the panel shows, so that its points stay few."""
        low, high = self._axes.get_xlim()
        x0, x1 = ends[:, 0]
        if x1 == x0:
            return ends
        parts = np.clip(np.sort([(low - x0) / (x1 - x0), (high - x0) / (x1 - x0)]), 0.0, 1.0)
        kept: Floats = ends[0] + parts[:, np.newaxis] * (ends[1] - ends[0])
        return kept

    def _hole(self, hole_mm: Floats, pen: dict[str, Any], *, filled: bool) -> None:
        middle = self._panel.flat(hole_mm)
        face = INK if filled else "white"
        how = {"edgecolor": pen["color"], "facecolor": face, "linewidth": 0.6, "zorder": 6}
        self._axes.add_patch(Circle((middle[0], middle[1]), self._hole_mm, **how))
        self._keep_clear_round(middle, self._hole_mm)

    def _cross(self, middle_mm: Floats) -> None:
        x, y = self._panel.flat(middle_mm)
        reach = 2.2 / self._scale
        for dx, dy in ((reach, 0.0), (0.0, reach)):
            self._axes.plot([x - dx, x + dx], [y - dy, y + dy], color=INK, linewidth=0.5, zorder=7)
        self._axes.add_patch(
            Circle((x, y), 0.55 * reach, fill=False, edgecolor=INK, linewidth=0.5, zorder=7)
        )
        self._keep_clear_round(np.array([x, y]), reach)

    def _keep_clear_round(self, middle: Floats, radius_mm: float) -> None:
        angles = np.linspace(0.0, 2.0 * np.pi, 9)
        for part in (0.4, 1.0):
            ring = part * radius_mm * np.stack([np.cos(angles), np.sin(angles)], axis=1)
            self._labels.keep_clear(middle + ring)

    # -- words --------------------------------------------------------------------------

    def _numbers(self) -> None:
        panel, pose = self._panel, self._scene.poses[0]
        rod = self._way(pose.arm_tip_mm, pose.horn_tip_mm)
        for there, holes_mm, outline_mm, (x, y) in (
            (panel.servo, pose.arm_holes_mm, pose.arm_outline_mm, (-rod[0], -rod[1])),
            (panel.horn, pose.horn_holes_mm, pose.horn_outline_mm, rod),
        ):
            holes = panel.flat(holes_mm)
            apart = np.linalg.norm(np.diff(holes, axis=0), axis=1) * self._scale
            if not there or (len(holes) > 1 and apart.min() < _NUMBER_APART_MM):
                continue
            # On the side away from the rod, all beyond the outline and so in one line.
            beside = (panel.flat(outline_mm) - holes[0]) @ np.array([x, y])
            least = float(beside.max()) * self._scale
            for number, hole in enumerate(holes, start=1):
                self._labels.put(
                    str(number), hole, (x, y), straight=True, least_mm=least, size=SMALL_PT
                )

    def _lean(self) -> None:
        scene, panel, pose = self._scene, self._panel, self._scene.poses[0]
        if not (panel.servo and panel.faces(scene.axis)) or np.isnan(scene.square_mm).any():
            return
        spindle, tip = panel.flat(scene.spindle_mm), panel.flat(pose.arm_tip_mm)
        if abs(scene.lean_deg) < _SQUARE_DEG:
            self._right_angle(tip, spindle)
            return
        square = panel.flat(scene.square_mm) - spindle
        length = float(np.linalg.norm(panel.flat(pose.arm_end_mm) - spindle)) + 3.0 / self._scale
        start = math.atan2(square[1], square[0])
        turned = _between(start, math.atan2(*(tip - spindle)[::-1]))
        ends = np.stack([spindle, spindle + square / np.linalg.norm(square) * 1.15 * length])
        angles = start + np.linspace(0.0, turned, 25)
        arc = spindle + length * np.stack([np.cos(angles), np.sin(angles)], axis=1)
        self._axes.plot(*ends.T, color=INK, linewidth=0.5, linestyle=(0, (1.0, 2.0)))
        self._axes.plot(*arc.T, color=INK, linewidth=0.5, gid=f"{panel.name}-lean")
        for line in (ends, arc):
            self._labels.keep_clear(line)
        outward = (arc[12] - spindle) / np.linalg.norm(arc[12] - spindle)
        text = f"lean {units.deg(abs(scene.lean_deg))} from square"
        self._labels.put(text, arc[12], (float(outward[0]), float(outward[1])))

    def _right_angle(self, tip: Floats, spindle: Floats) -> None:
        """Mark the angle between arm and rod as a right one."""
        pose, size = self._scene.poses[0], 2.6 / self._scale
        arm = (spindle - tip) / np.linalg.norm(spindle - tip)
        rod = np.array(self._way(pose.arm_tip_mm, pose.horn_tip_mm))
        corner = tip + size * np.stack([arm, arm + rod, rod])
        self._axes.plot(*corner.T, color=INK, linewidth=0.5, zorder=5)
        self._labels.put("square to the rod", corner[1], (float(rod[0] + arm[0]), float(arm[1])))

    def _set_back(self) -> None:
        scene, panel = self._scene, self._panel
        if not panel.horn or self._edge_on or abs(scene.set_back_mm) < 0.05:
            return
        tip = scene.poses[0].horn_tip_mm
        above = tip * np.array([0.0, 1.0, 1.0])
        line = panel.flat(np.stack([np.zeros(3), above, tip]))
        self._axes.plot(*line.T, color=INK, linewidth=0.5, linestyle=(0, (1.0, 2.0)), zorder=5)
        self._labels.keep_clear(line)
        side = "aft of" if scene.set_back_mm > 0 else "ahead of"
        text = f"horn hole {units.mm(abs(scene.set_back_mm))} {side} the hinge line"
        self._labels.put(text, (line[1] + line[2]) / 2.0, (1.0 if side == "aft of" else -1.0, 0.3))

    def _words(self) -> None:
        scene, panel = self._scene, self._panel
        if panel.horn and not self._edge_on:
            for pose in scene.poses:
                text = pose.label if panel.fine or pose.word == "neutral" else pose.word
                edge = panel.flat(pose.section_mm)[-1]
                self._labels.put(text, edge, (1.0, 0.0), color=PENS[pose.order]["color"])
        if panel.servo:
            for pose in scene.poses[1:]:
                away = self._way(scene.spindle_mm, pose.arm_end_mm)
                end = panel.flat(pose.arm_end_mm)
                if np.linalg.norm(end - panel.flat(scene.spindle_mm)) * self._scale > 4.0:
                    self._labels.put(pose.word, end, away, color=PENS[pose.order]["color"])
        out = float(panel.view.up @ OFF) or 1.0
        if panel.horn:
            hinge = panel.flat(np.zeros(3))
            if self._edge_on:
                low, high = self._axes.get_ylim()
                hinge = np.array([hinge[0], low + 0.8 * (high - low)])
            self._labels.put("hinge line", hinge, (-0.7, -out), size=SMALL_PT)
        if panel.servo:
            spindle = panel.flat(scene.spindle_mm)
            self._labels.put("spindle", spindle, (-0.4, -out), size=SMALL_PT)
            if panel.fine:
                corner = min(self._corners(), key=lambda at: (at[0], at[1] * out))
                self._labels.put("servo", corner, (1.0, out), size=SMALL_PT, color=GREY)

    def _corners(self) -> Iterator[Floats]:
        panel = self._panel
        yield from panel.view.outline(self._scene.case_mm - panel.origin_mm)

    def _rod_length(self) -> None:
        pose, panel, scene = self._scene.poses[0], self._panel, self._scene
        ends = panel.flat(np.stack([pose.arm_tip_mm, pose.horn_tip_mm]))
        out = float(panel.view.up @ OFF)
        text = f"rod {units.mm(scene.rod_mm)} from hole to hole"
        if not scene.planar:
            if out:
                text += " (true length)"
                self._labels.put(text, ends.mean(axis=0), (0.0, out))
            return
        gap_mm = 3.0 if abs(scene.lean_deg) < _SQUARE_DEG else 6.0  # past the arc of the lean
        measure = panel.measure(scene, gap_mm / self._scale)
        for end, mark in zip(ends, measure, strict=True):
            line = np.stack([end, mark + (mark - end) / np.linalg.norm(mark - end) / self._scale])
            self._axes.plot(*line.T, color=GREY, linewidth=0.4)
            self._labels.keep_clear(line)
        arrow = {"arrowstyle": "<->", "linewidth": 0.5, "shrinkA": 0.0, "shrinkB": 0.0}
        self._axes.annotate("", tuple(measure[0]), tuple(measure[1]), arrowprops=arrow)
        self._labels.keep_clear(measure)
        self._labels.put(text, measure.mean(axis=0), (0.0, out))

    def _way(self, start_mm: Floats, end_mm: Floats) -> tuple[float, float]:
        """Return the direction from one point to another as seen, of unit length."""
        way = self._panel.flat(end_mm) - self._panel.flat(start_mm)
        length = float(np.hypot(*way))
        return (float(way[0]) / length, float(way[1]) / length) if length else (1.0, 0.0)


def _between(start_rad: float, end_rad: float) -> float:
    """Return the way from one angle to another, the short way round."""
    return math.remainder(end_rad - start_rad, 2.0 * math.pi)
