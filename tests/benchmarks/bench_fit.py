"""How often the fit's 95 % intervals hold the truth, and how long a fit takes.

Run with ``python -m tests.benchmarks.bench_fit [SERVOS]``; 2000 servos take under a minute.
The servos are invented, not of the fit's own family, and read as people read; a tenth of
the readings of some are slips that were left in (`tests.travel.study`). A second table is of
servos read with a gauge whose zero was set by hand.

Times are of 42 readings, beside lmfit's, in three steps. One model: a polynomial of one degree
with a half gap, weighted, with its covariance, by `least_squares` and by lmfit's own least
squares from the same start. The choice: such models of degrees 1 to `RICHEST`, the best by
AICc. The whole job: `fit` from readings to curve, with slips and stops found, the shape proved
monotone and all figures worked out, none of which lmfit does.
"""

from __future__ import annotations

import sys

import lmfit
import numpy as np

from hingeline.travel.choosing import RICHEST
from hingeline.travel.fit import fit
from hingeline.travel.leastsquares import LeastSquares, aicc, least_squares
from hingeline.travel.schedule import traverse
from tests.benchmarks.bench_linkage import best_s
from tests.support.servo_truth import ServoTruth
from tests.travel.study import print_table, study, table

SERVOS = 2000


def times() -> None:
    """Print the times of one model, of the choice and of a whole fit, and lmfit's."""
    steps = traverse(1000, 2000, limits_us=(900, 2100), start_us=1500, points=21)
    servo = ServoTruth(0.09, shape="cosine", bend_deg=1.5, play_deg=1.0, noise_deg=0.1)
    readings = servo.read(steps, np.random.default_rng(5))
    z = np.array([(reading.pulse_us - 1500.0) / 500.0 for reading in readings])
    side = np.array([1.0 if reading.approach == "falling" else -1.0 for reading in readings])
    angle = np.array([reading.angle_deg for reading in readings])
    u = np.array([reading.u_deg for reading in readings])

    def lag(side: np.ndarray, gap: float) -> np.ndarray:
        return gap * side

    models = {
        degree: lmfit.models.PolynomialModel(degree=degree)
        + lmfit.Model(lag, independent_vars=["side"])
        for degree in range(1, RICHEST + 1)
    }

    def theirs(degree: int) -> lmfit.model.ModelResult:
        start = dict.fromkeys(models[degree].param_names, 0.1)
        return models[degree].fit(angle, x=z, side=side, weights=1.0 / u, **start)

    def ours(degree: int) -> tuple[LeastSquares, np.ndarray]:
        design = np.column_stack([np.vander(z, degree + 1, increasing=True), side])
        solved = least_squares(design, angle, 1.0 / u**2)
        return solved, solved.chi2 / solved.dof * solved.cofactors

    def their_choice() -> int:
        def criterion(degree: int) -> float:
            k = degree + 3
            return float(theirs(degree).aic + 2.0 * k * (k + 1) / (len(z) - k - 1))

        return min(models, key=criterion)

    def our_choice() -> int:
        return min(
            models, key=lambda degree: float(aicc(ours(degree)[0].chi2, len(z), degree + 2, 1e-9))
        )

    def alike(degree: int) -> float:
        found, (solved, covariance) = theirs(degree), ours(degree)
        names = [f"c{power}" for power in range(degree + 1)] + ["gap"]
        order = [found.var_names.index(name) for name in names]
        values = np.array([found.params[name].value for name in names])
        us = np.sqrt(np.diag(found.covar)[order])
        away = np.abs(values - solved.coefficients) / us
        return float(max(away.max(), np.abs(us / np.sqrt(np.diag(covariance)) - 1.0).max()))

    print(f"{len(readings)} readings; ours, lmfit's, and the ratio:")
    works = {
        "one parabola with half gap, weights and covariance": (lambda: ours(2), lambda: theirs(2)),
        f"degrees 1 to {RICHEST} and the choice by AICc": (our_choice, their_choice),
    }
    for name, pair in works.items():
        one, other = best_s(*pair, rounds=20)
        print(f"  {name}: {1000 * one:.2f} ms, {1000 * other:.2f} ms, {one / other:.3f}")
    whole, choice, one = best_s(lambda: fit(readings), their_choice, lambda: theirs(2), rounds=20)
    print(f"  whole fit beside lmfit's choice: {1000 * whole:.2f} ms, {whole / choice:.2f}")
    print(f"  whole fit beside one parabola of lmfit's: {whole / one:.2f}")
    print(
        f"both choose degree {our_choice()} and {their_choice()}; of the parabola, values (in "
        f"uncertainties) and uncertainties (as a share) agree to {alike(2):.1e}"
    )


def main() -> None:
    """Print the table and the times of one run."""
    servos = int(sys.argv[1]) if len(sys.argv) > 1 else SERVOS
    cases = list(study(servos))
    print(f"95 % intervals of {servos} servos that hold the truth, in percent:")
    print_table(table(cases))
    print("the same with a zero set by hand:")
    print_table(table(study(servos, zero_by_hand=True)))
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
