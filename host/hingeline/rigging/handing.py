"""What is entered in the radio for one surface, and what it means.

Deflections are positive towards the surface's first direction (up, left), whichever way its
servo, arm and horn stand.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from hingeline.errors import LinkageError, TravelError
from hingeline.model.schema import Surface
from hingeline.model.throws import throw_deg
from hingeline.model.words import directions, sign_of
from hingeline.rigging.judging_throws import points_of
from hingeline.rigging.limits import (
    SHORT_DEG,
    against_plan,
    as_measured,
    nearest_us,
    rising_word,
)
from hingeline.travel.setting import Setting

#: What the figures come from: throws measured at the surface, the servo's measured curve and
#: the planned linkage, or the maker's rate alone.
Source = Literal["measured", "curve", "maker"]

#: Wanted throws of a record and of the file that differ by less are the same.
SAME_DEG = 0.05


@dataclass(frozen=True)
class Handed:
    """The figures of one surface.

    Attributes
    ----------
    setting : Setting
        Linkage and curve as they are known.
    source : {"measured", "curve", "maker"}
        What the figures come from.
    centre_us : int
        Pulse at neutral.
    ends_us : mapping of str to int
        Pulse at full throw, by direction word.
    wanted_deg, throw_deg : mapping of str to float
        Asked for by the model file, and to be had at each end; without sign.
    rising : str or None
        Direction word of a rising pulse; None when neither file nor readings show it.
    stands : callable
        From pulse to deflection; TravelError outside of what is known.
    pulse_at : callable
        From deflection to pulse; None where that was not measured.
    notes : tuple of str
        What is not as it was wanted, in sentences; empty when all is.
    """

    setting: Setting
    source: Source
    centre_us: int
    ends_us: Mapping[str, int]
    wanted_deg: Mapping[str, float]
    throw_deg: Mapping[str, float]
    rising: str | None
    stands: Callable[[float], float]
    pulse_at: Callable[[float], int | None]
    notes: tuple[str, ...]

    @property
    def surface(self) -> Surface:
        """The surface, as the file says."""
        return self.setting.surface

    @property
    def words(self) -> tuple[str, str]:
        """Its direction words."""
        return directions(self.surface)

    @property
    def passed(self) -> bool:
        """Whether all that is wanted lies within what was measured or computed."""
        return not self.notes

    @property
    def arm_rate_deg_per_us(self) -> float:
        """How far the servo arm turns for each us at centre, without sign."""
        return abs(self.setting.curve.rate_deg_per_us)

    @property
    def bench_centre_us(self) -> int:
        """Pulse at which the arm was squared."""
        return int(self.setting.servo.centre_us)

    @property
    def middle_us(self) -> float:
        """Pulse midway between the two ends."""
        first, second = (self.ends_us[word] for word in self.words)
        return (first + second) / 2.0

    def arm_off_deg(self, radio_centre_us: float) -> float:
        """Return how far the arm is turned from where it was squared when a radio rests there."""
        return (radio_centre_us - self.bench_centre_us) * self.arm_rate_deg_per_us


@dataclass(frozen=True)
class Span:
    """What a radio calls 100 %.

    Attributes
    ----------
    span_us : float
        From its centre to 100 %.
    centre_us : float
        Its own centre.
    """

    span_us: float
    centre_us: float

    def percent(self, pulse_us: float, from_us: float | None = None) -> float:
        """Return a pulse in per cent of the span, from the radio's centre or another pulse."""
        start = self.centre_us if from_us is None else from_us
        return 100.0 * (pulse_us - start) / self.span_us


