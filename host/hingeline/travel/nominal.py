"""A servo that has not been measured: the maker's figure as a straight line."""

from __future__ import annotations

from dataclasses import dataclass, replace

from hingeline.errors import TravelError
from hingeline.model.schema import Servo
from hingeline.travel.reading import Approach


@dataclass(frozen=True)
class NominalCurve:
    """Pulse to shaft angle by the model file alone; good for planning, not for setting.

    Attributes
    ----------
    centre_us : float
        Pulse at which the arm is taken to stand at neutral.
    rate_deg_per_us : float
        Negative when the servo turns clockwise with rising pulse.
    limits_us : tuple of float
        The servo's pulse limits.
    """

    centre_us: float
    rate_deg_per_us: float
    limits_us: tuple[float, float]

    def angle_deg(self, pulse_us: float, approach: Approach | None = None) -> float:
        """Return the shaft angle at a pulse, in degrees; the approach makes no difference."""
        del approach
        return self.rate_deg_per_us * (pulse_us - self.centre_us)

    def pulse_us(self, angle_deg: float, approach: Approach | None = None) -> float:
        """Return the pulse for a shaft angle, in us.

        Raises
        ------
        TravelError
            When it lies outside the servo's pulse limits.
        """
        del approach
        pulse = self.centre_us + angle_deg / self.rate_deg_per_us
        low, high = self.limits_us
        if not low <= pulse <= high:
            raise TravelError(
                f"{angle_deg:.1f} deg of servo arm would need {pulse:.0f} us; the servo's pulse "
                f"limits are {low:.0f} to {high:.0f} us.",
                mend="Take a longer arm hole or a shorter horn hole, or ask for less.",
            )
        return pulse


def nominal(servo: Servo) -> NominalCurve:
    """Return what the model file says of a servo; without ``turns``, counter-clockwise."""
    sense = -1.0 if servo.turns == "cw" else 1.0
    low, high = servo.pulse_limits_us
    return NominalCurve(float(servo.centre_us), sense * servo.rate_deg_per_us, (low, high))


def turned(curve: NominalCurve, arm_deg: float, pulse_us: float) -> NominalCurve:
    """Return the curve of the servo with its arm at another place: at ``arm_deg`` at a pulse."""
    return replace(curve, centre_us=pulse_us - arm_deg / curve.rate_deg_per_us)
