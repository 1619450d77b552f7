"""``hingeline calibrate``."""

from __future__ import annotations

import contextlib
import math
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from hingeline import units
from hingeline.bench.asking import (
    TURNING,
    Answer,
    Gauge,
    Question,
    arm_question,
    surface_question,
)
from hingeline.bench.entering import Entry
from hingeline.bench.levelling import find_zero
from hingeline.bench.procedures.calibrating import Calibration, calibrate
from hingeline.bench.procedures.channels import channel_of, in_use
from hingeline.bench.procedures.stepping import Place
from hingeline.bench.readings import making
from hingeline.cli import models, noting, options, paperwork
from hingeline.cli.benchwork import Bench, at_bench, progress
from hingeline.cli.drawing import draw_curves, draw_option
from hingeline.cli.output import emit, tell, wrapped
from hingeline.errors import TravelError
from hingeline.records.store import RESUMED
from hingeline.travel.curve import TravelCurve
from hingeline.travel.kinds import QUICK, THOROUGH, USUAL, Kind
from hingeline.travel.pace import Budget
from hingeline.travel.setting import Setting, setting_of


@click.command("calibrate", short_help="Measure a servo's travel and fit its curve.")
@click.argument(
    "model",
    required=False,
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="[MODEL]",
)
@click.argument("servo", required=False, metavar="[SERVO]")
@click.option(
    "--readings",
    "table",
    type=click.Path(path_type=Path, dir_okay=False),
    default=None,
    help="Fit readings noted on paper: a CSV file with the columns pulse_us, approach "
    "(up or down) and reading (with its unit; at a surface also its direction: 'up 9 deg'). "
    "No bench is needed; with MODEL and SERVO the curve is kept in the records.",
)
@click.option("--quick", is_flag=True, help=f"{QUICK.points} readings each way.")
@click.option(
    "--thorough",
    is_flag=True,
    help=f"{THOROUGH.points} readings each way, {THOROUGH.cycles} times; more where it bends.",
)
@click.option(
    "--points",
    type=click.IntRange(3, 101),
    default=None,
    metavar="N",
    help=f"Readings each way; default: {USUAL.points}.",
)
@click.option(
    "--minutes",
    type=click.IntRange(1, 600),  # whole: "nan" passes every comparison
    default=None,
    metavar="N",
    help="How long it may take: what there is no time for is left out, and said.",
)
@click.option("--resume", is_flag=True, help="Take up the servo's unfinished calibration.")
@draw_option
@options.rod_off_option
@options.gauge_options("arm", "deg", "drop", "straight", "level")
@options.moving_options
@options.json_option
def command(
    model: Path | None,
    servo: str | None,
    table: Path | None,
    quick: bool,
    thorough: bool,
    points: int | None,
    minutes: int | None,
    resume: bool,
    folder: Path | None,
    rod_off: bool,
    gauge: Gauge,
    choices: options.Choices,
    as_json: bool,
) -> None:
    """Measure a servo's travel and fit its curve.

    The servo takes a small step first, whose result keeps the rest within what the
    linkage allows; then it is stepped up and down through its range, and you read it at
    every step: the arm with a protractor, set to zero at the arm's planned place at
    centre, or the surface. A reading that does not go with those before it is questioned.
    Typed instead of a reading, undo takes the last one back; ? tells what else can be typed.

    \b
    Examples:
      hingeline calibrate millrace.toml A1
      hingeline calibrate millrace.toml A1 --gauge drop --resolution "0.5 mm"
      hingeline calibrate --readings a1.csv --draw drawings
    """
    if model is not None and servo is None:
        known = ", ".join(models.load(model).model.servos)
        raise click.UsageError(f"Name the SERVO behind its MODEL file, one of: {known}.")
    if table is not None:
        if gauge.kind == "level":
            raise click.UsageError(
                "A table holds deflections from neutral, not what a level shows against gravity: "
                "use --gauge deg."
            )
        label, curve = paperwork.fit_table(table, model, servo, gauge, choices.records_path)
    elif model is None or servo is None:
        raise click.UsageError("Name a MODEL file and a SERVO in it, or a file of --readings.")
    else:
        kind = _kind(quick, thorough, points)
        label, curve = _at_bench(model, servo, kind, minutes, resume, rod_off, gauge, choices)
    if folder is not None:
        draw_curves(folder, {label or "servo": curve})
    emit(curve_figures(label, curve), as_json=as_json, text=curve_text(label, curve))


