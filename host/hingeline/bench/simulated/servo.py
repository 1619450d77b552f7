"""A modelled servo whose truth is known."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np


@dataclass(frozen=True)
class ServoTruth:
    """What a modelled servo really does.

    Attributes
    ----------
    centre_us : float
        Pulse around which the figures below are meant.
    centre_deg : float
        Where the shaft stands at ``centre_us``, from the arm's planned neutral.
    rate_deg_per_us : float
        Slope at the centre; negative when it turns clockwise with rising pulse.
    bow_deg, curl_deg : float
        Gentle non-linearity, in degrees at 600 us from the centre: a part that bends
        both ends the same way, and an S-shaped part. Neither is a polynomial, so that
        a fit by polynomials is put to the test.
    half_gap_deg : float
        Half the play of the gears: the shaft stops this much short of where it is
        driven, from either side.
    dead_band_us : float
        A change of pulse up to this size is not acted on.
    speed_deg_per_s : float
        How fast it turns.
    stops_deg : tuple of float
        Lowest and highest shaft angle.
    noise_deg : float
        Standard deviation of where it comes to rest.
    """

    centre_us: float
    centre_deg: float
    rate_deg_per_us: float
    bow_deg: float = 0.0
    curl_deg: float = 0.0
    half_gap_deg: float = 0.0
    dead_band_us: float = 0.0
    speed_deg_per_s: float = 500.0
    stops_deg: tuple[float, float] = (-80.0, 80.0)
    noise_deg: float = 0.0

    def driven_deg(self, pulse_us: float) -> float:
        """Return the angle to which the motor drives for a pulse, stops included."""
        return min(max(self.wanted_deg(pulse_us), self.stops_deg[0]), self.stops_deg[1])

    def wanted_deg(self, pulse_us: float) -> float:
        """Return the angle that a pulse asks for, whether or not a stop is in the way."""
        x = (pulse_us - self.centre_us) / 600.0
        sway = math.sin(2.2 * x) / math.sin(2.2) - x
        return (
            self.centre_deg
            + self.rate_deg_per_us * (pulse_us - self.centre_us)
            + self.bow_deg * (1.0 - math.cos(1.4 * x)) / (1.0 - math.cos(1.4))
            # scaled so that curl_deg is the greatest departure, near 350 us from the centre
            + self.curl_deg * sway / 0.41
        )

    def shaft_deg(self, pulse_us: float, approach: Literal["rising", "falling"]) -> float:
        """Return where the shaft rests, without noise, when reached from one side."""
        lag = math.copysign(self.half_gap_deg, self.rate_deg_per_us)
        mean = self.driven_deg(pulse_us)
        return mean - lag if approach == "rising" else mean + lag


class ModelledServo:
    """The servo in time: driven towards its pulse, lagging by its play, limp without pulses."""

    def __init__(self, truth: ServoTruth, rng: np.random.Generator) -> None:
        self.truth = truth
        self._rng = rng
        self._acted_us: float | None = None
        self._wobble = 0.0
        # Nobody knows where a servo stands before its first pulse.
        self._motor_deg = truth.driven_deg(truth.centre_us) + float(rng.uniform(-20.0, 20.0))
        self.shaft_deg = self._motor_deg

    def replaced(self, truth: ServoTruth) -> ModelledServo:
        """Return another servo for its place."""
        return ModelledServo(truth, self._rng)

    def advance(self, pulse_us: float, seconds: float) -> None:
        """Let time pass with a pulse on the wire; 0 means no pulses."""
        if pulse_us <= 0:
            self._acted_us = None
            return
        if self._acted_us is None or abs(pulse_us - self._acted_us) > self.truth.dead_band_us:
            self._acted_us = pulse_us
            self._wobble = float(self._rng.normal(0.0, self.truth.noise_deg))
        target = self.truth.driven_deg(self._acted_us)
        most = self.truth.speed_deg_per_s * seconds
        self._motor_deg += min(max(target - self._motor_deg, -most), most)
        gap = self.truth.half_gap_deg
        self.shaft_deg = min(max(self.shaft_deg, self._motor_deg - gap), self._motor_deg + gap)

    @property
    def strained_deg(self) -> float:
        """How far its own stop holds it from where its pulse asks it to be, in degrees."""
        if self._acted_us is None:
            return 0.0
        truth = self.truth
        return abs(truth.wanted_deg(self._acted_us) - truth.driven_deg(self._acted_us))

    @property
    def rest_deg(self) -> float:
        """Where the shaft stands, with the unsteadiness of its coming to rest."""
        return self.shaft_deg + self._wobble


def random_truth(
    rng: np.random.Generator, *, centre_us: float, rate_deg_per_us: float
) -> ServoTruth:
    """Draw a servo around a maker's figure: the spreads are our own invention."""
    return ServoTruth(
        centre_us=centre_us,
        centre_deg=float(rng.uniform(-4.0, 4.0)),
        rate_deg_per_us=rate_deg_per_us * float(rng.uniform(0.93, 1.07)),
        bow_deg=float(rng.uniform(-0.8, 0.8)),
        curl_deg=float(rng.uniform(-0.6, 0.6)),
        half_gap_deg=float(rng.uniform(0.1, 0.6)),
        dead_band_us=float(rng.uniform(1.0, 4.0)),
        speed_deg_per_s=float(rng.uniform(350.0, 600.0)),
        stops_deg=(-float(rng.uniform(68.0, 85.0)), float(rng.uniform(68.0, 85.0))),
        noise_deg=0.08,
    )
