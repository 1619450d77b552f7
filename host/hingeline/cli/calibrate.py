"""``hingeline calibrate``."""

from __future__ import annotations

import contextlib
import time
from dataclasses import replace
from pathlib import Path

import click

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
from hingeline.cli import calibrated, models, noting, options, paperwork
from hingeline.cli.again import same_command
from hingeline.cli.benchwork import Bench, at_bench, progress
from hingeline.cli.calibrated import Calibrated
from hingeline.cli.drawing import draw_curves, draw_option, draw_since, make_folder
from hingeline.cli.output import FAILED, emit, tell
from hingeline.cli.verdicts import keep_verdict
from hingeline.errors import TravelError, UnfitError
from hingeline.records.store import RESUMED
from hingeline.travel.kinds import QUICK, THOROUGH, USUAL, Kind
from hingeline.travel.pace import Budget
from hingeline.travel.setting import Setting, setting_of
from hingeline.travel.verdict import unfit_by

#: How the outcome of a calibration begins that ended within a rig, but not in a curve.
NO_CURVE = "no curve"


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
) -> int:
    """Measure a servo's travel and fit its curve.

    The servo takes a small step first, whose result keeps the rest within what the
    linkage allows; then it is stepped up and down through its range, and you read it at
    every step: the arm with a protractor, set to zero at the arm's planned place at
    centre, or the surface. A reading that does not go with those before it is questioned.
    Typed instead of a reading, undo takes the last one back; ? tells what else can be typed.
    The exit code is 1 when the servo is unfit for a control surface.

    \b
    Examples:
      hingeline calibrate millrace.toml A1
      hingeline calibrate millrace.toml A1 --gauge drop --resolution "0.5 mm"
      hingeline calibrate --readings a1.csv --draw drawings
    """
    if folder is not None:
        make_folder(folder)  # before anything is read: a wrong name must not cost the readings
    if model is not None and servo is None:
        known = ", ".join(models.load(model).model.servos)
        raise click.UsageError(f"Name the SERVO behind its MODEL file, one of: {known}.")
    if table is not None:
        if quick or thorough or resume or rod_off or not (points is None and minutes is None):
            raise click.UsageError(
                "--readings fits what was noted: leave --quick, --thorough, --points, --minutes, "
                "--resume and --rod-off out."
            )
        if gauge.kind == "level":
            raise click.UsageError(
                "A table holds deflections from neutral, not what a level shows against gravity: "
                "use --gauge deg."
            )
        found = paperwork.fit_table(table, model, servo, gauge, choices.records_path)
    elif model is None or servo is None:
        raise click.UsageError("Name a MODEL file and a SERVO in it, or a file of --readings.")
    else:
        kind = _kind(quick, thorough, points)
        found = _at_bench(model, servo, kind, minutes, resume, rod_off, gauge, choices)
    emit(calibrated.figures(found), as_json=as_json, text=calibrated.text(found))
    if folder is not None:
        draw_curves(folder, {found.label or "servo": found.curve})
        draw_since(folder, found)
    return 0 if found.verdict.fit else FAILED


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
) -> Calibrated:
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
        after_stop="Go on with: " + same_command(without=["resume"], more=["--resume"]),
    ) as bench:
        if gauge.kind == "level":
            gauge = _with_zero(bench, setting, gauge)
        plan = bench_calibration(setting, gauge, kind=kind, rod_off=rod_off)
        if minutes is not None:
            plan = replace(plan, budget=Budget(minutes, time.monotonic))
        if resume:
            before, left_out = earlier(bench, setting, gauge)
            plan = replace(plan, earlier=before, left_out=left_out)
            tell(
                f"{len(plan.earlier)} readings of the unfinished calibration are kept."
                if plan.earlier
                else f"There is no unfinished calibration of {servo} with this gauge here."
            )
        with in_use(bench.board, [channel]):
            return measured(bench, plan, setting)


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
    return Calibration(
        channel,
        gauge,
        question,
        making(gauge, setting),
        allowed,
        kind,
        linkage=setting.linkage if gauge.at_surface else None,
        maker_deg_per_us=servo.rate_deg_per_us,
    )


def _with_zero(bench: Bench, setting: Setting, gauge: Gauge) -> Gauge:
    """Find a level's zero while the servo has no pulses, keeping both answers."""
    surface = setting.surface

    def keep(typed: str, understood: float | str) -> None:
        noting.answer_note(bench, surface.servo, typed, understood, zero=True)

    return find_zero(surface, gauge, bench.asker, keep)


def measured(bench: Bench, plan: Calibration, setting: Setting) -> Calibrated:
    """Calibrate, keeping every reading, the curve and its verdict in the records."""
    surface = setting.surface
    servo = surface.servo
    try:
        curve = calibrate(
            bench.board,
            plan,
            bench.asker,
            noting.step_note(bench, servo, plan.gauge, surface),
            progress(servo),
        )
    except UnfitError as error:
        keep_verdict(bench.records, bench.session_id, servo, unfit_by(error))
        raise
    return calibrated.keep(
        bench.records,
        bench.session_id,
        servo,
        curve,
        simulated=bench.board.simulated,
        teeth=setting.servo.spline_teeth,
    )


def earlier(
    bench: Bench, setting: Setting, gauge: Gauge, *, rig: int | None = None
) -> tuple[list[Entry], frozenset[Place]]:
    """Return what the unfinished calibration read with this gauge, and what it left out.

    With ``rig`` only one counts that was broken off within that rig, not one that ended.
    """
    servo, make = setting.surface.servo, making(gauge, setting)
    readings, remarks = bench.records.unfinished(servo, simulated=bench.board.simulated)
    if rig is not None and readings:
        last = bench.records.header(readings[-1]["session_id"])
        if last["rig"] != rig or str(last["outcome"]).startswith(NO_CURVE):
            return [], frozenset()
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
