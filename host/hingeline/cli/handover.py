"""``hingeline handover``."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from hingeline import units
from hingeline.bench.ports import SIMULATED
from hingeline.cli import handed, handedtext, known, models, options
from hingeline.cli.benchwork import default_records
from hingeline.cli.models import ModelFile
from hingeline.cli.output import FAILED, emit
from hingeline.cli.rigstate import RigState, newest_of, rig_of
from hingeline.cli.verdicts import refuse_unfit
from hingeline.errors import TravelError
from hingeline.kinds import RIGGED
from hingeline.model.schema import Surface
from hingeline.records.store import Records
from hingeline.rigging.handing import Span, computed, measured
from hingeline.travel.setting import setting_of as put_together


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
@click.option(
    "--port",
    "ports",
    multiple=True,
    envvar="HINGELINE_PORT",
    show_envvar=True,
    help="'sim:' says the same as --simulated; nothing is opened.",
)
@click.option("--simulated", is_flag=True, help="Use what was measured on the simulated bench.")
@options.records_option
@options.json_option
def command(
    model: Path,
    surfaces: tuple[str, ...],
    span_us: float | None,
    radio_centre_us: float | None,
    ports: tuple[str, ...],
    simulated: bool,
    records_path: Path | None,
    as_json: bool,
) -> int:
    """List what to enter in the radio, and what it means.

    For each surface of the MODEL its centre, both ends and the way a rising pulse moves it:
    as it was measured when it was rigged; else by its servo's curve; else by the maker's
    rate. In per cent as well when you say what 100 % is on your radio. Nothing moves. The exit
    code is 1 when something wanted is not had, or a step of the rig failed, was left out or no
    longer stands, or nobody signed it.

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
    simulated = simulated or any(port.startswith(SIMULATED) for port in ports)
    found, rigs = _found(file, chosen, records_path or default_records(), simulated)
    span = Span(span_us, radio_centre_us) if span_us and radio_centre_us else None
    radio = handed.Radio(radio_centre_us, span)
    work = handed.work_out(file.model, found, radio, rigs)
    emit(handed.figures(work), as_json=as_json, text=handedtext.text(work))
    return 0 if work.passed else FAILED


def _found(
    file: ModelFile, chosen: list[Surface], path: Path, simulated: bool
) -> tuple[list[handed.Found], list[RigState]]:
    """Return the figures of each surface by the best that is on record, and their rigs."""
    if not path.exists():
        return [
            _computed(known.setting_of(None, file, one, simulated=False)) for one in chosen
        ], []
    with Records(path) as records:
        newest = newest_of(file.model, records, simulated=simulated)
        found = [_by_record(file, surface, records, newest, simulated) for surface in chosen]
        rigs = {one.rig.number: one.rig for one in found if one.rig is not None}
        return found, list(rigs.values())


def _by_record(
    file: ModelFile,
    surface: Surface,
    records: Records,
    newest: RigState | None,
    simulated: bool,
) -> handed.Found:
    refuse_unfit(records, surface.servo, simulated=simulated)
    now = known.setting_of(records, file, surface, simulated=simulated)
    rigged = records.finding_history(
        RIGGED, surface.name, simulated=simulated, limit=1, model=file.model.name
    )
    rig = newest if newest is not None and newest.touched(surface) else None
    if not rigged or rigged[0]["figures"]["servo"] != surface.servo:
        return replace(_computed(now), rig=rig)
    own = rig_of(file.model, records, rigged[0]["session_id"])
    noted = str(rigged[0]["noted"])
    newer: tuple[str, ...] = ()
    if rig is not None and rig.number != own.number:
        newer = (f"its figures are of an earlier rig; a new one was begun on {rig.begun[:10]}.",)
    elif now.row is not None and now.row.noted > noted:
        newer = (f"servo {surface.servo} was calibrated again after it was rigged.",)
    elif now.row is not None and now.row.seated is not None and now.row.seated > noted:
        newer = (f"the arm of servo {surface.servo} was put on again after it was rigged.",)
    figures = rigged[0]["figures"]
    try:
        made = measured(now.setting, figures)
    except TravelError:
        # A newer curve that does not hold the pulses of the rig; the readings hold them.
        made = measured(put_together(surface, file.model.servo_of(surface), None), figures)
    return handed.Found(made, noted, newer, rig or own, now.remarks)


def _computed(now: known.Known) -> handed.Found:
    noted = None if now.row is None else now.row.noted
    return handed.Found(computed(now.setting), noted, remarks=now.remarks)
