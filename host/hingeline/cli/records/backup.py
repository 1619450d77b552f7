"""``hingeline records backup``."""

from __future__ import annotations

from pathlib import Path

import click

from hingeline.cli import options
from hingeline.cli.output import tell
from hingeline.cli.records.place import existing


@click.command("backup", short_help="Copy the whole records file.")
@click.argument("to", type=click.Path(path_type=Path, dir_okay=False))
@options.records_option
def command(to: Path, records_path: Path | None) -> None:
    """Copy the whole records file to a new one, also while something is being measured.

    To go back to it, put it where the records are, or name it with --records.

    \b
    Example:
      hingeline records backup /media/stick/records.sqlite
    """
    with existing(records_path) as records:
        records.back_up(to)
        count = records.count()
    tell(f"Written: {to}, {count} session{'' if count == 1 else 's'}.")
