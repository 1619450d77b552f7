"""What it costs to bring an arm to its place at centre by the pulse alone."""

from __future__ import annotations

from dataclasses import dataclass

from hingeline.linkage.spline import Fit, nearest_fit
from hingeline.model.schema import Servo
from hingeline.travel.curve import TravelCurve


@dataclass(frozen=True)
class Trim:
    """The centre trim of one servo.

    Attributes
    ----------
    by_us : float
        Measured centre less the nominal one.
    off_deg, off_u_deg : float
        Where the arm stands at the nominal centre, counter-clockwise of its place, and the
        standard uncertainty.
    rises : bool
        Whether the travel lost is that on longer pulses.
    lost_percent : float
        Travel lost on that side, in parts of what there was: the trim takes from one side
        as many degrees as the arm stood off, and gives them to the other.
    refit : Fit or None
        Tooth and arm of the part that would bring the arm nearer to its place; None when
        it is on the nearest.
    """

    by_us: float
    off_deg: float
    off_u_deg: float
    rises: bool
    lost_percent: float
    refit: Fit | None

    @property
    def lost_deg(self) -> float:
        """Travel lost on that side, in degrees of the servo."""
        return abs(self.off_deg)


def trim_of(servo: Servo, curve: TravelCurve) -> Trim | None:
    """Work out the centre trim of a servo.

    Parameters
    ----------
    servo : Servo
        Its spline and arms.
    curve : TravelCurve
        Its measured curve.

    Returns
    -------
    Trim or None
        None when the curve does not hold both centres.
    """
    off, u, centre = curve.centre_error_deg, curve.centre_error_deg_u, curve.centre_us
    if off is None or u is None or centre is None:
        return None
    by = centre - curve.nominal_centre_us
    rises = by > 0
    end = float(curve.angle_deg(curve.limits_us[1 if rises else 0]))
    fit = nearest_fit(servo.spline_teeth, servo.arm_count, off)
    moved = fit.teeth != 0 or fit.arm != 1
    return Trim(
        by_us=by,
        off_deg=off,
        off_u_deg=u,
        rises=rises,
        lost_percent=100.0 * abs(off) / abs(end - off),
        refit=fit if moved else None,
    )
