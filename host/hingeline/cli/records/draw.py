"""``hingeline records draw``."""

from __future__ import annotations

from pathlib import Path

import click

from hingeline.cli import options
from hingeline.cli.records.place import NUMBER, existing
from hingeline.errors import RecordsError


@click.command("draw", short_help="Draw the travel curves of a session.")
@click.argument("session", type=NUMBER)
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@options.records_option
def command(session: int, folder: Path, records_path: Path | None) -> None:
    """Draw the travel curves of a session with their readings, as SVG and PNG.

    \b
    Example:
      hingeline records draw 3 drawings
    """
    from hingeline.cli.drawing import draw_curves
    from hingeline.travel.curve import TravelCurve

    with existing(records_path) as records:
        whole = records.session(session)
    if not whole["curves"]:
        raise RecordsError(
            f"session {session} has no travel curve to draw.",
            mend="Name a finished calibration. See: hingeline records list",
        )
    curves = {row["servo"]: TravelCurve.from_dict(row["curve"]) for row in whole["curves"]}
    draw_curves(folder, curves)
