"""How often the fit's 95 % intervals hold the truth, and how long a fit takes.

Run with ``python -m tests.benchmarks.bench_fit [SERVOS]``; 2000 servos take under a minute.
The servos are invented, not of the fit's own family, and read as people read; a tenth of
the readings of some are slips that were left in (`tests.travel.study`). The time of a fit of
42 readings stands beside lmfit's for the same form, polynomials with a half gap of which one
is chosen; it finds no slips or stops there, proves nothing monotone and works out no figures.
"""

from __future__ import annotations

import sys

import lmfit
import numpy as np

from hingeline.travel.choosing import RICHEST
from hingeline.travel.fit import fit
from hingeline.travel.schedule import traverse
from tests.benchmarks.bench_linkage import best_s
from tests.support.servo_truth import ServoTruth
from tests.travel.study import print_table, study, table

SERVOS = 2000


def times() -> None:
    """Print the time of one fit and its ratio to lmfit's."""
    steps = traverse(1000, 2000, limits_us=(900, 2100), start_us=1500, points=21)
    servo = ServoTruth(0.09, shape="cosine", bend_deg=1.5, play_deg=1.0, noise_deg=0.1)
    readings = servo.read(steps, np.random.default_rng(5))
    z = np.array([(reading.pulse_us - 1500.0) / 500.0 for reading in readings])
    side = np.array([1.0 if reading.approach == "falling" else -1.0 for reading in readings])
    angle = np.array([reading.angle_deg for reading in readings])

    def lag(side: np.ndarray, gap: float) -> np.ndarray:
        return gap * side

    models = {
        degree: lmfit.models.PolynomialModel(degree=degree)
        + lmfit.Model(lag, independent_vars=["side"])
        for degree in range(1, RICHEST + 1)
    }

    def of_degree(degree: int) -> float:
        start = dict.fromkeys(models[degree].param_names, 0.1)
        found = models[degree].fit(angle, x=z, side=side, **start)
        k = degree + 3
        return float(found.aic + 2.0 * k * (k + 1) / (len(z) - k - 1))

    def chosen() -> int:
        return min(models, key=of_degree)

    whole, choice, one = best_s(lambda: fit(readings), chosen, lambda: of_degree(2), rounds=20)
    print(f"fit of {len(readings)} readings: {1000 * whole:.1f} ms")
    print(
        f"  lmfit, degrees 1 to {RICHEST} and the choice by AICc: {1000 * choice:.1f} ms; "
        f"ratio {whole / choice:.2f}"
    )
    print(f"  lmfit, one parabola alone: {1000 * one:.1f} ms; ratio {whole / one:.2f}")


def main() -> None:
    """Print the table and the times of one run."""
    servos = int(sys.argv[1]) if len(sys.argv) > 1 else SERVOS
    cases = list(study(servos))
    print(f"95 % intervals of {servos} servos that hold the truth, in percent:")
    print_table(table(cases))
    left_in = sum(len(case.slipped) for case in cases)
    fitted = [case for case in cases if case.curve is not None]
    named = [{suspect.index for suspect in case.curve.suspects} for case in fitted if case.curve]
    missed = sum(len(case.slipped - found) for case, found in zip(fitted, named, strict=True))
    honest = sum(len(found - case.slipped) for case, found in zip(fitted, named, strict=True))
    readings = sum(len(case.readings) for case in cases)
    print(f"of {left_in} slips left in, {missed} were not named by a fit;")
    print(f"of {readings - left_in} honest readings, {honest} were.")
    for case in cases:
        if case.refusal:
            print(f"refused ({case.points} points, gauge {case.gauge_deg:g}): {case.refusal}")
    times()


if __name__ == "__main__":
    main()
