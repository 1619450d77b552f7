"""Find readings that were probably typed or read wrong.

Nothing is deleted here: a suspect is named, and the fit gives it no weight. A typed slip is
large (a lost decimal point, a lost sign); what is smaller than `LEAST_SLIP` times the scatter
is scatter, or the servo's own shape, and stays.

The readings that fit worst are taken out one by one, and the largest number of them is
believed for which the last one taken out still stands clear of the rest. Going on past a
first failure keeps two alike slips from hiding each other (B. Rosner, Technometrics 25
(1983) 165-172); the floor on the scatter keeps tidy readings, all on the gauge's marks, from
making every honest one look wild.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hingeline.errors import TravelError
from hingeline.travel.leastsquares import LeastSquares, aicc, least_squares
from hingeline.travel.leftout import each_left_out
from hingeline.travel.reading import Reading
from hingeline.travel.suspects import Suspect, explain

Floats = NDArray[np.float64]

#: Scatter below this never makes a reading suspect, in degrees. Our own choice.
SCATTER_DEG = 0.5
#: A reading nearer to the others than this many times the scatter is no slip. Our own choice.
LEAST_SLIP = 3.5
#: Chance that honest readings with normal scatter show a suspect at one step. Our own choice.
FALSE_ALARM = 0.01
#: Two explanations whose AICc differ by less are not told apart: a likelihood ratio of 20.
CLEARLY_BETTER = 6.0


@dataclass(frozen=True, eq=False)
class _Data:
    """Readings as columns, in the order given, and what is common to all."""

    pulse: Floats
    angle: Floats
    level: Floats  # angle with the usual up/down difference taken out
    design: Floats  # columns 1, z, side, z^2, z^3
    scatter: float


@dataclass(frozen=True)
class _Removal:
    """One reading taken out: which, how far off, whether clearly, and who else it may be."""

    index: int
    away_deg: float
    clear: bool
    rivals: tuple[int, ...]


def find_slips(readings: Sequence[Reading]) -> tuple[Suspect, ...]:
    """Name the readings that do not go with the others.

    Parameters
    ----------
    readings : sequence of Reading
        In any order, at two different pulses or more.

    Returns
    -------
    tuple of Suspect
        In the order of the readings; empty when every reading may stand.

    Raises
    ------
    TravelError
        If the readings contradict each other and it cannot be told which is wrong.
    """
    data = _columns(readings)
    # Pairs exchanged first: they are told by each other, and would look wild one by one.
    suspects = _swapped_pairs(readings, data.scatter)
    here = np.setdiff1d(np.arange(len(readings)), [suspect.index for suspect in suspects])
    if not _fits(data, here, spare=2):
        _refuse_bent_few(data)
    removals: list[_Removal] = []
    while len(removals) < max(1, len(readings) // 3):
        removal = _take_worst(data, readings, here)
        # Once the worst is no slip, going on would only eat honest readings.
        if removal is None or abs(removal.away_deg) <= LEAST_SLIP * data.scatter:
            break
        here = here[here != removal.index]
        if len(np.unique(data.pulse[here])) < 3:
            break
        removals.append(removal)
    clear = [count for count, removal in enumerate(removals, 1) if removal.clear]
    slips = removals[: clear[-1]] if clear else []
    if slips and slips[-1].rivals:
        pulses = sorted({data.pulse[i] for i in (slips[-1].index, *slips[-1].rivals)})
        raise TravelError(
            f"The readings contradict each other by {abs(slips[-1].away_deg):.1f} deg, and "
            f"which is wrong cannot be told: {', '.join(f'{p:g} us' for p in pulses)}.",
            mend="Re-measure these pulses, and one or two between them.",
        )
    wild = [slip.index for slip in slips]
    if wild:
        out = [*wild, *(suspect.index for suspect in suspects)]
        columns, fit, spread = _best_fit(data, np.setdiff1d(np.arange(len(readings)), out))
        expected = data.design[:, columns] @ fit.coefficients
        near = LEAST_SLIP * spread
        # What went out early, while a worse one still bent the fit, may agree after all.
        wild = [i for i in wild if abs(data.angle[i] - expected[i]) > LEAST_SLIP * data.scatter]
        suspects += [explain(i, readings[i], float(expected[i]), near) for i in wild]
    return tuple(sorted(suspects, key=lambda suspect: suspect.index))


def _columns(readings: Sequence[Reading]) -> _Data:
    pulse = np.asarray([reading.pulse_us for reading in readings], dtype=np.float64)
    side = np.asarray([1.0 if reading.approach == "falling" else -1.0 for reading in readings])
    angle = np.asarray([reading.angle_deg for reading in readings], dtype=np.float64)
    z = 2.0 * (pulse - pulse.min()) / np.ptp(pulse) - 1.0
    design = np.stack([np.ones_like(z), z, side, z**2, z**3], axis=1)
    scatter = max(SCATTER_DEG, float(np.median([reading.u_deg for reading in readings])))
    return _Data(pulse, angle, angle - side * _usual_half_gap(pulse, side, angle), design, scatter)


def _usual_half_gap(pulse: Floats, side: Floats, angle: Floats) -> float:
    """Return half the median falling less rising difference, which one slip cannot move."""
    gaps = [
        float(
            np.mean(angle[(pulse == p) & (side > 0)]) - np.mean(angle[(pulse == p) & (side < 0)])
        )
        for p in np.unique(pulse)
        if {-1.0, 1.0} <= set(side[pulse == p])
    ]
    return float(np.median(gaps)) / 2.0 if len(gaps) > 2 else 0.0


def _fits(data: _Data, here: NDArray[np.intp], spare: int) -> list[tuple[list[int], LeastSquares]]:
    """Fit line, parabola and cubic, as far as ``spare`` degrees of freedom are left over.

    Each with its columns; the side's column only where both approaches occur.
    """
    fits = []
    pulses = len(np.unique(data.pulse[here]))
    both = [2] if np.ptp(data.design[here, 2]) > 0 else []
    for powers in ([0, 1], [0, 1, 3], [0, 1, 3, 4]):
        columns = powers + both
        if len(here) - len(columns) < spare or pulses < len(powers) + 1:
            break
        try:
            fit = least_squares(data.design[here][:, columns], data.angle[here])
        except TravelError:  # each approach at its own pulses only, too few to part them
            break
        fits.append((columns, fit))
    return fits


def _take_worst(
    data: _Data, readings: Sequence[Reading], here: NDArray[np.intp]
) -> _Removal | None:
    """Find the reading whose absence lets the rest agree best; None if too few are left."""
    n = len(here)
    scores, aways, clears = [], [], []
    for _, fit in _fits(data, here, spare=2):
        out = each_left_out(fit, data.scatter, FALSE_ALARM)
        scores.append(aicc(out.rss, n - 1, len(fit.coefficients), data.scatter))
        aways.append(out.away)
        clears.append(out.standing > out.limit)
    if not scores:
        return None
    choice = (np.argmin(scores, axis=0), np.arange(n))
    score, away, clear = (np.asarray(rows)[choice] for rows in (scores, aways, clears))
    score = np.where(_shape_not_slip(data, readings, here, away), np.inf, score)
    worst = int(np.argmin(score))
    if not np.isfinite(score[worst]):
        return None
    close = np.flatnonzero(score < score[worst] + CLEARLY_BETTER)
    rivals = tuple(int(here[i]) for i in close if i != worst)
    return _Removal(int(here[worst]), float(away[worst]), bool(clear[worst]), rivals)


def _slipped_alike(
    data: _Data,
    readings: Sequence[Reading],
    here: NDArray[np.intp],
    pulses: Floats,
    places: NDArray[np.intp],
) -> NDArray[np.bool_]:
    """Mark readings that confirm each other but would fold the curve, and by a known slip.

    No servo folds back; where one slip of the pencil explains each, it was made twice.
    """
    near = LEAST_SLIP * data.scatter
    steps = np.diff(np.bincount(places, data.angle[here]) / np.bincount(places))
    back = steps * np.sign(np.median(steps)) < -near
    alike = np.zeros(len(here), dtype=bool)
    for place in np.flatnonzero(np.append(back, False) | np.append(False, back)):
        mine = places == place
        rest = here[~mine]
        if len(pulses) < 4 or not _fits(data, rest, spare=1):
            continue
        columns, fit, _ = _best_fit(data, rest)
        expected = data.design[here[mine]][:, columns] @ fit.coefficients
        alike[mine] = [
            abs(data.angle[index] - level) > near
            and explain(0, readings[index], float(level), near).slip != ""
            for index, level in zip(here[mine], expected, strict=True)
        ]
    return alike


def _shape_not_slip(
    data: _Data, readings: Sequence[Reading], here: NDArray[np.intp], away: Floats
) -> NDArray[np.bool_]:
    """Mark readings that show the servo's own shape, however far they are off a cubic."""
    pulse, angle = data.pulse[here], data.angle[here]
    # Confirmed: another reading at this pulse, in use or not, lies nearer to it than the fit.
    apart = np.abs(data.level[here, None] - data.level)
    apart[(pulse[:, None] != data.pulse) | (here[:, None] == np.arange(len(data.pulse)))] = np.inf
    shape: NDArray[np.bool_] = apart.min(axis=1) < np.abs(away) / 2.0
    pulses, places = np.unique(pulse, return_inverse=True)
    shape[_slipped_alike(data, readings, here, pulses, places)] = False
    # On its stop: at an end of the range, short of what was expected but still in order.
    for end, inner in ((pulses[0], pulses[1]), (pulses[-1], pulses[-2])):
        neighbour = float(np.mean(angle[pulse == inner]))
        onward = np.sign(angle - away - neighbour)
        in_order = onward * (angle - neighbour) > -data.scatter
        shape |= (pulse == end) & in_order & (onward * away < 0)
    return shape


