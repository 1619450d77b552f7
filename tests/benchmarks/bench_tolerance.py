"""Time the tolerance of a surface, and its solving alone against its transcendental functions.

Run with ``python -m tests.benchmarks.bench_tolerance``. All figures of one run come from the
same machine in the same minute; only their ratios mean anything elsewhere.
"""

from __future__ import annotations

import numpy as np

from hingeline.linkage import tolerance as tolerances
from hingeline.linkage.builds import FACTORS, Errors, built
from hingeline.linkage.closure import Crank, Linkage
from hingeline.linkage.stacks import solve_stack
from tests.benchmarks.bench_linkage import best_s

SOLVES = 1_000_000
CHUNK = tolerances._CHUNK
SHAFT = np.radians([0.0, 30.0, -25.0, 15.0, -12.5])

# A rudder servo that lies across the hinge: a spatial linkage, nothing cancels.
LINKAGE = Linkage(
    Crank((-80.0, 4.0, -12.0), (0.0, 0.0, 1.0), (-80.0, 14.0, -12.0)),
    Crank((0.0, 0.0, 0.0), (0.0, 1.0, 0.0), (-2.0, 0.0, 12.0)),
)


def main() -> None:
    """Measure and print."""
    rng = np.random.default_rng(1)
    sizes = np.array(Errors().sizes())[:, np.newaxis]
    chunks = SOLVES // (CHUNK * len(SHAFT))
    errors = [rng.standard_normal((len(FACTORS), CHUNK)) * sizes for _ in range(chunks)]
    matrices = [built(LINKAGE, of_chunk, fitted=True) for of_chunk in errors]

    # The bare functions get the very arguments that they get inside the solver.
    cos, sin = np.cos(SHAFT)[:, np.newaxis], np.sin(SHAFT)[:, np.newaxis]
    driver = np.repeat(SHAFT[:, np.newaxis], CHUNK, axis=1)
    arguments = []
    for m in matrices:
        minus_r, p, q = (m[:, 0, j] + m[:, 1, j] * cos + m[:, 2, j] * sin for j in range(3))
        arguments.append((q, p, -minus_r / np.hypot(p, q)))

    def bare() -> None:
        for q, p, cosine in arguments:
            np.sin(driver)
            np.cos(driver)
            np.arctan2(q, p)
            np.arccos(cosine)

    def bare_shared() -> None:
        for q, p, cosine in arguments:
            np.arctan2(q, p)
            np.arccos(cosine)

    def solving() -> None:
        for m in matrices:
            solve_stack(m, SHAFT)

    def building() -> None:
        for of_chunk in errors:
            built(LINKAGE, of_chunk, fitted=True)

    alone, shared, ours, making = best_s(bare, bare_shared, solving, building, rounds=11)
    print(f"{SOLVES} solves, {chunks * CHUNK} linkages at {len(SHAFT)} angles, in {ours:.3f} s:")
    print(f"  {ours / SOLVES * 1e9:.1f} ns each; the matrices took {making:.3f} s more")
    print(f"  sin + cos + arctan2 + arccos alone: {alone / SOLVES * 1e9:.1f} ns each")
    print(f"  ratio to them: {ours / alone:.2f}")
    print(f"  ratio to arctan2 + arccos, the sines taken once per angle: {ours / shared:.2f}")

    # From the random errors to bands and sensitivities.
    first, second = SHAFT[1], SHAFT[2]
    (whole,) = best_s(lambda: tolerances.tolerance(LINKAGE, first, second), rounds=5)
    print(f"the tolerance of one surface, {tolerances.SAMPLES} builds: {whole:.2f} s")


if __name__ == "__main__":
    main()
