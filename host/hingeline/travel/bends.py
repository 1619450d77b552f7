"""Where a curve should be read more closely: where it bends, and where it ends."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hingeline.travel.reading import Reading
from hingeline.travel.schedule import LEAST_STEP_US

#: A pulse bends the curve when it lies this many standard uncertainties off the chord
#: between its neighbours. Our own choice.
CLEARLY = 3.0
#: Less than this off the chord is what a smooth curve follows anyway, in degrees. Our own choice.
LEAST_DEG = 0.5


@dataclass(frozen=True)
class Levels:
    """What was read at each pulse, with the play taken out.

    Attributes
    ----------
    pulses_us, angles_deg, u_deg : ndarray of float, shape (n,)
        Rising pulses; the mean of both sides; its standard uncertainty from the gauge.
    """

    pulses_us: NDArray[np.float64]
    angles_deg: NDArray[np.float64]
    u_deg: NDArray[np.float64]


def levels(readings: Sequence[Reading]) -> Levels:
    """Average the readings of each pulse over both sides.

    Where only one side was read, half the mean difference of the others is made up for.
    """
    found: dict[float, dict[str, list[Reading]]] = {}
    for reading in readings:
        sides = found.setdefault(reading.pulse_us, {"rising": [], "falling": []})
        sides[reading.approach].append(reading)
    means = {
        pulse: {
            side: float(np.mean([r.angle_deg for r in group]))
            for side, group in sides.items()
            if group
        }
        for pulse, sides in found.items()
    }
    gaps = [mean["falling"] - mean["rising"] for mean in means.values() if len(mean) == 2]
    half_gap = float(np.median(gaps)) / 2.0 if gaps else 0.0
    pulses = sorted(means)
    angles, u = [], []
    for pulse in pulses:
        mean, sides = means[pulse], found[pulse]
        if len(mean) == 2:
            angles.append((mean["falling"] + mean["rising"]) / 2.0)
        else:
            (side, value), *_ = mean.items()
            angles.append(value + (half_gap if side == "rising" else -half_gap))
        count = sum(map(len, sides.values()))
        worst = max(r.u_deg for group in sides.values() for r in group)
        u.append(worst / math.sqrt(count))
    return Levels(np.array(pulses), np.array(angles), np.array(u))


def new_pulses(readings: Sequence[Reading], most: int) -> list[int]:
    """Return pulses worth reading between those that were read, the most telling first.

    Each piece between two neighbouring pulses is as doubtful as its ends are bent, so a piece
    in which a stop begins, bent at both ends, comes first; among equals the widest.

    Parameters
    ----------
    readings : sequence of Reading
        So far.
    most : int
        How many pulses are wanted at most; a curve without bends gives none.
    """
    level = levels(readings)
    if len(level.pulses_us) < 3:
        return []
    bend = _bends(level)
    doubt = bend[:-1] + bend[1:]
    width = np.diff(level.pulses_us)
    order = np.lexsort((-width, -doubt))
    chosen = [place for place in order if doubt[place] > 0.0 and width[place] >= 4 * LEAST_STEP_US]
    middles = (level.pulses_us[:-1] + level.pulses_us[1:]) / 2.0
    return [round(float(middles[place])) for place in chosen[:most]]


def _bends(level: Levels) -> NDArray[np.float64]:
    """Return how far each pulse lies off the chord of its neighbours, 0 where not clearly."""
    x, y, u = level.pulses_us, level.angles_deg, level.u_deg
    part = (x[1:-1] - x[:-2]) / (x[2:] - x[:-2])
    off = np.abs(y[1:-1] - (1.0 - part) * y[:-2] - part * y[2:])
    u_off = np.sqrt(u[1:-1] ** 2 + ((1.0 - part) * u[:-2]) ** 2 + (part * u[2:]) ** 2)
    clear = (off > CLEARLY * u_off) & (off > LEAST_DEG)
    return np.concatenate([[0.0], np.where(clear, off, 0.0), [0.0]])
