"""Centre and ends to be set, by what was measured."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from hingeline.errors import LinkageError, TravelError
from hingeline.model.words import directions, say, sign_of, word_of
from hingeline.rigging.judging_throws import ThrowPoint
from hingeline.travel.setting import Setting

#: What is less is not worth a word: the usual gauge does not show it.
SHORT_DEG = 0.5


@dataclass(frozen=True)
class MeasuredLimits:
    """What to set for one surface.

    Attributes
    ----------
    centre_us : int
        Pulse at neutral.
    ends_us : dict of str to int
        Pulse of each full throw, by direction word.
    expected_deg : dict of str to float
        Throw to be expected at each end, by what was measured, without sign.
    rising : str or None
        Direction word of a rising pulse, as it was measured; None: it hardly moved.
    notes : tuple of str
        Where an end or the direction is not what was wanted, and why.
    """

    centre_us: int
    ends_us: dict[str, int]
    expected_deg: dict[str, float]
    rising: str | None
    notes: tuple[str, ...]

    def pulse_us(self, share: float) -> float:
        """Return the pulse of a share of the throw: a radio goes in proportion to an end."""
        first, second = self.ends_us.values()
        return self.centre_us + abs(share) * ((first if share > 0 else second) - self.centre_us)


def limits_of(setting: Setting, points: Sequence[ThrowPoint]) -> MeasuredLimits:
    """Work out the pulses of neutral and both full throws from measured points.

    No pulse is taken that lies outside the measured ones or the servo's limits; where that
    leaves a throw short, a note says so.

    Parameters
    ----------
    setting : Setting
        The surface.
    points : sequence of ThrowPoint
        Neutral and both full throws at least.

    Raises
    ------
    LinkageError
        When one of these is missing.
    """
    if not {-1.0, 0.0, 1.0} <= {point.share for point in points}:
        raise LinkageError(
            f"{setting.surface.name}: centre and ends cannot be worked out from "
            f"{len(points)} points without neutral and both full throws.",
            mend="Measure the throws first.",
        )
    stands = as_measured(setting, points)
    low, high = setting.servo.pulse_limits_us
    least = max(math.ceil(min(point.pulse_us for point in points)), low)
    most = min(math.floor(max(point.pulse_us for point in points)), high)
    ends, expected, notes = {}, {}, []
    for word, share in zip(directions(setting.surface), (1.0, -1.0), strict=True):
        wanted = next(point.wanted_deg for point in points if point.share == share)
        pulse = nearest_us(stands, least, most, wanted)
        sign, there = sign_of(setting.surface, word), stands(pulse)
        ends[word], expected[word] = pulse, sign * there
        if sign * (wanted - there) > SHORT_DEG:
            notes.append(
                f"{say(setting.surface, there)} at {pulse} us instead of "
                f"{say(setting.surface, wanted)}: further was not measured."
            )
    centre = nearest_us(stands, least, most, 0.0)
    rising = rising_word(setting, stands, ends.values())
    if wrong := against_plan(setting, rising, ends.values()):
        notes.append(wrong)
    return MeasuredLimits(centre, ends, expected, rising, tuple(notes))


def rising_word(
    setting: Setting, stands: Callable[[float], float], pulses_us: Iterable[float]
) -> str | None:
    """Return the direction word of a rising pulse between two; None: it hardly moves.

    ``stands`` gives signed degrees in the engine's sense.
    """
    low, high = sorted(pulses_us)
    moved = stands(high) - stands(low)
    return word_of(setting.surface, moved) if abs(moved) > SHORT_DEG else None


def against_plan(setting: Setting, rising: str | None, pulses_us: Iterable[float]) -> str:
    """Say that a surface was seen to go the other way than planned; empty: it was not."""
    known = setting.measured or setting.servo.turns is not None
    planned = rising_word(setting, lambda pulse: setting.predicted_deg(pulse, None), pulses_us)
    if not known or None in (rising, planned) or rising == planned:
        return ""
    return (
        f"its direction is wrong: a rising pulse moves it {rising}, by servo and model file it "
        f"would move it {planned}."
    )


def nearest_us(stands: Callable[[float], float], low: int, high: int, wanted_deg: float) -> int:
    """Find the whole pulse between two at which a surface stands nearest to a deflection."""
    rising = stands(high) > stands(low)
    while high - low > 1:
        middle = (low + high) // 2
        if (stands(middle) < wanted_deg) == rising:
            low = middle
        else:
            high = middle
    return min(low, high, key=lambda pulse: abs(stands(pulse) - wanted_deg))


def as_measured(setting: Setting, points: Sequence[ThrowPoint]) -> Callable[[float], float]:
    """Return a function from pulse to where the surface stands by what was measured.

    Measured less predicted is taken as straight between neighbouring pulses. Readings at the
    same pulse count as their mean, which lies in the middle of the free play. The function
    answers signed degrees, for pulses within the measured ones; it raises TravelError for others.
    """

    def predicted_deg(pulse_us: float) -> float:
        return setting.predicted_deg(pulse_us, setting.approach_of(pulse_us))

    pulses = sorted({float(point.pulse_us) for point in points})
    means = [
        sum(read) / len(read)
        for pulse in pulses
        if (read := [p.measured_deg for p in points if p.pulse_us == pulse])
    ]
    off = [mean - predicted_deg(pulse) for mean, pulse in zip(means, pulses, strict=True)]

    def stands(pulse_us: float) -> float:
        if not pulses[0] <= pulse_us <= pulses[-1]:
            raise TravelError(
                f"{setting.surface.name}: where it stands at {pulse_us:.0f} us was not measured; "
                f"{pulses[0]:.0f} to {pulses[-1]:.0f} us were.",
                mend="Measure the throws that far.",
            )
        return predicted_deg(pulse_us) + float(np.interp(pulse_us, pulses, off))

    return stands
