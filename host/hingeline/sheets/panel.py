"""One view on a page: what it shows and how large that is. Nothing is drawn here."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hingeline.linkage.closure import Floats
from hingeline.sheets.outlines import OFF
from hingeline.sheets.views import SAME, Scene, View


@dataclass(frozen=True, eq=False)
class Panel:
    """One view of a page.

    Attributes
    ----------
    name : str
        Begins the ids of what is drawn, "side".
    title : str
    view : View
    origin_mm : ndarray, shape (3,)
        What the rulers count from.
    origin : str
        What stands there.
    servo, horn : bool
        Which ends are in the picture; with both, the rod is whole.
    fine : bool
        Whether holes are numbered and angles marked.
    """

    name: str
    title: str
    view: View
    origin_mm: Floats
    origin: str
    servo: bool = True
    horn: bool = True
    fine: bool = True

    def flat(self, points_mm: Floats) -> Floats:
        """Flatten points on to this panel, in mm from its origin."""
        return self.view.flat(points_mm - self.origin_mm)

    def extent_mm(self, scene: Scene) -> tuple[Floats, Floats]:
        """Return the lowest and the highest corner of what must be seen."""
        parts: list[Floats] = []
        for pose in scene.poses:
            if self.servo:
                parts.append(pose.arm_outline_mm)
            if self.horn:
                parts += [pose.section_mm, pose.horn_outline_mm]
        parts += [scene.case_mm] * self.servo + [scene.fixed_mm] * self.horn
        flat = [self.flat(part) for part in parts]
        if self.servo and self.horn and scene.planar:
            flat.append(self.measure(scene, 0.0))
        points = np.concatenate(flat)
        return points.min(axis=0), points.max(axis=0)

    def measure(self, scene: Scene, gap_mm: float) -> Floats:
        """Return the ends of a line beside the rod, clear of arm and horn by a gap: (2, 2)."""
        pose = scene.poses[0]
        ends = self.flat(np.stack([pose.arm_tip_mm, pose.horn_tip_mm]))
        along = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
        square = np.array([-along[1], along[0]])
        square = square if square @ self.view.flat(OFF) > 0.0 else -square
        shapes = [line for p in scene.poses for line in (p.arm_outline_mm, p.horn_outline_mm)]
        reach = (self.flat(np.concatenate(shapes)) - ends[0]) @ square
        measure: Floats = ends + (float(reach.max()) + gap_mm) * square
        return measure

    def faces(self, axis: Floats) -> bool:
        """Tell whether this panel looks along an axis, so that its circles are round."""
        return bool(abs(self.view.towards_eye @ axis) > SAME)
