"""Time the linkage solver against its own transcendental functions and a root finder.

Run with ``python -m tests.benchmarks.bench_linkage``. All figures of one run come from the
same machine in the same minute; only their ratios mean anything elsewhere.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable

import numpy as np
from scipy import optimize

from hingeline.linkage.closure import Crank, Linkage, surface_angle
from hingeline.linkage.limits import closing_limits
from hingeline.linkage.loop import closure_matrix, solve

ANGLES = 1_000_000
LINKAGES = 20_000
ROOTS = 500

# A rudder servo that lies across the hinge: a spatial linkage, nothing cancels.
LINKAGE = Linkage(
    Crank((-80.0, 4.0, -12.0), (0.0, 0.0, 1.0), (-80.0, 14.0, -12.0)),
    Crank((0.0, 0.0, 0.0), (0.0, 1.0, 0.0), (-2.0, 12.0, -12.0)),
)


def best_s(*works: Callable[[], object], rounds: int = 15) -> list[float]:
    """Give the least time of each piece of work, taken in turns so that all meet the same load."""
    least = [math.inf] * len(works)
    for _ in range(rounds):
        for place, work in enumerate(works):
            start = time.perf_counter()
            work()
            least[place] = min(least[place], time.perf_counter() - start)
    return least


def by_root_finding(shaft: np.ndarray) -> np.ndarray:
    """Solve by scipy.optimize.root on the distance between the holes, as one would write it.

    Each search starts from the solution before it, the best start there is.
    """
    found, start, length = [], 0.0, LINKAGE.length_mm
    for angle in shaft:
        arm_tip = LINKAGE.arm.tip_at(angle)

        def miss(surface: np.ndarray, arm_tip: np.ndarray = arm_tip) -> float:
            return float(np.linalg.norm(LINKAGE.horn.tip_at(surface[0]) - arm_tip)) - length

        start = float(optimize.root(miss, start).x[0])
        found.append(start)
    return np.array(found)


def by_lean_root_finding(shaft: np.ndarray) -> np.ndarray:
    """Solve by scipy.optimize.root on our own reduced equation, in plain floats.

    This hands the search everything that the closed form worked out except its last step.
    """
    m = LINKAGE.matrix.tolist()
    found, start = [], 0.0
    for angle in shaft.tolist():
        c, s = math.cos(angle), math.sin(angle)
        k0, p, q = (m[0][j] + m[1][j] * c + m[2][j] * s for j in range(3))

        def miss(surface: np.ndarray, k0: float = k0, p: float = p, q: float = q) -> float:
            return k0 + p * math.cos(surface[0]) + q * math.sin(surface[0])

        start = float(optimize.root(miss, start).x[0])
        found.append(start)
    return np.array(found)


def main() -> None:
    """Measure and print."""
    shaft = np.linspace(-0.8, 0.8, ANGLES)
    # The bare functions get the very arguments that they get inside the solver.
    m = LINKAGE.matrix
    minus_r, p, q = (m[0, j] + m[1, j] * np.cos(shaft) + m[2, j] * np.sin(shaft) for j in range(3))
    cosine = -minus_r / np.hypot(p, q)
    spare = [np.empty(ANGLES) for _ in range(4)]

    def bare() -> None:
        np.sin(shaft)
        np.cos(shaft)
        np.arctan2(q, p)
        np.arccos(cosine)

    def bare_into_kept_arrays() -> None:
        np.sin(shaft, out=spare[0])
        np.cos(shaft, out=spare[1])
        np.arctan2(q, p, out=spare[2])
        np.arccos(cosine, out=spare[3])

    fresh, kept, ours = best_s(bare, bare_into_kept_arrays, lambda: surface_angle(LINKAGE, shaft))
    print(f"one linkage, {ANGLES} shaft angles: {ours / ANGLES * 1e9:.1f} ns each")
    print(f"  sin + cos + arctan2 + arccos alone: {fresh / ANGLES * 1e9:.1f} ns each")
    print(f"  ratio to them: {ours / fresh:.2f}")
    print(f"  ratio to them when they write into arrays made beforehand: {ours / kept:.2f}")

    few = np.linspace(-0.8, 0.8, ROOTS)
    searches = {"the distance": by_root_finding, "our reduced equation": by_lean_root_finding}
    for equation, search in searches.items():
        apart = np.max(np.abs(search(few) - surface_angle(LINKAGE, few)))
        (searched,) = best_s(lambda search=search: search(few), rounds=3)
        times = (searched / ROOTS) / (ours / ANGLES)
        print(f"scipy.optimize.root on {equation}: {searched / ROOTS * 1e6:.1f} us each")
        print(f"  {times:.0f} times slower; answers apart by {apart:.0e} rad")

    rng = np.random.default_rng(1)

    def near(point: tuple[float, float, float]) -> np.ndarray:
        return np.array(point) + rng.normal(scale=0.3, size=(LINKAGES, 3))

    ends = near((-80, 4, -12)), (0, 0, 1), near((-80, 14, -12)), near((0, 0, 0)), (0, 1, 0)
    tips, five = near((-2, 12, -12)), np.radians([-45.0, -22.5, 0.0, 22.5, 45.0])
    built = closure_matrix(*ends, tips)
    building, solving, limiting = best_s(
        lambda: closure_matrix(*ends, tips),
        lambda: solve(built[:, np.newaxis], five),
        lambda: closing_limits(built),
        rounds=5,
    )
    print(f"{LINKAGES} linkages at once, each:")
    print(f"  closure matrix {building / LINKAGES * 1e6:.2f} us")
    print(f"  five shaft angles {solving / LINKAGES * 1e6:.2f} us")
    print(f"  limits of closing {limiting / LINKAGES * 1e6:.2f} us")


if __name__ == "__main__":
    main()