def computed(setting: Setting) -> Handed:
    """Work out the figures of a surface that was not measured at the surface.

    Raises
    ------
    TravelError
        When the servo does not reach neutral.
    """
    surface = setting.surface
    centre = round(setting.centre_us)
    ends, throws, wanted, notes = {}, {}, {}, []
    for word in directions(surface):
        wanted[word] = throw_deg(surface, word)
        throws[word] = furthest_deg(setting, word, wanted[word])
        ends[word] = setting.pulse_us(sign_of(surface, word) * throws[word])
        if wanted[word] - throws[word] > SHORT_DEG:
            notes.append(
                f"{word} {wanted[word]:.1f} deg is wanted, but servo, linkage and free travel "
                f"allow {throws[word]:.1f} deg; {ends[word]} us is that."
            )
    first = sign_of(surface, directions(surface)[0])

    def stands(pulse_us: float) -> float:
        return first * signed(pulse_us)

    def signed(pulse_us: float) -> float:
        return setting.predicted_deg(pulse_us, setting.approach_of(pulse_us))

    if not setting.measured:
        notes.append(f"nothing of servo {surface.servo} was measured.")
    known = setting.measured or setting.servo.turns is not None
    return Handed(
        setting,
        "curve" if setting.measured else "maker",
        centre,
        ends,
        wanted,
        throws,
        rising_word(setting, signed, ends.values()) if known else None,
        stands,
        lambda deflection_deg: setting.pulse_us(first * deflection_deg),
        tuple(notes),
    )


def measured(setting: Setting, figures: Mapping[str, Any]) -> Handed:
    """Take the figures of a surface as its rig found them.

    Parameters
    ----------
    setting : Setting
        By the model file and the servo's newest curve.
    figures : mapping
        Of the surface's finding "rigged".
    """
    surface = setting.surface
    first = sign_of(surface, directions(surface)[0])
    points = points_of(surface, figures["points"])
    signed = as_measured(setting, points)

    def stands(pulse_us: float) -> float:
        return first * signed(pulse_us)

    pulses = sorted(round(point.pulse_us) for point in points)

    def pulse_at(deflection_deg: float) -> int | None:
        pulse = nearest_us(stands, pulses[0], pulses[-1], deflection_deg)
        return pulse if abs(stands(pulse) - deflection_deg) <= SHORT_DEG else None

    names = directions(surface)
    ends = {word: round(figures["ends_us"][word]) for word in names}
    throws = {word: way * stands(ends[word]) for word, way in zip(names, (1.0, -1.0), strict=True)}
    rising = rising_word(setting, signed, ends.values())
    notes = _against(setting, figures, ends)
    if wrong := against_plan(setting, rising, ends.values()):
        notes.append(wrong)
    return Handed(
        setting,
        "measured",
        round(figures["centre_us"]),
        ends,
        {word: throw_deg(surface, word) for word in names},
        throws,
        rising,
        stands,
        pulse_at,
        tuple(notes),
    )


def _against(setting: Setting, figures: Mapping[str, Any], ends: Mapping[str, int]) -> list[str]:
    """Say what of a record is not as wanted, or not what the file asks for now."""
    surface, notes = setting.surface, []
    if not figures["pass"]:
        notes.append("its throws were not within the tolerance when it was rigged.")
    low, high = setting.servo.pulse_limits_us
    for word, pulse in ends.items():
        then, now = abs(figures["wanted_deg"][word]), throw_deg(surface, word)
        if abs(then - now) > SAME_DEG:
            notes.append(
                f"it was rigged for {word} {then:.1f} deg; the model file asks for {now:.1f} deg "
                "now."
            )
        if not low <= pulse <= high:
            notes.append(
                f"its end {word} is {pulse} us, outside the {low} to {high} us that the model "
                "file allows now."
            )
    return notes


def furthest_deg(setting: Setting, word: str, most_deg: float) -> float:
    """Return how far a surface can be sent one way, at most ``most_deg``; without sign."""
    sign = sign_of(setting.surface, word)

    def goes(size_deg: float) -> bool:
        try:
            setting.pulse_us(sign * size_deg)
        except (LinkageError, TravelError):
            return False
        return True

    if goes(most_deg):
        return most_deg
    low, high = 0.0, most_deg
    while high - low > 0.005:
        middle = (low + high) / 2.0
        low, high = (middle, high) if goes(middle) else (low, middle)
    return low
