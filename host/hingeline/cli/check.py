"""``hingeline check``."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from hingeline import units
from hingeline.bench.asking import Gauge
from hingeline.bench.ports import SIMULATED
from hingeline.cli import models, options, pastchecks
from hingeline.cli.models import ModelFile
from hingeline.cli.output import emit
from hingeline.cli.records.place import existing
from hingeline.model.schema import Surface

_AT_BOARDS = " (of a simulated bench: --port sim:)"


@click.command("check", short_help="Compare a model with its record, three points a surface.")
@options.model_argument
@click.argument("surfaces", nargs=-1, metavar="[SURFACE]...")
@click.option(
    "--tolerance",
    type=options.Quantity(units.ANGLE, 0.1, 45.0),
    default="1 deg",
    show_default=True,
    help="What may have changed without harm.",
)
@click.option(
    "--history", is_flag=True, help="Show what was found over time instead; nothing moves."
)
@options.gauge_options("deg", "drop", "straight")
@options.moving_options
@options.json_option
def command(
    model: Path,
    surfaces: tuple[str, ...],
    tolerance: float,
    history: bool,
    gauge: Gauge,
    choices: options.Choices,
    as_json: bool,
) -> int:
    """Compare a model with its record, three points a surface.

    Before flying, after a hard landing, next season: each surface is sent where it was sent
    when it was rigged, to both ends and to neutral, and you type where it stands. What differs
    by more than the gauge may make is named: a slipped arm, a bent rod, growing free play,
    another servo, a reversed channel. Where the free play is on record, it is read again, too.
    A surface that stands far from its record at the first end is not driven to the other. The
    exit code is 1 when something has changed by more than the tolerance, when the record itself
    was not as wanted or the model file has changed since, when a step of the rig was left out,
    a newer rig was begun or nobody signed it, and when a surface was left out.

    \b
    Examples:
      hingeline check millrace.toml
      hingeline check millrace.toml elevator --gauge drop
      hingeline check millrace.toml --history
    """
    file = models.load(model)
    chosen = models.surfaces_named(file, surfaces)
    if history:
        _show_history(file, chosen, choices, as_json=as_json)
        return 0
    from hingeline.cli import checking, onrecord

    recorded, refused = onrecord.on_record(file, chosen, choices)
    check = checking.Check(file, chosen, recorded, refused, gauge, tolerance, choices)
    return check.through(as_json=as_json)


def _show_history(
    file: ModelFile, chosen: Sequence[Surface], choices: options.Choices, *, as_json: bool
) -> None:
    # No bench is needed: without a name those of real ones are meant.
    simulated = any(port.startswith(SIMULATED) for port in choices.ports)
    name = file.model.name
    with existing(choices.records_path) as records:
        found = {
            one.name: pastchecks.over_time(records, name, one, simulated=simulated)
            for one in chosen
        }
    emit(
        {
            "surfaces": [
                pastchecks.figures(one, found[one.name]) for one in chosen if found[one.name]
            ]
        },
        as_json=as_json,
        text=(
            line
            for one in chosen
            for line in (
                pastchecks.text(one, found[one.name])
                if found[one.name]
                else [f"{one.name}: nothing is on record yet{'' if simulated else _AT_BOARDS}."]
            )
        ),
    )