def _kind(quick: bool, thorough: bool, points: int | None) -> Kind:
    if quick and thorough:
        raise click.UsageError("Say --quick or --thorough, not both.")
    kind = QUICK if quick else THOROUGH if thorough else USUAL
    return kind if points is None else replace(kind, points=points)


def _at_bench(
    model: Path,
    servo: str,
    kind: Kind,
    minutes: int | None,
    resume: bool,
    rod_off: bool,
    gauge: Gauge,
    choices: options.Choices,
) -> tuple[str, TravelCurve]:
    file = models.load(model)
    surface = models.surface_of_servo(file, servo)
    setting = setting_of(surface, file.model.servo_of(surface), None)
    if gauge.at_surface and rod_off:
        raise click.UsageError("With the rod off the surface does not show where the servo is.")
    channel = channel_of(setting.servo, surface.channel, f"{servo}, {surface.name}")
    rod = "rod OFF" if rod_off else "rod on, or off"
    with at_bench(
        choices,
        RESUMED if resume else "calibrate",
        [channel],
        file,
        doing=f"be stepped through their range and read ({rod})",
        after_stop=f"Go on with: hingeline calibrate {model} {servo} --resume",
    ) as bench:
        if gauge.kind == "level":
            gauge = _with_zero(bench, setting, gauge)
        plan = bench_calibration(setting, gauge, kind=kind, rod_off=rod_off)
        if minutes is not None:
            plan = replace(plan, budget=Budget(minutes, time.monotonic))
        if resume:
            earlier, left_out = _earlier(bench, setting, gauge)
            plan = replace(plan, earlier=earlier, left_out=left_out)
            tell(
                f"{len(plan.earlier)} readings of the unfinished calibration are kept."
                if plan.earlier
                else f"There is no unfinished calibration of {servo} with this gauge here."
            )
        with in_use(bench.board, [channel]):
            curve = run_calibration(bench, plan, setting)
    return servo, curve


def bench_calibration(
    setting: Setting, gauge: Gauge, *, kind: Kind = USUAL, rod_off: bool = False
) -> Calibration:
    """Plan the calibration of the servo behind a surface."""
    surface, servo = setting.surface, setting.servo

    def question(pulse_us: int) -> Question:
        if gauge.at_surface:
            return surface_question(surface, surface.channel, gauge, assumed=None)
        return arm_question(surface.servo, surface.channel, pulse_us, gauge)

    # With the rod off the pulse limits alone hold; no arm turns further than half a turn.
    allowed = (-180.0, 180.0) if rod_off else setting.allowed_shaft_deg()
    channel = channel_of(servo, surface.channel, f"{surface.servo}, {surface.name}")
    return Calibration(channel, gauge, question, making(gauge, setting), allowed, kind)


def _with_zero(bench: Bench, setting: Setting, gauge: Gauge) -> Gauge:
    """Find a level's zero while the servo has no pulses, keeping both answers."""
    surface = setting.surface

    def keep(typed: str, understood: float | str) -> None:
        figures = {"servo": surface.servo, "zero": True, "understood": understood}
        bench.records.note_remark(bench.session_id, "answered", text=typed, figures=figures)

    return find_zero(surface, gauge, bench.asker, keep)


def run_calibration(bench: Bench, plan: Calibration, setting: Setting) -> TravelCurve:
    """Calibrate, keeping every reading and the curve in the records."""
    surface = setting.surface
    curve = calibrate(
        bench.board,
        plan,
        bench.asker,
        noting.step_note(bench, surface.servo, plan.gauge, surface),
        progress(surface.servo),
    )
    bench.records.note_curve(bench.session_id, surface.servo, curve.to_dict())
    return curve


def _earlier(bench: Bench, setting: Setting, gauge: Gauge) -> tuple[list[Entry], frozenset[Place]]:
    """Return what the unfinished calibration read with this gauge, and what it left out."""
    servo, make = setting.surface.servo, making(gauge, setting)
    readings, remarks = bench.records.unfinished(servo, simulated=bench.board.simulated)
    entries = []
    for row in readings:
        same_gauge = row["gauge"] == gauge.kind and row["resolution"] == gauge.resolution
        if not same_gauge or row["unit"] == TURNING:
            continue
        answer = Answer(row["typed"], row["value"], row["unit"], row["typed"])
        stands = any(remark["kind"] == "kept" for remark in row["remarks"])
        # A slip that no linkage can do was noted too, and asked for again.
        with contextlib.suppress(TravelError):
            reading = make(round(row["pulse_us"]), row["approach"], answer)
            entries.append(Entry(reading, answer, row["id"], stands))
    left_out = frozenset(
        (float(remark["figures"]["pulse_us"]), str(remark["figures"]["approach"]))
        for remark in remarks
        if remark["kind"] == "skipped" and remark["servo"] == servo
    )
    return entries, left_out


