"""Two calibrations of one servo: what changed, and whether by more than is uncertain."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from hingeline.errors import TravelError
from hingeline.travel.curve import Floats, TravelCurve
from hingeline.travel.terms import Figure, figures_of

#: Chance that a servo that has not changed shows a change anywhere. Our own choice.
FALSE_ALARM = 0.05
#: How near to whole teeth a shift must be to be called that, beyond its own uncertainty, in
#: degrees. Our own choice: a gauge is put on again to about a degree.
NEAR_TOOTH_DEG = 1.5
#: Two gauges whose uncertainties differ by no more than this factor are taken as alike; the
#: same gauge at a surface tells the shaft a little better here than there. Our own choice.
ALIKE = 1.25

# Places at which the curves are compared.
_PLACES = 201


@dataclass(frozen=True)
class Change:
    """One figure, then and now.

    Attributes
    ----------
    name, unit : str
        As in `hingeline.travel.terms.Figure`.
    old, new, difference : float
        Then, now, and now less then.
    u : float or None
        Standard uncertainty of the difference; None when that of one is not known.
    half_width : float or None
        How large the difference may be without being a change; likewise.
    beyond : bool
        Whether it is larger than that.
    """

    name: str
    unit: str
    old: float
    new: float
    difference: float
    u: float | None
    half_width: float | None

    @property
    def beyond(self) -> bool:
        """Whether the difference is beyond its uncertainty."""
        return self.half_width is not None and abs(self.difference) > self.half_width


@dataclass(frozen=True)
class Comparison:
    """What became of a servo.

    Attributes
    ----------
    changes : tuple of Change
        Of each figure that both calibrations have.
    curve : Change
        Of the mean shaft angle, where it changed most for its uncertainty.
    at_us : float
        The pulse of that.
    words : tuple of str
        What the changes beyond uncertainty probably mean; empty when there are none.
    """

    changes: tuple[Change, ...]
    curve: Change
    at_us: float
    words: tuple[str, ...]

    @property
    def changed(self) -> bool:
        """Whether anything changed beyond uncertainty."""
        return self.curve.beyond or any(change.beyond for change in self.changes)


def compare(old: TravelCurve, new: TravelCurve, *, teeth: int | None = None) -> Comparison:
    """Compare a servo's calibration with an earlier one.

    Parameters
    ----------
    old, new : TravelCurve
        Of the same servo; arm and gauge put on as before.
    teeth : int or None
        Of the servo's spline, to tell an arm that slipped.

    Returns
    -------
    Comparison

    Raises
    ------
    TravelError
        If the ranges of use have no pulse in common.
    """
    low = max(old.limits_us[0], new.limits_us[0])
    high = min(old.limits_us[1], new.limits_us[1])
    if low >= high:
        raise TravelError(
            "The two calibrations have no pulse in common: {:g} to {:g} us then, {:g} to {:g} us "
            "now.".format(*old.limits_us, *new.limits_us),
            mend="Calibrate over the same range as before.",
        )
    then = {figure.name: figure for figure in figures_of(old)}
    now = {figure.name: figure for figure in figures_of(new)}
    other = _other_figures(old, new)
    both = [name for name in then if name in now and name not in other]
    # Each figure, and the curve, could give a false alarm.
    confidence = 1.0 - FALSE_ALARM / (len(both) + 1)
    factors = old.coverage_factor(confidence), new.coverage_factor(confidence)
    same = _through_the_same(old, new)
    floors = _floor_deg(old), _floor_deg(new)
    changes = tuple(_change(then[name], now[name], factors, same, floors) for name in both)
    pulses = np.linspace(low, high, _PLACES)
    away = new.angle_deg(pulses) - old.angle_deg(pulses)
    us, widths = _angle_doubt(old, new, pulses, factors)
    worst = int(np.argmax(np.abs(away) / widths))
    at_us = float(pulses[worst])
    curve = Change(
        "angle",
        "deg",
        float(old.angle_deg(at_us)),
        float(new.angle_deg(at_us)),
        float(away[worst]),
        float(us[worst]),
        float(widths[worst]),
    )
    return Comparison(changes, curve, at_us, _words(changes, away, curve, at_us, teeth))


def by_chance_deg(
    old: TravelCurve, new: TravelCurve, pulses_us: ArrayLike, confidence: float
) -> Floats:
    """Return how far two curves may lie apart at pulses without the servo having changed.

    Parameters
    ----------
    old, new : TravelCurve
    pulses_us : array_like, shape (...)
        Within the limits of both.
    confidence : float
        Between 0 and 1.

    Returns
    -------
    ndarray, shape (...)
        In degrees. The doubt of a linkage through which both were read moves both, and
        counts only as far as it moves them differently.
    """
    factors = old.coverage_factor(confidence), new.coverage_factor(confidence)
    return _angle_doubt(old, new, np.asarray(pulses_us, dtype=np.float64), factors)[1]


def _other_figures(old: TravelCurve, new: TravelCurve) -> set[str]:
    """Name the figures that bear the same name in both but are not the same."""
    other = set()
    if old.nominal_centre_us != new.nominal_centre_us:
        other |= {"centre error", "rate", "dead band by the curve"}
    # Without a stop a limit is only how far the servo was driven.
    for name, then, now in zip(("lower limit", "upper limit"), old.stops, new.stops, strict=True):
        if then is None or now is None:
            other.add(name)
    return other


def _through_the_same(old: TravelCurve, new: TravelCurve) -> bool:
    """Tell whether both were read through one linkage, whose doubt is then the same."""
    marks = [
        {reading.through for reading in curve.readings if reading.kind == "surface"}
        for curve in (old, new)
    ]
    one = marks[0] == marks[1] and len(marks[0]) == 1 and "" not in marks[0]
    return one and len(old.together) == len(new.together) > 0


def _floor_deg(curve: TravelCurve) -> float:
    """Return the gauge's own part of the scatter, below which none is believed."""
    return float(np.median([reading.u_deg for reading in curve.readings]))


