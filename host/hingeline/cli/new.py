"""``hingeline new``."""

from __future__ import annotations

from pathlib import Path

import click

from hingeline.cli.output import quoted, tell
from hingeline.model.writing import write_new


@click.command("new", short_help="Write a commented model file to start from.")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--name", default=None, help="The model's name; default: the file's name.")
def command(file: Path, name: str | None) -> None:
    """Write a commented model file to start from.

    FILE must not exist yet. Every key stands in it with its meaning and an example;
    replace the figures by your own measurements.

    \b
    Example:
      hingeline new heron.toml --name "Heron 2"
    """
    write_new(file, name if name is not None else file.stem)
    again = quoted(str(file))
    tell(f"Written: {file}. Replace its figures by your own, then: hingeline plan {again}")