def _best_fit(data: _Data, kept: NDArray[np.intp]) -> tuple[list[int], LeastSquares, float]:
    """Fit the kept readings, by AICc: columns, fit, and the scatter, floored."""

    def score(choice: tuple[list[int], LeastSquares]) -> float:
        return float(aicc(choice[1].chi2, len(kept), len(choice[0]), data.scatter))

    columns, fit = min(_fits(data, kept, spare=1), key=score)
    return columns, fit, max(fit.scale, data.scatter)


def _refuse_bent_few(data: _Data) -> None:
    """Refuse readings too few to check each other, when they do not lie on a line."""
    fit = least_squares(data.design[:, :2], data.angle)
    worst = float(np.abs(fit.residuals / np.maximum(1.0 - fit.leverage, 1e-9)).max())
    if worst > LEAST_SLIP * data.scatter:
        raise TravelError(
            f"{len(data.angle)} readings do not lie on a line (one is {worst:.1f} deg off the "
            "others), and so few cannot tell which is wrong.",
            mend="Re-measure, with at least five pulses.",
        )


def _swapped_pairs(readings: Sequence[Reading], scatter: float) -> list[Suspect]:
    """Find pairs at one pulse whose up and down readings stand the wrong way round."""
    sides: dict[float, dict[str, list[int]]] = {}
    for index, reading in enumerate(readings):
        at = sides.setdefault(reading.pulse_us, {"rising": [], "falling": []})
        at[reading.approach].append(index)
    pairs = [
        (at["rising"][0], at["falling"][0])
        for _, at in sorted(sides.items())
        if len(at["rising"]) == 1 and len(at["falling"]) == 1
    ]
    if len(pairs) < 4:  # with fewer, the usual gap is not known well enough
        return []
    gaps = np.asarray([readings[down].angle_deg - readings[up].angle_deg for up, down in pairs])
    usual = float(np.median(gaps))
    spread = max(1.4826 * float(np.median(np.abs(gaps - usual))), scatter)
    wrong = (np.abs(gaps - usual) > LEAST_SLIP * spread) & (np.abs(gaps + usual) < spread)
    # Where the arm runs backwards its lag does too; exchanging a pair leaves its mean.
    ways = np.diff([readings[up].angle_deg + readings[down].angle_deg for up, down in pairs])
    back = ways * np.sign(np.median(ways)) < -scatter
    wrong &= ~(np.append(back, back[-1]) & np.insert(back, 0, back[0]))
    suspects = []
    for pair, bad in zip(pairs, wrong, strict=True):
        for index, partner in (pair, pair[::-1]) if bad else ():
            mine, other = readings[index], readings[partner]
            text = mine.as_typed or f"{mine.angle_deg:g}"
            off = mine.angle_deg - other.angle_deg
            suspects.append(
                Suspect(index, mine.pulse_us, mine.approach, text, off, "up/down swapped")
            )
    return suspects