def _angle_doubt(
    old: TravelCurve, new: TravelCurve, pulses: Floats, factors: tuple[float, float]
) -> tuple[Floats, Floats]:
    us = old.angle_u_deg(pulses), new.angle_u_deg(pulses)
    if not _through_the_same(old, new):
        return _doubt(us, None, factors)
    return _doubt(us, (old.together_deg(pulses), new.together_deg(pulses)), factors)


def _doubt(
    us: tuple[ArrayLike, ArrayLike],
    moved: tuple[ArrayLike, ArrayLike] | None,
    factors: tuple[float, float],
) -> tuple[Floats, Floats]:
    """Return a difference's standard uncertainty and how large it may be by chance.

    What moved both, on the last axis, is taken out of each and put back as a difference.
    """
    squares = [np.square(u) for u in us]
    apart = np.zeros_like(squares[0])
    if moved is not None:
        first, second = np.asarray(moved[0]), np.asarray(moved[1])
        for place, shift in enumerate((first, second)):
            squares[place] = np.maximum(squares[place] - np.sum(np.square(shift), axis=-1), 0.0)
        apart = np.sum(np.square(second - first), axis=-1)
    u = np.sqrt(squares[0] + squares[1] + apart)
    scaled = factors[0] ** 2 * squares[0] + factors[1] ** 2 * squares[1]
    return u, np.sqrt(scaled + max(factors) ** 2 * apart)


def _change(
    old: Figure,
    new: Figure,
    factors: tuple[float, float],
    same: bool,
    floors: tuple[float, float],
) -> Change:
    u = half = None
    if old.u is not None and new.u is not None:
        both = same and len(old.together) == len(new.together) > 0
        moved = (old.together, new.together) if both else None
        u, half = (float(one) for one in _doubt((old.u, new.u), moved, factors))
        if old.name in ("noise", "repeatability"):
            half += _by_gauge(old.value, new.value, floors)
    return Change(old.name, old.unit, old.value, new.value, new.value - old.value, u, half)


def _by_gauge(old: float, new: float, floors: tuple[float, float]) -> float:
    """Return how far two scatters of one servo may lie apart because the gauges differ.

    A scatter has its gauge's rounding in it: with the other gauge's in its place it would be
    another. For gauges of like resolution that is nothing.
    """
    fine, coarse = sorted(floors)
    if coarse <= ALIKE * fine:
        return 0.0
    by_fine = old if floors[0] == fine else new
    return math.sqrt(max(by_fine**2 - fine**2, 0.0) + coarse**2) - by_fine


def _words(
    changes: tuple[Change, ...],
    away_deg: np.ndarray,
    curve: Change,
    at_us: float,
    teeth: int | None,
) -> tuple[str, ...]:
    beyond = {change.name: change for change in changes if change.beyond}
    words = []
    if (rate := beyond.get("rate")) is not None:
        percent = 100.0 * (abs(rate.new / rate.old) - 1.0)
        words.append(
            "It turns the other way than before: another servo, or the angles were read from "
            "the other side."
            if rate.new * rate.old < 0
            else f"It turns {abs(percent):.1f} % {'more' if percent > 0 else 'less'} for the same "
            "pulse: another servo, or another gauge."
        )
    if curve.beyond:
        words.append(
            _shift_words(float(np.median(away_deg)), curve, teeth)
            if np.ptp(away_deg) <= 2.0 * (curve.half_width or 0.0)
            else f"The curve has another shape: {curve.difference:+.1f} deg at {at_us:.0f} us."
        )
    if (gap := beyond.get("up/down difference")) is not None:
        words.append(
            f"The up/down difference grew by {gap.difference:.1f} deg: gears or bearing wear."
            if gap.difference > 0
            else f"The up/down difference shrank by {-gap.difference:.1f} deg: the arm's screw "
            "was loose before, or the gears were changed."
        )
    if (noise := beyond.get("noise")) is not None and noise.difference > 0:
        words.append(
            f"The readings scatter more ({noise.new:.2f} deg, {noise.old:.2f} before): a worn "
            "potentiometer, a loose arm, or a gauge not held still."
        )
    return tuple(words)


def _shift_words(shift_deg: float, curve: Change, teeth: int | None) -> str:
    text = f"The whole curve moved by {shift_deg:+.1f} deg"
    if teeth:
        pitch = 360.0 / teeth
        count = round(abs(shift_deg) / pitch)
        off = abs(abs(shift_deg) - count * pitch)
        if count and off <= NEAR_TOOTH_DEG + (curve.half_width or 0.0):
            whole = "one tooth" if count == 1 else f"{count} teeth"
            return f"{text}, {whole} of the spline: the arm slipped, or was put on otherwise."
        return f"{text}, no whole tooth: the gauge was put on otherwise, or the centre drifted."
    return f"{text}: the arm slipped, the gauge was put on otherwise, or the centre drifted."
