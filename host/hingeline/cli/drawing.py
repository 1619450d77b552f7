"""Drawings of servos: matplotlib is imported only when something is drawn."""

from __future__ import annotations

from pathlib import Path

import click

from hingeline.cli.calibrated import Calibrated
from hingeline.cli.output import tell
from hingeline.travel.curve import TravelCurve

draw_option = click.option(
    "--draw",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    default=None,
    help="Draw the curve with its readings into this folder, as SVG and PNG.",
)


def make_folder(folder: Path) -> None:
    """Make the folder for drawings, if it is not there.

    Raises
    ------
    click.UsageError
        When it cannot be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise click.UsageError(
            f"--draw {folder}: the folder cannot be made ({error.strerror}). Name another."
        ) from None


def draw_curves(folder: Path, curves: dict[str, TravelCurve]) -> None:
    """Draw travel curves, by their servos' labels, into a folder and name the files."""
    from hingeline.sheets.files import draw_curve

    for label, curve in curves.items():
        for path in draw_curve(folder, label, curve):
            tell(f"  {path}")


def draw_since(folder: Path, found: Calibrated) -> None:
    """Draw a calibration over the one before it, where there is one, and name the files."""
    from hingeline.sheets.files import draw_change

    if found.before is not None and found.since is not None:
        label = found.label or "servo"
        for path in draw_change(folder, label, found.before, found.curve, found.since):
            tell(f"  {path}")
