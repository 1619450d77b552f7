"""The least-squares routine of the fit against certified values.

Source: NIST Statistical Reference Datasets, Linear Least Squares Regression; data and
certified values are read from the files in data/nist (seen; their README gives the origin).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from hingeline.travel.leastsquares import least_squares

FOLDER = Path(__file__).parent / "data" / "nist"


@dataclass
class Certified:
    x: np.ndarray
    y: np.ndarray
    powers: list[int]
    estimates: np.ndarray
    deviations: np.ndarray
    residual_sd: float


def certified(name: str) -> Certified:
    lines = (FOLDER / f"{name}.dat").read_text().splitlines()
    head = "\n".join(lines[:60])
    rows = re.findall(r"^ +B(\d+) +(\S+) +(\S+)\s*$", head, re.MULTILINE)
    first, last = map(int, re.search(r"Data +\(lines (\d+) to (\d+)\)", head).groups())
    y, x = np.array([list(map(float, line.split())) for line in lines[first - 1 : last]]).T
    residual_sd = float(re.search(r"Residual\s+Standard Deviation +(\S+)", head).group(1))
    powers, estimates, deviations = zip(*rows, strict=True)
    return Certified(
        x,
        y,
        [int(power) for power in powers],
        np.array(estimates, dtype=float),
        np.array(deviations, dtype=float),
        residual_sd,
    )


def digits(got, want) -> float:
    """Correct digits of the worst value: -log10 of its relative error, 15 at most."""
    error = np.max(np.abs(np.asarray(got) / np.asarray(want) - 1.0))
    return min(15.0, -np.log10(error)) if error else 15.0


def solve(data: Certified):
    fit = least_squares(data.x[:, None] ** np.array(data.powers), data.y)
    return fit.coefficients, fit.scale * np.sqrt(np.diag(fit.cofactors)), fit.scale


@pytest.mark.parametrize(
    ("name", "readings", "unknowns"),
    [
        ("Norris", 36, 2),
        ("Pontius", 40, 3),
        ("NoInt1", 11, 1),
        ("NoInt2", 3, 1),
        ("Wampler4", 21, 6),
        ("Filip", 82, 11),
    ],
)
def test_the_files_are_read_whole(name, readings, unknowns):
    data = certified(name)
    assert len(data.x) == readings
    assert len(data.estimates) == unknowns


@pytest.mark.parametrize("name", ["Norris", "Pontius", "NoInt1", "NoInt2"])
def test_certified_values_to_nine_digits(name):
    data = certified(name)
    estimates, deviations, residual_sd = solve(data)
    assert digits(estimates, data.estimates) >= 9
    assert digits(deviations, data.deviations) >= 9
    assert digits(residual_sd, data.residual_sd) >= 9


@pytest.mark.parametrize(("name", "least", "least_sd"), [("Wampler4", 6.5, 12), ("Filip", 6.5, 7)])
def test_the_hard_sets_as_far_as_doubles_go(name, least, least_sd):
    # Raw powers up to x^10, without centring, which the travel fit never meets: its own
    # variable runs from -1 to 1. Filip defeats solvers that drop small singular values.
    data = certified(name)
    estimates, deviations, residual_sd = solve(data)
    assert digits(estimates, data.estimates) >= least
    assert digits(deviations, data.deviations) >= least
    assert digits(residual_sd, data.residual_sd) >= least_sd


def test_weights_act_as_repeated_readings():
    data = certified("Norris")
    weight = np.arange(1, len(data.x) + 1) % 3 + 1
    powers = data.x[:, None] ** np.array(data.powers)
    weighted = least_squares(powers, data.y, weight)
    repeated = least_squares(np.repeat(powers, weight, axis=0), np.repeat(data.y, weight))
    assert digits(weighted.coefficients, repeated.coefficients) >= 11
    assert digits(weighted.cofactors, repeated.cofactors) >= 11
    assert weighted.chi2 == pytest.approx(repeated.chi2, rel=1e-11)
