"""``hingeline match``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from hingeline import units
from hingeline.cli import matched, models, options, shelved
from hingeline.cli.benchwork import default_records
from hingeline.cli.known import setting_of
from hingeline.cli.output import FAILED, emit, tell
from hingeline.cli.pair import pair_of
from hingeline.cli.verdicts import refuse_unfit
from hingeline.errors import RecordsError
from hingeline.model.schema import Surface
from hingeline.records.store import Records
from hingeline.travel.curve import TravelCurve
from hingeline.travel.matching import (
    LEAST_POINTS,
    ONE_SURFACE_DEG,
    POINTS,
    TOLERANCE_DEG,
    points_of,
)
from hingeline.travel.shelf import ARM_DEG, pair_up
from hingeline.travel.sides import SurfaceSide

#: More pairs than this take so long that it is said beforehand.
_MANY_PAIRS = 60


@click.command(
    "match", short_help="Work out how two sides are set alike, or which servos pair best."
)
@click.argument(
    "model",
    required=False,
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="[MODEL]",
)
@click.argument("surface", required=False, metavar="[SURFACE]")
@click.option(
    "--shelf", is_flag=True, help="Compare every two calibrated servos on record instead."
)
@click.option(
    "--servo",
    "labels",
    multiple=True,
    metavar="LABEL",
    help="With --shelf: only this servo and others so named; may be repeated.",
)
@click.option(
    "--arm",
    "arm_deg",
    type=options.Quantity(units.ANGLE, 5.0, 170.0),
    default=None,
    help=f"With --shelf: arm range each way from centre; default {ARM_DEG:g} deg.",
)
@options.points_option(LEAST_POINTS, POINTS)
@click.option(
    "--tolerance",
    type=options.Quantity(units.ANGLE, 0.1, 45.0),
    default=None,
    help=f"Mismatch that may remain; default {TOLERANCE_DEG:g} deg, on one surface "
    f"{ONE_SURFACE_DEG:g} deg.",
)
@click.option(
    "--one-surface",
    is_flag=True,
    help="Both servos drive the same surface: what does not match, they fight over.",
)
@click.option(
    "--simulated", is_flag=True, help="Use curves that were measured on the simulated bench."
)
@options.records_option
@options.json_option
def command(
    model: Path | None,
    surface: str | None,
    shelf: bool,
    labels: tuple[str, ...],
    arm_deg: float | None,
    points: int,
    tolerance: float | None,
    one_surface: bool,
    simulated: bool,
    records_path: Path | None,
    as_json: bool,
) -> int:
    """Work out how two sides are set alike, or which servos pair best.

    For a pair of the MODEL, from the curves of its two servos on record: centre, both
    ends and direction for each side, how far the sides then differ at nine points of the
    stick, and, where the radio cannot make them alike, which other hole or tooth would.
    Nothing moves. The exit code is 1 when the pair cannot be matched as it is built.

    With --shelf, every two servos on record are compared by their own curves.

    \b
    Examples:
      hingeline match millrace.toml
      hingeline match millrace.toml --one-surface --tolerance "0.3 deg"
      hingeline match --shelf --arm "45 deg"
    """
    points_of(points)  # an even number is refused before anything is looked up
    if shelf:
        if model is not None or one_surface or tolerance is not None:
            raise click.UsageError(
                "--shelf compares bare servos: leave MODEL, --tolerance and --one-surface out."
            )
        curves, left_out = shelved.on_record(records_path or default_records(), labels, simulated)
        if (count := len(curves) * (len(curves) - 1) // 2) > _MANY_PAIRS:
            tell(f"Comparing {count} pairs.")
        found = pair_up(
            {label: curve for label, (curve, _) in curves.items()},
            arm_deg=ARM_DEG if arm_deg is None else arm_deg,
            points=points,
            left_out=left_out,
        )
        emit(
            shelved.shelf_figures(found, curves),
            as_json=as_json,
            text=shelved.shelf_text(found, curves),
        )
        return 0
    if model is None:
        raise click.UsageError("Name a MODEL file, or say --shelf.")
    if labels or arm_deg is not None:
        raise click.UsageError("--servo and --arm belong to --shelf.")
    file = models.load(model)
    pair = pair_of(file.model, surface, str(model))
    sides, noted = [], {}
    for name in (pair.left, pair.right):
        one = file.model.surface(name)
        side, noted[one.servo] = _side(records_path, file, one, simulated)
        sides.append(side)
    if tolerance is None:
        tolerance = ONE_SURFACE_DEG if one_surface else TOLERANCE_DEG
    worked = matched.work_out(sides[0], sides[1], pair.moves, points, tolerance)
    figures: dict[str, Any] = {
        **matched.match_figures(worked),
        "one_surface": one_surface,
        "curves_noted": noted,
    }
    emit(figures, as_json=as_json, text=matched.match_text(worked, noted, one_surface))
    return 0 if worked.match.passed else FAILED


def _side(
    records_path: Path | None, file: models.ModelFile, surface: Surface, simulated: bool
) -> tuple[SurfaceSide, str]:
    """Return a surface by all that is known of it, and when its servo's curve was noted."""
    path = records_path or default_records()
    if path.exists():
        with Records(path) as records:
            refuse_unfit(records, surface.servo, simulated=simulated)
            known = setting_of(records, file, surface, simulated=simulated)
        for remark in known.remarks:
            tell(remark)
        if known.row is not None and isinstance(known.setting.curve, TravelCurve):
            return SurfaceSide(known.setting, known.setting.curve), known.row.noted
    where = "on the simulated bench" if simulated else "on a bench or on paper"
    port = " --port sim:" if simulated else ""
    raise RecordsError(
        f"{path}: there is no curve of servo {surface.servo} measured {where}.",
        cause="Two sides can only be matched by what their servos really do.",
        mend=f"Calibrate it first: hingeline calibrate {file.path} {surface.servo}{port}",
    )
