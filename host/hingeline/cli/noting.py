"""Keeping what is typed, the moment it is typed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from hingeline.bench.asking import TURNING, Answer, Gauge
from hingeline.bench.procedures.throwing import NoteSurface
from hingeline.cli.benchwork import Bench
from hingeline.model.schema import Surface
from hingeline.records.store import Records
from hingeline.travel.schedule import Step


@dataclass(frozen=True)
class StepNotes:
    """Keeps the readings of a calibration, and what is said about them.

    Attributes
    ----------
    records : Records
        Where.
    session_id : int
        Of which session.
    servo : str
        The servo's label.
    gauge : Gauge
        What is read.
    surface : Surface or None
        The surface behind the servo, if any.
    """

    records: Records
    session_id: int
    servo: str
    gauge: Gauge
    surface: Surface | None

    def reading(
        self, step: Step, answer: Answer, replaces: int | None = None, because: str = ""
    ) -> int:
        """Keep a reading, and that another no longer counts because of it."""
        return self.records.note_reading(
            self.session_id,
            servo=self.servo,
            surface=self.surface.name if self.surface else None,
            pulse_us=step.pulse_us,
            approach=step.approach,
            gauge=self.gauge.kind,
            resolution=self.gauge.resolution,
            typed=answer.typed,
            value=answer.value,
            unit=answer.unit if answer.settled else TURNING,
            replaces=replaces,
            because=because,
        )

    def remark(
        self,
        kind: str,
        reading: int | None = None,
        text: str = "",
        figures: Mapping[str, Any] | None = None,
    ) -> None:
        """Keep what was said or done about a reading, or between two of them."""
        self.records.note_remark(
            self.session_id,
            kind,
            servo=self.servo,
            reading=reading,
            text=text,
            figures=dict(figures or {}),
        )


def step_note(bench: Bench, servo: str, used: Gauge, surface: Surface | None) -> StepNotes:
    """Return what keeps the readings of a calibration at a bench."""
    return StepNotes(bench.records, bench.session_id, servo, used, surface)


def answer_note(bench: Bench, servo: str, typed: str, understood: float | str, **at: Any) -> None:
    """Keep an answer that is no reading, and at what it was given."""
    figures = {"servo": servo, **at, "understood": understood}
    bench.records.note_remark(bench.session_id, "answered", text=typed, figures=figures)


def surface_note(bench: Bench, used: Gauge) -> NoteSurface:
    """Return what keeps each reading at a surface."""

    def note(surface: Surface, pulse_us: int, approach: str, answer: Answer) -> None:
        step = Step(pulse_us, "rising" if approach == "rising" else "falling", True)
        step_note(bench, surface.servo, used, surface).reading(step, answer)

    return note
