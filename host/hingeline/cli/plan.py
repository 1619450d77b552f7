"""``hingeline plan``."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from hingeline import units
from hingeline.cli import models, options
from hingeline.cli.output import emit, table, wrapped
from hingeline.linkage.plan import SurfacePlan, lean_in_words, plan_surface
from hingeline.model.schema import Servo, Surface
from hingeline.travel.nominal import NominalCurve, nominal


@click.command("plan", short_help="Work out throws, lean, rod length and pulses of a model.")
@options.model_argument
@click.argument("surfaces", nargs=-1, metavar="[SURFACE]...")
@options.json_option
def command(model: Path, surfaces: tuple[str, ...], as_json: bool) -> None:
    """Work out throws, lean, rod length and pulses of a model.

    For the holes, teeth and mounting in the MODEL file: how far each surface goes at the
    servo's pulse limits, what pulses its throws need, how long the rod is, and what is
    wrong. Pulses are by the maker's rate until the servo is calibrated.

    \b
    Example:
      hingeline plan millrace.toml "left aileron"
    """
    file = models.load(model)
    chosen = models.surfaces_named(file, surfaces)
    plans = [_planned(surface, file.model.servo_of(surface)) for surface in chosen]
    figures = {"model": file.model.name, "surfaces": [_figures(*planned) for planned in plans]}
    emit(figures, as_json=as_json, text=plan_text(file.model.name, plans))


Planned = tuple[Surface, Servo, NominalCurve, SurfacePlan]


def planned_surfaces(file: models.ModelFile) -> list[Planned]:
    """Plan every surface of a model."""
    return [_planned(surface, file.model.servo_of(surface)) for surface in file.model.surfaces]


def _planned(surface: Surface, servo: Servo) -> Planned:
    line = nominal(servo)
    ends = sorted(line.angle_deg(pulse) for pulse in servo.pulse_limits_us)
    return surface, servo, line, plan_surface(surface, servo, (ends[0], ends[1]))


def _pulse(servo: Servo, line: NominalCurve, shaft_deg: float | None) -> int | None:
    """Return the pulse for a shaft angle, None when it is not to be had."""
    if shaft_deg is None:
        return None
    pulse = round(line.centre_us + shaft_deg / line.rate_deg_per_us)
    low, high = servo.pulse_limits_us
    return pulse if low <= pulse <= high else None


def _figures(
    surface: Surface, servo: Servo, line: NominalCurve, plan: SurfacePlan
) -> dict[str, Any]:
    return {
        "name": surface.name,
        "servo": surface.servo,
        "channel": surface.channel,
        "arm_hole": surface.arm.hole,
        "arm_hole_mm": plan.arm_mm,
        "horn_hole": surface.horn.hole,
        "horn_hole_mm": plan.horn_mm,
        "teeth_lean": surface.arm.teeth_lean,
        "lean_deg": plan.lean_deg,
        "rod_length_mm": plan.rod_mm,
        "wanted_deg": {word: way.wanted_deg for word, way in plan.ways.items()},
        "reach_deg": {word: way.reach_deg for word, way in plan.ways.items()},
        "free_travel_deg": {word: way.free_deg for word, way in plan.ways.items()},
        "servo_deg": {word: way.shaft_deg for word, way in plan.ways.items()},
        "pulse_us": {
            "centre": servo.centre_us,
            **{word: _pulse(servo, line, way.shaft_deg) for word, way in plan.ways.items()},
        },
        "turns_assumed": servo.turns is None,
        "locks_deg": list(plan.locks_deg),
        "warnings": list(plan.warnings),
    }


def plan_text(name: str, plans: list[Planned]) -> Iterator[str]:
    """Lay the plan out for people."""
    yield f"Plan of {name}"
    for surface, servo, line, plan in plans:
        yield ""
        yield f"{surface.name}  (servo {surface.servo}, channel {surface.channel})"
        yield (
            f"  Arm hole {surface.arm.hole} ({units.mm(plan.arm_mm)}), "
            f"horn hole {surface.horn.hole} ({units.mm(plan.horn_mm)}), "
            f"rod {units.mm(plan.rod_mm)} from hole to hole."
        )
        yield f"  Arm at centre ({servo.centre_us} us): {lean_in_words(surface, servo)}."
        rows = [
            (
                word,
                units.deg(way.wanted_deg),
                "-" if way.shaft_deg is None else units.deg(abs(way.shaft_deg)),
                _pulse_text(_pulse(servo, line, way.shaft_deg)),
                "locks" if way.reach_deg is None else units.deg(way.reach_deg),
                units.deg(way.free_deg),
            )
            for word, way in plan.ways.items()
        ]
        headings = ["", ">wanted", ">servo turns", ">pulse", ">reach", ">free travel"]
        yield from (f"  {row}" for row in table(headings, rows).splitlines())
        if servo.turns is None:
            yield wrapped(
                "  NOTE: the file does not say which way the servo turns; the pulses are for "
                "counter-clockwise."
            )
        for warning in plan.warnings:
            yield wrapped(f"  WARNING: {warning}")
    yield ""
    yield "Reach: where the surface stands at the servo's pulse limits."
    yield "Pulses are by the maker's rate; calibrate each servo before they are trusted."


def _pulse_text(pulse_us: int | None) -> str:
    return "-" if pulse_us is None else units.us(pulse_us)
