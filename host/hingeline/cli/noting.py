"""Keeping what is typed, the moment it is typed."""

from __future__ import annotations

from collections.abc import Callable

from hingeline.bench.asking import TURNING, Answer, Gauge
from hingeline.bench.procedures.throwing import NoteSurface
from hingeline.cli.benchwork import Bench
from hingeline.model.schema import Surface
from hingeline.travel.schedule import Step


def step_note(
    bench: Bench, servo: str, used: Gauge, surface: Surface | None
) -> Callable[[Step, Answer], None]:
    """Return what keeps each reading of a calibration."""

    def note(step: Step, answer: Answer) -> None:
        _keep(bench, servo, surface, step.pulse_us, step.approach, used, answer)

    return note


def surface_note(bench: Bench, used: Gauge) -> NoteSurface:
    """Return what keeps each reading at a surface."""

    def note(surface: Surface, pulse_us: int, approach: str, answer: Answer) -> None:
        _keep(bench, surface.servo, surface, pulse_us, approach, used, answer)

    return note


def _keep(
    bench: Bench,
    servo: str,
    surface: Surface | None,
    pulse_us: int,
    approach: str,
    used: Gauge,
    answer: Answer,
) -> None:
    bench.records.note_reading(
        bench.session_id,
        servo=servo,
        surface=surface.name if surface else None,
        pulse_us=pulse_us,
        approach=approach,
        gauge=used.kind,
        resolution=used.resolution,
        typed=answer.typed,
        value=answer.value,
        unit=answer.unit if answer.settled else TURNING,
    )
