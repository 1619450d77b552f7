"""From a wanted deflection to the pulse that gives it, through linkage and travel curve."""

from __future__ import annotations

import math
from dataclasses import dataclass

from hingeline.errors import LinkageError, TravelError
from hingeline.linkage.closure import Linkage, ratio, shaft_angle, surface_angle
from hingeline.linkage.limits import dead_points, shaft_limits
from hingeline.linkage.mounting import mounted
from hingeline.model import words
from hingeline.model.schema import Servo, Surface
from hingeline.model.throws import free_travel_deg
from hingeline.travel.curve import TravelCurve
from hingeline.travel.nominal import NominalCurve, nominal
from hingeline.travel.reading import Approach

#: A surface is never sent nearer than this to the end of its free travel. Our own choice:
#: more than a builder's gauge and the linkage's slop can be wrong.
FREE_MARGIN_DEG = 1.0
#: A servo arm is never sent nearer than this to where its linkage locks or turns back.
LOCK_MARGIN_DEG = 5.0


@dataclass(frozen=True)
class Setting:
    """One surface, ready to be set: the whole way between pulse and trailing edge.

    Attributes
    ----------
    surface, servo : Surface, Servo
        From the model file.
    linkage : Linkage
        As planned.
    curve : TravelCurve or NominalCurve
        The servo's measured curve, or the maker's figure where there is none.
    """

    surface: Surface
    servo: Servo
    linkage: Linkage
    curve: TravelCurve | NominalCurve

    @property
    def measured(self) -> bool:
        """Whether the servo's own curve is used."""
        return isinstance(self.curve, TravelCurve)

    @property
    def centre_us(self) -> float:
        """Pulse at which the surface stands at neutral, in us.

        Raises
        ------
        TravelError
            When the servo's curve does not pass neutral.
        """
        if self.curve.centre_us is None:
            raise TravelError(
                f"servo {self.surface.servo} does not reach neutral within its limits.",
                cause="Its arm was fitted far off, or its centre is wrong.",
                mend="Fit the arm nearer to its planned place and calibrate again.",
            )
        return self.curve.centre_us

    def shaft_deg(self, surface_deg: float) -> float:
        """Return the shaft angle for a signed deflection.

        Raises
        ------
        LinkageError
            When the linkage cannot bring the surface there.
        """
        shaft = math.degrees(float(shaft_angle(self.linkage, math.radians(surface_deg))))
        if math.isnan(shaft):
            raise LinkageError(
                f"{self.surface.name}: {words.say(self.surface, surface_deg)} is beyond what the "
                "linkage can do.",
                mend="Ask for less, or take a longer arm hole or a shorter horn hole.",
            )
        return shaft

    def pulse_us(self, surface_deg: float) -> int:
        """Return the pulse for a signed deflection, reached from neutral, in whole us.

        Raises
        ------
        LinkageError, TravelError
            When linkage, servo or free travel do not allow it.
        """
        self._check_free(surface_deg)
        shaft = self.shaft_deg(surface_deg)
        pulse = round(float(self.curve.pulse_us(shaft, self._approach(shaft))))
        low, high = self.servo.pulse_limits_us
        return min(max(pulse, low), high)  # rounding only: the curve ends within the limits

    def predicted_deg(self, pulse_us: float, approach: Approach | None) -> float:
        """Return where the surface will stand at a pulse, signed, in degrees; nan if it locks."""
        shaft = float(self.curve.angle_deg(pulse_us, approach))
        return math.degrees(float(surface_angle(self.linkage, math.radians(shaft))))

    def predicted_u_deg(self, pulse_us: float, approach: Approach | None) -> float | None:
        """Return the standard uncertainty of the prediction from the curve alone.

        None for a servo that was not measured.
        """
        if not isinstance(self.curve, TravelCurve):
            return None
        shaft = math.radians(float(self.curve.angle_deg(pulse_us, approach)))
        slope = abs(float(ratio(self.linkage, shaft)))
        return slope * float(self.curve.angle_u_deg(pulse_us, approach))

    def approach_of(self, pulse_us: float) -> Approach:
        """Return from which side a pulse is reached when coming from neutral."""
        return "rising" if pulse_us >= self.centre_us else "falling"

    def allowed_shaft_deg(self) -> tuple[float, float]:
        """Return the shaft angles within which the surface stays clear of its stops.

        The free travel less a margin, or where the linkage locks or turns back, whichever
        comes first; in degrees, lowest and highest.
        """
        both = shaft_limits(self.linkage), dead_points(self.linkage)
        low = math.degrees(max(limits.low_rad for limits in both)) + LOCK_MARGIN_DEG
        high = math.degrees(min(limits.high_rad for limits in both)) - LOCK_MARGIN_DEG
        for word in words.directions(self.surface):
            free = max(free_travel_deg(self.surface, word) - FREE_MARGIN_DEG, 0.0)
            signed = words.sign_of(self.surface, word) * free
            shaft = math.degrees(float(shaft_angle(self.linkage, math.radians(signed))))
            # nan: the linkage locks before the surface meets its stop
            if shaft < 0:
                low = max(low, shaft)
            elif shaft > 0:
                high = min(high, shaft)
        return low, high

    def check_pulse(self, pulse_us: float) -> None:
        """Refuse a pulse that would drive the surface against its stop, or lock the linkage.

        Raises
        ------
        TravelError
            Naming the pulse, what it would do and the limit.
        """
        shaft = float(self.curve.angle_deg(pulse_us, None))
        low, high = self.allowed_shaft_deg()
        if not low <= shaft <= high:
            raise TravelError(
                f"{self.surface.name}: at {pulse_us:.0f} us the servo arm would turn "
                f"{shaft:.1f} deg; with its rod on it may turn {low:.1f} to {high:.1f} deg.",
                cause="Beyond that the surface meets its stop or the linkage locks.",
                mend="Stay inside, or take the rod off and say --rod-off.",
            )

    def _approach(self, shaft_deg: float) -> Approach:
        return "rising" if (shaft_deg >= 0) == (self.curve.rate_deg_per_us > 0) else "falling"

    def _check_free(self, surface_deg: float) -> None:
        if surface_deg == 0:
            return
        word = words.word_of(self.surface, surface_deg)
        free = free_travel_deg(self.surface, word)
        if abs(surface_deg) > free - FREE_MARGIN_DEG:
            raise TravelError(
                f"{self.surface.name}: {words.say(self.surface, surface_deg)} is too near the end "
                f"of its free travel ({free:.1f} deg {word}, less {FREE_MARGIN_DEG:g} deg).",
                cause="Driven against its stop, a servo stalls, heats and fails.",
                mend="Ask for less, or free the hinge and correct free_travel.",
            )


def setting_of(
    surface: Surface, servo: Servo, curve: TravelCurve | NominalCurve | None
) -> Setting:
    """Put a surface's planned linkage and its servo's curve together; None: the maker's rate.

    Raises
    ------
    ModelError, LinkageError
        When the model file makes no linkage of this surface.
    """
    return Setting(surface, servo, mounted(surface, servo), curve or nominal(servo))
