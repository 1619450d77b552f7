"""The fit of curves against certified values.

Source: NIST Statistical Reference Datasets, Nonlinear Least Squares Regression; data, both
starts and certified values are read from the files in data/nist (seen; their README gives
the origin). Kirby2 is of the kind nearest to a travel curve: readings of a line standard.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from hingeline.linkage.bothaxes import fit_curve

FOLDER = Path(__file__).parent / "data" / "nist"


def kirby2(x, b):
    return (b[0] + b[1] * x + b[2] * x**2) / (1 + b[3] * x + b[4] * x**2)


def thurber(x, b):
    top = b[0] + b[1] * x + b[2] * x**2 + b[3] * x**3
    return top / (1 + b[4] * x + b[5] * x**2 + b[6] * x**3)


def rat43(x, b):
    return b[0] / (1 + np.exp(b[1] - b[2] * x)) ** (1 / b[3])


def roszman1(x, b):
    return b[0] - b[1] * x - np.arctan(b[2] / (x - b[3])) / np.pi


MODELS = {"Kirby2": kirby2, "Thurber": thurber, "Rat43": rat43, "Roszman1": roszman1}
POINTS = {"Kirby2": 151, "Thurber": 37, "Rat43": 15, "Roszman1": 25}


@dataclass
class Certified:
    x: np.ndarray
    y: np.ndarray
    starts: np.ndarray
    coefficients: np.ndarray
    deviations: np.ndarray
    residual_sd: float
    sum_of_squares: float


def certified(name: str) -> Certified:
    lines = (FOLDER / f"{name}.dat").read_text().splitlines()
    head = "\n".join(lines[:60])
    rows = re.findall(r"^ +b\d+ = +(\S+) +(\S+) +(\S+) +(\S+)\s*$", head, re.MULTILINE)
    first, last = map(int, re.search(r"Data +\(lines (\d+) to (\d+)\)", head).groups())
    y, x = np.array([list(map(float, line.split())) for line in lines[first - 1 : last]]).T
    start_1, start_2, coefficients, deviations = np.array(rows, dtype=float).T
    return Certified(
        x,
        y,
        np.array([start_1, start_2]),
        coefficients,
        deviations,
        float(re.search(r"Residual Standard Deviation: +(\S+)", head).group(1)),
        float(re.search(r"Residual Sum of Squares: +(\S+)", head).group(1)),
    )


@pytest.mark.parametrize("name", MODELS)
def test_the_files_are_read_whole_and_the_models_are_theirs(name):
    # The certified coefficients must give the certified sum before anything is fitted.
    data = certified(name)
    assert len(data.x) == POINTS[name]
    off = data.y - MODELS[name](data.x, data.coefficients)
    assert np.sum(off**2) == pytest.approx(data.sum_of_squares, rel=1e-8)


@pytest.mark.parametrize("start", [0, 1])
@pytest.mark.parametrize("name", MODELS)
def test_certified_values_from_both_starts(name, start):
    data = certified(name)
    found = fit_curve(MODELS[name], data.x, data.y, data.starts[start])
    assert found.coefficients == pytest.approx(data.coefficients, rel=1e-6)
    deviations = found.scale * np.sqrt(np.diag(found.cofactors))
    assert deviations == pytest.approx(data.deviations, rel=1e-5)
    assert found.scale == pytest.approx(data.residual_sd, rel=1e-9)


@pytest.mark.parametrize("name", MODELS)
def test_differences_serve_a_model_that_takes_no_complex_numbers(name):
    data = certified(name)
    found = fit_curve(MODELS[name], data.x, data.y, data.starts[1], complex_step=False)
    assert found.coefficients == pytest.approx(data.coefficients, rel=1e-6)
    deviations = found.scale * np.sqrt(np.diag(found.cofactors))
    assert deviations == pytest.approx(data.deviations, rel=1e-5)