def curve_figures(label: str | None, curve: TravelCurve) -> dict[str, Any]:
    """Return a curve's figures, each with its standard uncertainty under the key plus _u."""
    # In the order of reach_deg: lowest angle first, whichever way the servo turns.
    ends = sorted(curve.limits_us, reverse=curve.rate_deg_per_us < 0)
    return {
        "servo": label,
        "centre_us": curve.centre_us,
        "centre_us_u": curve.centre_us_u,
        "centre_error_deg": curve.centre_error_deg,
        "centre_error_deg_u": curve.centre_error_deg_u,
        "nominal_centre_us": curve.nominal_centre_us,
        "rate_deg_per_us": curve.rate_deg_per_us,
        "rate_deg_per_us_u": curve.rate_deg_per_us_u,
        "hysteresis_deg": curve.hysteresis_deg,
        "hysteresis_deg_u": curve.hysteresis_deg_u,
        "limits_us": list(curve.limits_us),
        "limits_us_u": list(curve.limits_us_u),
        "reach_deg": list(curve.reach_deg()),
        "reach_deg_u": [float(curve.angle_u_deg(pulse)) for pulse in ends],
        "linearity_deg": curve.linearity_deg,
        "linearity_deg_u": curve.linearity_deg_u,
        "residual_sd_deg": curve.residual_sd_deg,
        "kind": curve.kind,
        "degree": curve.degree,
        "readings": len(curve.readings),
        "suspects": [
            {
                "pulse_us": suspect.pulse_us,
                "approach": suspect.approach,
                "typed": suspect.as_typed,
                "off_by_deg": suspect.residual_deg,
                "slip": suspect.slip,
                "likely": suspect.likely,
            }
            for suspect in curve.suspects
        ],
        "notes": list(curve.notes),
    }


def curve_text(label: str | None, curve: TravelCurve) -> Iterator[str]:
    """Lay a curve's figures out for people, with 95 % intervals."""
    k = curve.coverage_factor(0.95)
    yield f"Travel curve of {label or 'the servo'}, from {len(curve.readings)} readings"
    for name, value in _lines(curve, k):
        yield f"  {name:20}{value}"
    yield "  (+/-: 95 % interval)"
    for suspect in curve.suspects:
        yield wrapped(f"  SUSPECT: {suspect}. It is kept, and had no weight.")
    for note in curve.notes:
        # The curve names its suspects in a note as well.
        if not any(str(suspect) in note for suspect in curve.suspects):
            yield wrapped(f"  NOTE: {note}")


def _lines(curve: TravelCurve, k: float) -> Iterator[tuple[str, str]]:
    if curve.centre_us is not None and curve.centre_us_u is not None:
        yield "Centre", f"{curve.centre_us:.0f} us  (+/- {_up(k * curve.centre_us_u, 0)})"
    if curve.centre_error_deg is not None and curve.centre_error_deg_u is not None:
        off = round(curve.centre_error_deg, 1) + 0.0  # no "-0.0"
        half = _up(k * curve.centre_error_deg_u, 1)
        yield f"At {curve.nominal_centre_us:.0f} us", f"{off:+.1f} deg off neutral  (+/- {half})"
    turns = "ccw" if curve.rate_deg_per_us > 0 else "cw"
    half = _up(k * curve.rate_deg_per_us_u, 4)
    yield (
        "Rate",
        f"{abs(curve.rate_deg_per_us):.4f} deg/us, {turns} with rising pulse  (+/- {half})",
    )
    if curve.hysteresis_deg is not None and curve.hysteresis_deg_u is not None:
        half = _up(k * curve.hysteresis_deg_u, 1)
        yield "Up/down difference", f"{curve.hysteresis_deg:.1f} deg  (+/- {half})"
    low, high = curve.limits_us
    least, most = curve.reach_deg()
    yield "Measured", f"{low:.0f} to {high:.0f} us: {units.deg(least)} to {units.deg(most)}"
    if curve.linearity_deg is not None:
        yield "Linearity", f"{curve.linearity_deg:.1f} deg, independent"
    yield "Scatter", f"{curve.residual_sd_deg:.2f} deg standard deviation"


def _up(value: float, places: int) -> str:
    """Write an uncertainty rounded up, so that it never looks better than it is."""
    scale = 10.0**places
    return f"{math.ceil(value * scale) / scale:.{places}f}"
