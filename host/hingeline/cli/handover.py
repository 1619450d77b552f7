"""``hingeline handover``."""

from __future__ import annotations

from pathlib import Path

import click

from hingeline import units
from hingeline.cli import handed, handedtext, models, options
from hingeline.cli.benchwork import default_records
from hingeline.cli.curves import CurveOnRecord, curve_row_of
from hingeline.cli.models import ModelFile
from hingeline.cli.output import FAILED, emit
from hingeline.cli.verdicts import refuse_unfit
from hingeline.errors import TravelError
from hingeline.model.schema import Surface
from hingeline.records.store import Records
from hingeline.rigging.handing import Span, computed, measured
from hingeline.travel.setting import setting_of

RIGGED = "rigged"


@click.command("handover", short_help="List what to enter in the radio, and what it means.")
@options.model_argument
@click.argument("surfaces", nargs=-1, metavar="[SURFACE]...")
@click.option(
    "--span",
    "span_us",
    type=options.Quantity(units.PULSE, 50.0, 1500.0),
    default=None,
    help="What 100 % means on your radio: so many us to either side of its centre.",
)
@click.option(
    "--radio-centre",
    "radio_centre_us",
    type=options.Quantity(units.PULSE, 300.0, 2500.0),
    default=None,
    help="The pulse of your radio at its centre, nothing trimmed.",
)
@click.option("--simulated", is_flag=True, help="Use what was measured on the simulated bench.")
@options.records_option
@options.json_option
def command(
    model: Path,
    surfaces: tuple[str, ...],
    span_us: float | None,
    radio_centre_us: float | None,
    simulated: bool,
    records_path: Path | None,
    as_json: bool,
) -> int:
    """List what to enter in the radio, and what it means.

    For each surface of the MODEL its centre, both ends and the way a rising pulse moves it:
    as it was measured when it was rigged; else by its servo's curve; else by the maker's
    rate. In per cent as well when you say what 100 % is on your radio. Nothing moves. The exit
    code is 1 when something wanted is not had.

    \b
    Examples:
      hingeline handover millrace.toml
      hingeline handover millrace.toml --span "500 us" --radio-centre "1500 us"
    """
    if span_us is not None and radio_centre_us is None:
        raise click.UsageError(
            "Per cent are counted from the radio's own centre: state --radio-centre as well."
        )
    file = models.load(model)
    chosen = models.surfaces_named(file, surfaces)
    found = _found(file, chosen, records_path or default_records(), simulated)
    span = Span(span_us, radio_centre_us) if span_us and radio_centre_us else None
    radio = handed.Radio(radio_centre_us, span)
    work = handed.work_out(file.model, found, radio)
    emit(handed.figures(work), as_json=as_json, text=handedtext.text(work))
    return 0 if work.passed else FAILED


def _found(
    file: ModelFile, chosen: list[Surface], path: Path, simulated: bool
) -> list[handed.Found]:
    """Return the figures of each surface by the best that is on record."""
    if not path.exists():
        return [_computed(file, surface, None) for surface in chosen]
    with Records(path) as records:
        return [_by_record(file, surface, records, simulated) for surface in chosen]


def _by_record(
    file: ModelFile, surface: Surface, records: Records, simulated: bool
) -> handed.Found:
    refuse_unfit(records, surface.servo, simulated=simulated)
    row = curve_row_of(records, surface.servo, simulated=simulated)
    rigged = records.finding_history(
        RIGGED, surface.name, simulated=simulated, limit=1, model=file.model.name
    )
    if not rigged or rigged[0]["figures"]["servo"] != surface.servo:
        return _computed(file, surface, row)
    noted = str(rigged[0]["noted"])
    newer: tuple[str, ...] = ()
    if row is not None and row.noted > noted:
        newer = (f"servo {surface.servo} was calibrated again after it was rigged.",)
    elif row is not None and row.seated is not None and row.seated > noted:
        newer = (f"the arm of servo {surface.servo} was put on again after it was rigged.",)
    servo = file.model.servo_of(surface)
    figures = rigged[0]["figures"]
    try:
        made = measured(setting_of(surface, servo, row.curve if row else None), figures)
    except TravelError:
        # A newer curve that does not hold the pulses of the rig; the readings hold them.
        made = measured(setting_of(surface, servo, None), figures)
    return handed.Found(made, noted, newer)


def _computed(file: ModelFile, surface: Surface, row: CurveOnRecord | None) -> handed.Found:
    curve = None if row is None else row.curve
    setting = setting_of(surface, file.model.servo_of(surface), curve)
    return handed.Found(computed(setting), None if row is None else row.noted)
