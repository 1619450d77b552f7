"""The same servo with its arm put on elsewhere: its travel curve, shifted."""

from __future__ import annotations

import math
from dataclasses import replace

from hingeline.errors import TravelError
from hingeline.travel.curve import Stop, TravelCurve
from hingeline.travel.shapes import MonotonePoints, Polynomial, Shape


def seated(curve: TravelCurve, arm_deg: float, pulse_us: float, u_deg: float) -> TravelCurve:
    """Shift a curve to where the arm was seen to stand since.

    Putting an arm on another tooth moves every angle by the same amount and changes nothing
    else: rate, up/down difference, linearity and limits stay.

    Parameters
    ----------
    curve : TravelCurve
        As calibrated.
    arm_deg : float
        Shaft angle that the mean curve gets at ``pulse_us``, counter-clockwise positive.
    pulse_us : float
        Where the arm was read, within the measured range.
    u_deg : float
        Standard uncertainty of that reading; it is shared by all angles.

    Raises
    ------
    TravelError
        For a pulse outside the measured range, or values that are not finite.
    """
    if not (math.isfinite(arm_deg) and math.isfinite(u_deg) and u_deg >= 0):
        raise TravelError(
            f"An arm at {arm_deg:g} deg +/- {u_deg:g} deg cannot be used.",
            mend="Read the arm's lean again.",
        )
    by = arm_deg - float(curve.angle_deg(pulse_us))
    moved = replace(
        curve,
        shape=_raised(curve.shape, by),
        u_common_deg=math.hypot(curve.u_common_deg, u_deg),
        stops=(_moved(curve.stops[0], by), _moved(curve.stops[1], by)),
        readings=tuple(
            replace(reading, angle_deg=reading.angle_deg + by) for reading in curve.readings
        ),
    )
    centre, centre_u = _centre(moved)
    error, error_u = curve.centre_error_deg, None
    if error is not None:
        error += by
        error_u = float(moved.angle_u_deg(curve.nominal_centre_us))
    return replace(
        moved,
        centre_us=centre,
        centre_us_u=centre_u,
        centre_error_deg=error,
        centre_error_deg_u=error_u,
    )


def _moved(stop: Stop | None, by_deg: float) -> Stop | None:
    return stop and replace(stop, angle_deg=stop.angle_deg + by_deg)


def _raised(shape: Shape, by_deg: float) -> Shape:
    if isinstance(shape, Polynomial):
        constant, *powers = shape.coefficients
        return replace(shape, coefficients=(constant + by_deg, *powers))
    return MonotonePoints(shape.pulses_us, tuple(angle + by_deg for angle in shape.angles_deg))


def _centre(curve: TravelCurve) -> tuple[float | None, float | None]:
    """Find the pulse of angle 0 and its uncertainty; None when it is not within the limits."""
    low, high = curve.reach_deg()
    if not low <= 0.0 <= high:
        return None, None
    return float(curve.pulse_us(0.0)), float(curve.pulse_u_us(0.0))
