"""What stands on one channel of the simulated bench: a servo and perhaps a linkage."""

from __future__ import annotations

import math
import zlib
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from hingeline.bench.simulated.build import Build
from hingeline.bench.simulated.senses import Senses
from hingeline.bench.simulated.servo import ModelledServo, ServoTruth, random_truth
from hingeline.chord import throw_mm
from hingeline.linkage.closure import Linkage, ratio, surface_angle
from hingeline.linkage.mounting import ahead_sense, lean_deg, mounted
from hingeline.model.schema import Model, Servo, Surface
from hingeline.model.throws import free_travel_deg
from hingeline.model.words import directions, sign_of
from hingeline.travel.level import Zero

#: How well a rod is made to fit, standard deviation in mm: invented.
_ROD_ERROR_MM = 0.05
#: Half of the play of gears that are not worn, in degrees: invented.
_SOUND_DEG = 0.3


@dataclass
class Station:
    """One channel's servo, and the surface that it drives.

    Attributes
    ----------
    servo : ModelledServo
        The servo.
    linkage : Linkage or None
        As really built, rod error included; None: the arm is bare.
    surface : Surface or None
        The surface behind the linkage.
    free_deg : tuple of float
        Between which deflections the surface really moves freely, signed.
    level : Zero
        What a level on the surface shows at neutral.
    rod_on : bool
        Whether the rod is on. Without it the surface stays where it is.
    surface_deg : float
        Where the surface stands now, signed, lagging by the play of the rod's ends.
    senses : Senses
        What is seen and heard of the servo.
    planned : Servo or None
        What the model file says of the servo.
    build : Build
        What is built otherwise than planned; changed by `rebuild`.
    """

    servo: ModelledServo
    linkage: Linkage | None = None
    surface: Surface | None = None
    free_deg: tuple[float, float] = (-math.inf, math.inf)
    level: Zero = field(default_factory=lambda: Zero(0.0, 1, 0.0))
    rod_on: bool = True
    senses: Senses = field(default_factory=Senses)
    planned: Servo | None = None
    build: Build = field(default_factory=Build)
    surface_deg: float = field(default=0.0, init=False)
    _solved: tuple[float, float] = field(default=(math.nan, math.nan), init=False, repr=False)
    _rod_error_mm: float = field(default=0.0, init=False, repr=False)
    _arm_deg: float = field(default=0.0, init=False, repr=False)

    def __post_init__(self) -> None:
        if self.linkage is not None:
            self._rod_error_mm = self.linkage.length_mm - self.linkage.rest_distance_mm

    def advance(self, pulse_us: float, seconds: float) -> None:
        """Let time pass."""
        self.servo.advance(pulse_us, seconds)
        strained_deg = self.servo.strained_deg
        if self.linkage is not None and self.surface is not None and self.rod_on:
            strained_deg = max(strained_deg, self._move_surface(self.linkage, self.surface))
        self.senses.notice(pulse_us, seconds, self.servo.shaft_deg, strained_deg)

    def _move_surface(self, linkage: Linkage, surface: Surface) -> float:
        """Take the surface along; return how far it is driven beyond its freedom, in degrees."""
        shaft, driven = self._solved
        if shaft != self.arm_deg:  # most of the time nothing moves
            shaft = self.arm_deg
            driven = math.degrees(float(surface_angle(linkage, math.radians(shaft))))
            self._solved = shaft, driven
        if math.isnan(driven):  # beyond what the linkage can do it stays where it jammed
            return math.inf
        half_deg = self._play_deg(linkage, surface) / 2.0
        self.surface_deg = min(max(self.surface_deg, driven - half_deg), driven + half_deg)
        low, high = self.free_deg
        return max(low - driven, driven - high, 0.0)

    def _play_deg(self, linkage: Linkage, surface: Surface) -> float:
        play_mm = surface.rod.play_mm if self.build.play_mm is None else self.build.play_mm
        return math.degrees(play_mm / linkage.horn.radius_mm)

    def rebuild(self, build: Build) -> None:
        """Build it otherwise; the surface goes along at once.

        Raises
        ------
        ValueError
            Without a linkage to be built.
        """
        if self.surface is None or self.planned is None:
            raise ValueError("there is no linkage on this channel")
        self.build = build
        self.linkage = build.linkage(self.surface, self.planned, self._rod_error_mm)
        self._arm_deg = ahead_sense(mounted(self.surface, self.planned)) * build.lean_deg
        self._solved = math.nan, math.nan
        self.settle()

    def settle(self) -> None:
        """Let the surface go to where its arm holds it, as when a rod is put on."""
        if self.linkage is not None and self.surface is not None and self.rod_on:
            self._move_surface(self.linkage, self.surface)

    @property
    def arm_deg(self) -> float:
        """Where the arm stands, counter-clockwise of its planned place."""
        return self.servo.shaft_deg + self._arm_deg

    @property
    def lean_deg(self) -> float:
        """How far the arm leans ahead of square to its rod, as a gauge at rest shows it."""
        if self.surface is None or self.planned is None:
            raise ValueError("there is no linkage on this channel")
        sense = ahead_sense(mounted(self.surface, self.planned))
        away = self.servo.rest_deg + self._arm_deg
        return lean_deg(self.surface, self.planned) + sense * away

    @property
    def slop_deg(self) -> float:
        """How far the surface can be moved by hand in all, the servo holding still."""
        if self.linkage is None or self.surface is None:
            raise ValueError("there is no linkage on this channel")
        slope = abs(float(ratio(self.linkage, math.radians(self.arm_deg))))
        gears = 2.0 * self.servo.truth.half_gap_deg * slope
        return self._play_deg(self.linkage, self.surface) + gears

    def stands_deg(self, pulse_us: float, approach: Literal["rising", "falling"]) -> float:
        """Return where the surface would stand at a pulse, free play of the rod left out.

        Signed; nan where the linkage cannot follow.
        """
        if self.linkage is None:
            raise ValueError("there is no linkage on this channel")
        arm_deg = self.servo.truth.shaft_deg(pulse_us, approach) + self._arm_deg
        return math.degrees(float(surface_angle(self.linkage, math.radians(arm_deg))))

    def shown(self, kind: str) -> float:
        """Return what a perfect gauge of this kind would show, signed, in its unit."""
        if kind == "arm":
            return self.servo.rest_deg + self._arm_deg
        if self.surface is None:
            raise ValueError("there is no surface on this channel")
        if kind == "level":
            return self.level.shown_at(self.surface_deg)
        if kind == "drop":
            return throw_mm(self.surface_deg, self.surface.chord_mm, "drop")
        if kind == "straight":
            return throw_mm(self.surface_deg, self.surface.chord_mm, "straight")
        return self.surface_deg


