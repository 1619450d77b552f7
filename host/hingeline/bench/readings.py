"""From an understood answer to a reading of the servo's shaft."""

from __future__ import annotations

from collections.abc import Callable

from hingeline.bench.asking import Answer, Gauge
from hingeline.linkage.closure import ratio, shaft_angle
from hingeline.travel.reading import (
    Approach,
    Reading,
    chord_reading,
    resolution_u,
    shaft_reading,
    surface_reading,
)
from hingeline.travel.setting import Setting

#: Makes a reading of a pulse, its approach and an answer.
Making = Callable[[int, Approach, Answer], Reading]


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
        )

    return make


def at_surface(gauge: Gauge, setting: Setting) -> Making:
    """Return what makes readings of answers at the surface, through its linkage."""
    linkage = setting.linkage

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
                as_typed=answer.typed,
            )
        return surface_reading(
            pulse_us,
            approach,
            answer.value,
            resolution_u(gauge.resolution),
            shaft_of_surface=shaft_of_surface,
            ratio=ratio_at,
            u_common_deg=gauge.zero.u_deg if gauge.zero else 0.0,
            as_typed=answer.typed,
        )

    return make


def making(gauge: Gauge, setting: Setting) -> Making:
    """Return what makes readings with a gauge, wherever it is held."""
    return at_surface(gauge, setting) if gauge.at_surface else at_arm(gauge)
