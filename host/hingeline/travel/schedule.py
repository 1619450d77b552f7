"""The parts of a calibration's walk: the small step's rate, the range, up and down.

Nobody knows yet how far the servo turns per microsecond; the rate that one small step shows
trims everything that follows, so that a servo of wide travel is not thrown past its linkage.

The approach of a step is not declared but worked out from the pulse before it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from hingeline.errors import TravelError, UnfitError
from hingeline.travel.reading import Approach, Reading

#: Closer pulses than this do nothing: a dead band of about 5 us. Common practice, no source.
LEAST_STEP_US = 5
#: Enough to see the servo move, little enough not to harm a linkage: at twice the rate of a
#: common servo it is 9 deg. Our own choice.
FIRST_STEP_US = 50
#: Standard uncertainties by which a rate may have been read too slow: two readings, each
#: rounded by half a mark the wrong way, are sqrt(6) = 2.45 of them off.
SLOWEST_READ = 2.5
#: Where a servo comes to rest differs by this standard deviation, in degrees. Our own choice.
REST_DEG = 0.25
#: Run-up before a traverse, so that its first point is reached from the right side: more
#: than the pulse change that 2 deg of play swallows at 0.09 deg/us. Our own choice.
RUN_UP_US = 30
#: Points each way. The curves of simulated servos read to half a degree left the truth by more
#: than half a degree in none of 1000 with 13 points, in 1 of 500 with 11, in 3 of 500 with 9.
POINTS = 13


class KeepsTurningError(UnfitError):
    """The servo does not come to rest."""


@dataclass(frozen=True)
class Step:
    """One pulse to send.

    Attributes
    ----------
    pulse_us : int
        In us.
    approach : {"rising", "falling"}
        From which side the pulse is reached.
    read : bool
        Whether a reading is wanted; False for a run-up.
    """

    pulse_us: int
    approach: Approach
    read: bool


def rate_of_first_step(readings: Iterable[Reading]) -> tuple[float, float]:
    """Return the rate that two readings show: at centre, and one small step from it.

    Returns
    -------
    rate_deg_per_us, u_deg_per_us : float
        Signed rate and its standard uncertainty.

    Raises
    ------
    TravelError
        If there are not two settled readings at two pulses, or the arm did not move by more
        than the gauge can tell.
    """
    pair = sorted(readings, key=lambda reading: reading.pulse_us)
    if len(pair) != 2 or pair[0].pulse_us == pair[1].pulse_us:
        raise TravelError(
            f"The first step needs two readings at two pulses; there are {len(pair)}.",
            mend="Read the arm at centre and after the small step.",
        )
    refuse_turning(pair)
    span_us = pair[1].pulse_us - pair[0].pulse_us
    moved_deg = pair[1].angle_deg - pair[0].angle_deg
    u_deg = math.hypot(pair[0].u_deg, pair[1].u_deg)
    if abs(moved_deg) <= 2.0 * u_deg:
        raise TravelError(
            f"The arm moved {moved_deg:g} deg in {span_us:g} us, less than the gauge can tell "
            f"({2.0 * u_deg:.2f} deg).",
            cause="The servo has no power or no signal, is of another pulse class, or is broken.",
            mend="Check the servo's supply, its lead and its pulse class.",
        )
    return moved_deg / span_us, u_deg / span_us


def rate_of_first_steps(readings: Sequence[Reading]) -> tuple[float, float, bool]:
    """Return the rate that three readings show: at centre, and two small steps onward.

    Where one of them is wrong, two others still tell the true rate: the fastest is returned.

    Returns
    -------
    rate_deg_per_us, u_deg_per_us : float
        Signed rate and its standard uncertainty.
    sure : bool
        Whether the three lie on a line, as far as gauge and servo let that be told.

    Raises
    ------
    TravelError
        As for `rate_of_first_step`, with the first and the last.
    """
    first, middle, last = readings
    span_us = last.pulse_us - first.pulse_us
    part = (middle.pulse_us - first.pulse_us) / span_us
    off = middle.angle_deg - (1.0 - part) * first.angle_deg - part * last.angle_deg
    u = [math.hypot(reading.u_deg, REST_DEG) for reading in readings]
    if abs(off) <= SLOWEST_READ * math.hypot((1.0 - part) * u[0], u[1], part * u[2]):
        rate, _ = rate_of_first_step([first, last])
        return rate, math.hypot(u[0], u[2]) / span_us, True
    refuse_turning(readings)
    rates = [
        (
            (b.angle_deg - a.angle_deg) / (b.pulse_us - a.pulse_us),
            math.hypot(a.u_deg, b.u_deg) / (b.pulse_us - a.pulse_us),
        )
        for a, b in ((first, middle), (middle, last), (first, last))
    ]
    return *max(rates, key=lambda one: abs(one[0]) + SLOWEST_READ * one[1]), False


def trim(
    limits_us: tuple[int, int],
    centre_us: int,
    rate_deg_per_us: float,
    u_deg_per_us: float,
    allowed_deg: tuple[float, float],
) -> tuple[int, int]:
    """Narrow a pulse range so that the arm stays inside an angle range.

    Parameters
    ----------
    limits_us : tuple of int
        Lowest and highest pulse the servo may be given, in us.
    centre_us : int
        Where the arm is at 0 deg, in us.
    rate_deg_per_us, u_deg_per_us : float
        From `rate_of_first_step`, either sign. The fastest servo that the small step still
        allows is assumed: `SLOWEST_READ` standard uncertainties above the rate.
    allowed_deg : tuple of float
        Lowest and highest shaft angle wanted, or that the linkage leaves free, in degrees.

    Returns
    -------
    low_us, high_us : int
        Inside ``limits_us``.

    Raises
    ------
    TravelError
        If the angles do not lie around 0, a value is not finite, or nothing worth
        measuring remains.
    """
    lowest, highest = allowed_deg
    if not (math.isfinite(lowest) and math.isfinite(highest) and lowest < 0.0 < highest):
        raise TravelError(
            f"The angles allowed, {lowest:g} to {highest:g} deg, do not lie around 0.",
            mend="Give the free travel to both sides of the arm's place at centre.",
        )
    fastest = abs(rate_deg_per_us) + SLOWEST_READ * u_deg_per_us
    if not (math.isfinite(fastest) and fastest > 0.0):
        raise TravelError(
            f"A rate of {rate_deg_per_us} deg/us cannot limit the next step.",
            mend="Repeat the first small step.",
        )
    below_deg, above_deg = (-lowest, highest) if rate_deg_per_us > 0 else (highest, -lowest)
    low = max(limits_us[0], math.ceil(centre_us - below_deg / fastest))
    high = min(limits_us[1], math.floor(centre_us + above_deg / fastest))
    if high - low < 4 * LEAST_STEP_US or not low <= centre_us <= high:
        raise TravelError(
            f"At {fastest:.3f} deg/us only {low} to {high} us keep the arm within "
            f"{lowest:g} to {highest:g} deg.",
            mend="Take the rod off to calibrate, or free the surface.",
        )
    return low, high


def traverse(
    low_us: int,
    high_us: int,
    *,
    limits_us: tuple[int, int],
    start_us: int,
    points: int = POINTS,
) -> tuple[Step, ...]:
    """List one walk up and one walk down over a range.

    Parameters
    ----------
    low_us, high_us : int
        The range to be measured, ends included, in us.
    limits_us : tuple of int
        What the run-ups may use. Where they leave no room for one, the end pulse is read
        from one side only, and marked with the side from which it is really reached.
    start_us : int
        Where the servo is beforehand, in us.
    points : int
        Pulses each way, 3 or more, evenly spaced to the nearest us.

    Raises
    ------
    TravelError
        If the range lies outside the limits, or the points are too few or too close.
    """
    if not limits_us[0] <= low_us < high_us <= limits_us[1]:
        raise TravelError(
            f"A range of {low_us} to {high_us} us does not fit the limits of "
            f"{limits_us[0]} to {limits_us[1]} us.",
            mend="Narrow the range, or widen the servo's pulse limits.",
        )
    if points < 3:
        raise TravelError(
            f"{points} points each way are too few: 3 is the least.", mend=f"Use {POINTS}."
        )
    spacing_us = (high_us - low_us) / (points - 1)
    if spacing_us < LEAST_STEP_US:
        raise TravelError(
            f"{points} points between {low_us} and {high_us} us are {spacing_us:.1f} us apart; "
            f"a servo does not follow less than {LEAST_STEP_US} us.",
            mend="Use fewer points or a wider range.",
        )
    up = [round(low_us + index * spacing_us) for index in range(points)]
    below = max(limits_us[0], low_us - RUN_UP_US)
    above = min(limits_us[1], high_us + RUN_UP_US)
    # A run-up shorter than the dead band would not turn the servo round.
    pulses = [(below, False)] if low_us - below >= LEAST_STEP_US else []
    pulses += [(pulse, True) for pulse in up]
    down = up[::-1]
    if above - high_us >= LEAST_STEP_US:
        pulses += [(above, False)]
    else:
        down = down[1:]
    pulses += [(pulse, True) for pulse in down]
    return _walk(start_us, pulses)


def reach(pulse_us: int, approach: Approach, at_us: int, bounds_us: tuple[int, int]) -> list[Step]:
    """List the steps that bring a servo to a pulse from the wanted side.

    Parameters
    ----------
    pulse_us : int
        Where to, in us.
    approach : {"rising", "falling"}
        From which side.
    at_us : int
        Where it is now.
    bounds_us : tuple of int
        Pulses between which it may be moved for a run-up.

    Returns
    -------
    list of Step
        A run-up that is not read, where one is needed, and the pulse. At the very end of the
        bounds there is no room to come from outside: then the list is empty.
    """
    sense = 1 if approach == "rising" else -1
    if sense * (pulse_us - at_us) >= LEAST_STEP_US:
        return [Step(pulse_us, approach, True)]
    start_us = min(max(pulse_us - sense * RUN_UP_US, bounds_us[0]), bounds_us[1])
    if sense * (pulse_us - start_us) < LEAST_STEP_US:
        return []
    back: Approach = "falling" if start_us < at_us else "rising"
    return [Step(start_us, back, False), Step(pulse_us, approach, True)]


def refuse_turning(readings: Iterable[Reading]) -> None:
    """Refuse readings that were taken while the arm kept turning.

    Raises
    ------
    KeepsTurningError
        Naming the first such pulse.
    """
    for reading in readings:
        if not reading.settled:
            raise KeepsTurningError(
                f"At {reading.pulse_us:g} us the arm kept turning, so there is no travel curve.",
                cause="A servo for continuous rotation sets a speed, not an angle; or its "
                "feedback is broken.",
                mend="Stop the pulses and use another servo for a control surface.",
            )


def _walk(start_us: int, pulses: list[tuple[int, bool]]) -> tuple[Step, ...]:
    """Give each pulse the approach that the one before it makes true."""
    steps: list[Step] = []
    before = start_us
    for pulse, read in pulses:
        # A servo already standing on the first pulse got there from an unknown side: it is
        # called rising only if nothing better is known, and such a step is not read.
        known = pulse != before
        steps.append(Step(pulse, "rising" if pulse >= before else "falling", read and known))
        before = pulse
    return tuple(steps)
