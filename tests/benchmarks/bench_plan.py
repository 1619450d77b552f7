"""Time the whole plan of a model with many choices.

Run with ``python -m tests.benchmarks.bench_plan``. Four surfaces, each with 6 arm holes, 4
horn holes, all leans of a four-arm part within 60 deg, 9 set-backs; every choice is looked
at at 41 places. The bare cost of the same number of transcendental functions stands beside.
"""

from __future__ import annotations

import msgspec
import numpy as np

from hingeline.linkage.choice import POINTS, judge, whole_space
from hingeline.model.reading import parse_model
from hingeline.model.schema import Length
from hingeline.model.writing import example_text
from tests.benchmarks.bench_linkage import best_s

TRAVEL_DEG = (-54.0, 54.0)
ARM_MM = (6.4, 8.0, 9.6, 11.2, 12.8, 14.4)
HORN_MM = (10.0, 13.0, 16.0, 19.0)
SET_BACKS_MM = tuple(np.linspace(-2.0, 2.0, 9).tolist())


def main() -> None:
    """Print the times of one run."""
    model = parse_model(example_text(), source="example")
    replace = msgspec.structs.replace
    jobs = []
    for surface in model.surfaces:
        servo = replace(model.servo_of(surface), arm_count=4)
        surface = replace(
            surface,
            arm=replace(surface.arm, holes_mm=[Length(mm) for mm in ARM_MM], hole=None),
            horn=replace(surface.horn, holes_mm=[Length(mm) for mm in HORN_MM], hole=None),
        )
        space = whole_space(surface, servo, set_backs_mm=SET_BACKS_MM)
        jobs.append((surface, servo, space))
    choices = sum(space.size for _, _, space in jobs)
    angles = np.linspace(-1.0, 1.0, choices * POINTS)

    def bare() -> None:
        np.sin(angles)
        np.cos(angles)
        np.arctan2(angles, 1.5)
        np.arccos(angles)

    whole, functions = best_s(
        lambda: [judge(surface, servo, TRAVEL_DEG, space) for surface, servo, space in jobs],
        bare,
        rounds=5,
    )
    print(f"{choices} choices of {len(jobs)} surfaces at {POINTS} places: {whole:.2f} s")
    print(f"  {whole / functions:.1f} times the bare sin, cos, arctan2, arccos over as many")


if __name__ == "__main__":
    main()