def stations_of(model: Model, seed: int) -> dict[int, Station]:
    """Build the stations of a model: each servo has its own truth, drawn from the seed."""
    return {
        surface.channel: _station(model.servo_of(surface), surface, seed)
        for surface in model.surfaces
    }


def bare_station(channel: int, *, centre_us: float, seed: int) -> Station:
    """Build a station with a servo of unknown make and a bare arm."""
    rng = _rng(seed, f"channel {channel}")
    truth = random_truth(rng, centre_us=centre_us, rate_deg_per_us=0.09)
    return Station(ModelledServo(truth, rng))


def _station(servo: Servo, surface: Surface, seed: int) -> Station:
    rng = _rng(seed, surface.servo)
    sense = -1.0 if servo.turns == "cw" else 1.0
    truth = random_truth(
        rng, centre_us=float(servo.centre_us), rate_deg_per_us=sense * servo.rate_deg_per_us
    )
    modelled = ModelledServo(truth, rng)
    if surface.arm.hole is None or surface.horn.hole is None:
        return Station(modelled)
    planned = mounted(surface, servo)
    rod_mm = planned.length_mm + float(rng.normal(0.0, _ROD_ERROR_MM))
    linkage = Linkage(planned.arm, planned.horn, rod_mm)
    # Drawn apart, so that nothing else changes with it.
    apart = _rng(seed, f"{surface.servo}, hinge and stand")
    return Station(
        modelled, linkage, surface, _free_deg(surface, apart), _level(apart), planned=servo
    )


def well_built(model: Model, seed: int) -> dict[int, Station]:
    """Build stations of a builder who has taken care.

    Their surfaces move as freely as their file says, or a little more, and no gear is worn.
    """
    stations = stations_of(model, seed)
    for station in stations.values():
        station.servo = station.servo.replaced(sound(station.servo.truth))
        if station.surface is not None:
            more = float(_rng(seed, f"{station.surface.name}, free").uniform(1.0, 1.08))
            station.free_deg = planned_free_deg(station.surface, more)
    return stations


def sound(truth: ServoTruth) -> ServoTruth:
    """Return the same servo with gears that are not worn."""
    return replace(truth, half_gap_deg=min(truth.half_gap_deg, _SOUND_DEG))


def planned_free_deg(surface: Surface, times: float = 1.0) -> tuple[float, float]:
    """Return the free travel of a surface by its file, signed, times a factor."""
    ends = [
        sign_of(surface, word) * free_travel_deg(surface, word) * times
        for word in directions(surface)
    ]
    return min(ends), max(ends)


def _free_deg(surface: Surface, rng: np.random.Generator) -> tuple[float, float]:
    """Draw where a surface really binds: about where its file says, sometimes well before."""
    ends = [
        sign_of(surface, word) * free_travel_deg(surface, word) * float(rng.uniform(0.7, 1.1))
        for word in directions(surface)
    ]
    return min(ends), max(ends)


def _level(rng: np.random.Generator) -> Zero:
    """Draw how the model stands and which way round the level is held: both are invented."""
    return Zero(float(rng.uniform(-8.0, 8.0)) % 360.0, int(rng.choice([-1, 1])), 0.0)


def _rng(seed: int, label: str) -> np.random.Generator:
    # crc32 and not hash(): a label must give the same servo in every process.
    return np.random.default_rng([seed, zlib.crc32(label.encode("utf-8"))])
