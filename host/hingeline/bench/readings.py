"""From an understood answer to a reading of the servo's shaft."""

from __future__ import annotations

import math
from collections.abc import Callable

from hingeline.bench.asking import Answer, Gauge, Question, understand, with_number
from hingeline.errors import TravelError, UnitError
from hingeline.linkage.closure import ratio, shaft_angle
from hingeline.model.schema import Surface
from hingeline.travel.indirect import mark_of
from hingeline.travel.judging import Again
from hingeline.travel.reading import (
    Approach,
    Reading,
    chord_reading,
    resolution_u,
    shaft_reading,
    surface_reading,
)
from hingeline.travel.schedule import Step
from hingeline.travel.setting import Setting

#: Standard uncertainty with which a person holds and reads a gauge at a surface, beside the
#: gauge's own steps, in degrees. Our own choice.
READING_U_DEG = 0.3
#: Makes a reading of a pulse, its approach and an answer.
Making = Callable[[int, Approach, Answer], Reading]


def zero_u(gauge: Gauge) -> float:
    """Return the standard uncertainty of a gauge's zero, in its unit; all readings share it.

    A level's zero was read. Any other gauge is set to zero by hand, which is assumed to be
    done to half a mark either way, as it is read. That puts it into centre and centre error,
    but at the arm not into rate or play, which are differences.
    """
    return gauge.zero.u_deg if gauge.zero else resolution_u(gauge.resolution)


def reading_u_deg(gauge: Gauge, surface: Surface) -> float:
    """Return the standard uncertainty of one reading at a surface near neutral, in degrees."""
    step = gauge.resolution
    if gauge.unit == "mm":
        step = math.degrees(step / surface.chord_mm)
    return math.hypot(READING_U_DEG, resolution_u(step))


def at_arm(gauge: Gauge) -> Making:
    """Return what makes readings of answers at the arm."""

    def make(pulse_us: int, approach: Approach, answer: Answer) -> Reading:
        return shaft_reading(
            pulse_us,
            approach,
            answer.value,
            resolution_deg=gauge.resolution,
            as_typed=answer.typed,
            settled=answer.settled,
            u_common_deg=zero_u(gauge),
        )

    return make


def at_surface(gauge: Gauge, setting: Setting) -> Making:
    """Return what makes readings of answers at the surface, through its linkage."""
    linkage = setting.linkage
    mark = mark_of(linkage)

    def shaft_of_surface(surface_rad: float) -> float:
        return float(shaft_angle(linkage, surface_rad))

    def ratio_at(shaft_rad: float) -> float:
        return float(ratio(linkage, shaft_rad))

    def make(pulse_us: int, approach: Approach, answer: Answer) -> Reading:
        if gauge.kind in ("drop", "straight"):
            return chord_reading(
                pulse_us,
                approach,
                answer.value,
                chord_mm=setting.surface.chord_mm,
                measure=gauge.kind,
                resolution_mm=gauge.resolution,
                shaft_of_surface=shaft_of_surface,
                ratio=ratio_at,
                u_common_mm=zero_u(gauge),
                as_typed=answer.typed,
                through=mark,
            )
        return surface_reading(
            pulse_us,
            approach,
            answer.value,
            resolution_u(gauge.resolution),
            shaft_of_surface=shaft_of_surface,
            ratio=ratio_at,
            u_common_deg=zero_u(gauge),
            as_typed=answer.typed,
            through=mark,
        )

    return make


def making(gauge: Gauge, setting: Setting) -> Making:
    """Return what makes readings with a gauge, wherever it is held."""
    return at_surface(gauge, setting) if gauge.at_surface else at_arm(gauge)


def retyped(question: Question, typed: str, step: Step, make: Making) -> Again:
    """Return what makes, of another number, the text and the reading that it would have been."""

    def again(number: float) -> tuple[str, Reading] | None:
        text = with_number(question, typed, number)
        try:
            answer = understand(question, text)
            return text, make(step.pulse_us, step.approach, answer)
        except (TravelError, UnitError):
            return None

    return again
