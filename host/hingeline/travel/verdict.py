"""Whether a servo is fit for a control surface, and if not, why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hingeline.errors import UnfitError
from hingeline.travel.curve import TravelCurve
from hingeline.travel.fit import fit
from hingeline.travel.reading import Reading

#: Greatest up/down difference, in degrees of shaft. Common practice, no source: sound servos
#: stay well under 1 deg; at 3 the surface is free to flutter.
MOST_GAP_DEG = 3.0
#: Greatest standard deviation of a reading about the curve, in degrees of shaft. Common
#: practice, no source: sound servos come back to a few tenths of a degree.
MOST_NOISE_DEG = 1.5


@dataclass(frozen=True)
class Verdict:
    """What a calibration says of a servo.

    Attributes
    ----------
    unfit : tuple of str
        Why it must not drive a control surface; empty when nothing speaks against it.
    doubts : tuple of str
        What is over a limit, but not by more than its 95 % uncertainty.
    """

    unfit: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()

    @property
    def fit(self) -> bool:
        """Whether nothing speaks against it."""
        return not self.unfit


def verdict_on(readings: Sequence[Reading], *, nominal_centre_us: float = 1500.0) -> Verdict:
    """Judge a servo by its readings, also where no curve can be fitted to them.

    Raises
    ------
    TravelError
        If the readings do not tell: they are too few, or contradict each other.
    """
    turning = [reading for reading in readings if not reading.settled]
    if turning:
        at = ", ".join(f"{pulse:g} us" for pulse in sorted({r.pulse_us for r in turning}))
        return Verdict((f"It keeps turning (at {at}): it is made for continuous rotation.",))
    try:
        return verdict(fit(readings, nominal_centre_us=nominal_centre_us))
    except UnfitError as error:
        return unfit_by(error)


def unfit_by(error: UnfitError) -> Verdict:
    """Return the verdict on a servo whose readings make no curve, for the reason given."""
    return Verdict((f"{error.message} {error.cause}",))


def verdict(curve: TravelCurve) -> Verdict:
    """Judge a servo by its curve: up/down difference and noise against their limits."""
    factor = curve.coverage_factor()
    unfit: list[str] = []
    doubts: list[str] = []
    for what, value, u, most, why in (
        (
            "Its up/down difference",
            curve.hysteresis_deg,
            curve.hysteresis_deg_u,
            MOST_GAP_DEG,
            "the surface would be loose; gears or bearing are worn",
        ),
        (
            "The scatter of its readings",
            curve.residual_sd_deg,
            curve.residual_sd_deg_u,
            MOST_NOISE_DEG,
            "it does not come back to the same place; or the gauge was not held still",
        ),
    ):
        if value is None or value <= most:
            continue
        text = f"{what} is {value:.1f} deg, over {most:g} deg: {why}."
        (unfit if value - factor * (u or 0.0) > most else doubts).append(text)
    return Verdict(tuple(unfit), tuple(doubts))
