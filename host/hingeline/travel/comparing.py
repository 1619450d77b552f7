"""Two calibrations of one servo: what changed, and whether by more than is uncertain."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from hingeline.errors import TravelError
from hingeline.travel.curve import TravelCurve
from hingeline.travel.terms import figures_of

#: Chance that a servo that has not changed shows a change anywhere. Our own choice.
FALSE_ALARM = 0.05
#: How near to whole teeth a shift must be to be called that, beyond its own uncertainty, in
#: degrees. Our own choice: a gauge is put on again to about a degree.
NEAR_TOOTH_DEG = 1.5

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
    # At another nominal centre these are other figures.
    elsewhere = (
        {"centre error", "rate", "dead band by the curve"}
        if old.nominal_centre_us != new.nominal_centre_us
        else set()
    )
    both = [name for name in then if name in now and name not in elsewhere]
    # Each figure, and the curve, could give a false alarm.
    confidence = 1.0 - FALSE_ALARM / (len(both) + 1)
    factors = old.coverage_factor(confidence), new.coverage_factor(confidence)
    changes = tuple(
        _change(
            name,
            then[name].unit,
            (then[name].value, now[name].value),
            (then[name].u, now[name].u),
            factors,
        )
        for name in both
    )
    pulses = np.linspace(low, high, _PLACES)
    away = new.angle_deg(pulses) - old.angle_deg(pulses)
    width = np.hypot(factors[0] * old.angle_u_deg(pulses), factors[1] * new.angle_u_deg(pulses))
    worst = int(np.argmax(np.abs(away) / width))
    at_us = float(pulses[worst])
    curve = _change(
        "angle",
        "deg",
        (float(old.angle_deg(at_us)), float(new.angle_deg(at_us))),
        (float(old.angle_u_deg(at_us)), float(new.angle_u_deg(at_us))),
        factors,
    )
    return Comparison(changes, curve, at_us, _words(changes, away, curve, at_us, teeth))


def _change(
    name: str,
    unit: str,
    values: tuple[float, float],
    us: tuple[float | None, float | None],
    factors: tuple[float, float],
) -> Change:
    old_u, new_u = us
    u = half = None
    if old_u is not None and new_u is not None:
        u, half = math.hypot(old_u, new_u), math.hypot(factors[0] * old_u, factors[1] * new_u)
    return Change(name, unit, *values, values[1] - values[0], u, half)


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
