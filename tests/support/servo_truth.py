"""Servos whose truth is known, to judge the fit by: invented, and not of the fit's family.

The mean curve is a line plus an S or a bow made of sine, arc tangent, cosine, exponential or
circle, of which none is a polynomial. Play is simulated as play: the arm is dragged by the
gears through a gap, so what it does depends on where it was. What is read is what a person
reads: scatter added, then rounded to the gauge's marks.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from hingeline.travel.reading import Reading, shaft_reading
from hingeline.travel.schedule import Step

# Each runs over z in -1..1 with values of about -1..1 and no linear trend to speak of.
SHAPES: dict[str, Callable[[float], float]] = {
    "sine": lambda z: math.sin(math.pi * z),
    "arc tangent": lambda z: 4.0 * (math.atan(2.0 * z) / math.atan(2.0) - z),
    "cosine": lambda z: math.cos(math.pi * z / 2.0),
    "exponential": lambda z: math.expm1(z) / math.sinh(1.0) * 2.0 - 2.0 * z,
    "circle": lambda z: (math.sqrt(1.0 - 0.64 * z * z) - 0.6) / 0.4,
    "lopsided": lambda z: math.sin(math.pi * (z + 0.3) / 1.3) if z > -0.3 else 0.0,
}


@dataclass
class ServoTruth:
    """One servo on the bench.

    Attributes
    ----------
    rate_deg_per_us, centre_us : float
        The line.
    shape, bend_deg : str, float
        The departure from it, and how large.
    play_deg : float
        Whole gap.
    noise_deg : float
        Standard deviation of where the arm settles.
    low_us, high_us : float
        What z = -1 and z = 1 stand for.
    stop_deg : float
        The arm turns no farther than this either way.
    """

    rate_deg_per_us: float
    centre_us: float = 1500.0
    shape: str = "sine"
    bend_deg: float = 0.0
    play_deg: float = 0.0
    noise_deg: float = 0.0
    low_us: float = 1000.0
    high_us: float = 2000.0
    stop_deg: float = math.inf

    def mean_deg(self, pulse_us: float) -> float:
        """The truth without play or noise."""
        return min(self.stop_deg, max(-self.stop_deg, self._drive_deg(pulse_us)))

    def _drive_deg(self, pulse_us: float) -> float:
        """Where the gears would take the arm if there were no play and no stop."""
        z = (2.0 * pulse_us - self.low_us - self.high_us) / (self.high_us - self.low_us)
        bend = self.bend_deg * SHAPES[self.shape](min(1.0, max(-1.0, z)))
        return self.rate_deg_per_us * (pulse_us - self.centre_us) + bend

    def means_deg(self, pulses_us: Sequence[float]) -> np.ndarray:
        return np.asarray([self.mean_deg(float(pulse)) for pulse in pulses_us])

    def slope_deg_per_us(self, pulse_us: float) -> float:
        return (self.mean_deg(pulse_us + 0.01) - self.mean_deg(pulse_us - 0.01)) / 0.02

    def read(
        self, steps: Sequence[Step], rng: np.random.Generator, resolution_deg: float = 0.5
    ) -> list[Reading]:
        """Walk through the steps and read the gauge where a reading is wanted."""
        half = self.play_deg / 2.0
        arm = self.mean_deg(1500.0)
        readings = []
        for step in steps:
            drive = self._drive_deg(step.pulse_us)
            arm = min(drive + half, max(drive - half, arm))
            arm = min(self.stop_deg, max(-self.stop_deg, arm))
            if step.read:
                seen = arm + rng.normal(0.0, self.noise_deg)
                seen = round(seen / resolution_deg) * resolution_deg
                readings.append(
                    shaft_reading(
                        step.pulse_us,
                        step.approach,
                        seen,
                        resolution_deg=resolution_deg,
                        as_typed=f"{seen:g}",
                    )
                )
        return readings


def random_servo(rng: np.random.Generator, noise_deg: float = 0.1) -> ServoTruth:
    """Draw a servo as a builder may meet it.

    About 0.09 deg/us with 10 % of gain error, either way round; centre up to 40 us off; bent
    by 1 to 2 % of its travel; 0 to 2 deg of play.
    """
    rate = rng.choice([-1.0, 1.0]) * 0.09 * rng.uniform(0.9, 1.1)
    travel_deg = abs(rate) * 1000.0
    return ServoTruth(
        rate_deg_per_us=rate,
        centre_us=1500.0 + rng.uniform(-40.0, 40.0),
        shape=str(rng.choice(list(SHAPES))),
        bend_deg=rng.choice([-1.0, 1.0]) * travel_deg * rng.uniform(0.01, 0.02),
        play_deg=rng.uniform(0.0, 2.0),
        noise_deg=noise_deg,
    )
