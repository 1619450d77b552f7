"""How figures reach the user: tables or JSON on stdout, talk on stderr."""

from __future__ import annotations

import json
import math
import shutil
import sys
import textwrap
from collections.abc import Iterable, Sequence
from typing import Any

import click

#: Exit code when what was measured is not as it should be.
FAILED = 1
#: Sentences among the figures are broken at this width.
WIDTH = 79
#: What stands before a command that the user may copy.
_COMMAND = ": hingeline "


def tell(text: str) -> None:
    """Say something beside the data; on a terminal, lines are broken between words."""
    if sys.stderr.isatty():
        text = wrapped(text, shutil.get_terminal_size().columns)
    click.echo(text, err=True)


def wrapped(text: str, width: int = WIDTH) -> str:
    """Break a line between words, further lines set in; a command at its end stays whole."""
    if len(text) < width or "\n" in text:
        return text
    indent = " " * (len(text) - len(text.lstrip()) + 2)
    words, mark, command = text.partition(_COMMAND)
    lines = textwrap.wrap(
        words + mark[:1],
        width - 1,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )
    if mark:
        lines.append(f"{indent}{mark[2:]}{command}")
    return "\n".join(lines)


def emit(figures: Any, *, as_json: bool, text: Iterable[str]) -> None:
    """Print a command's result: as JSON, or as the lines of ``text``.

    Parameters
    ----------
    figures : plain dicts, lists, numbers and strings
        Printed with ``--json``; keys carry their unit.
    as_json : bool
        Whether ``--json`` was given.
    text : iterable of str
        The same for people; not evaluated for JSON when it is a generator.
    """
    if as_json:
        click.echo(json.dumps(_finite(figures), indent=2, allow_nan=False))
        return
    for line in text:
        click.echo(line)


def table(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Lay out a table in plain text; columns of figures are set to the right.

    Parameters
    ----------
    headings : sequence of str
        One per column. A heading that starts with ">" sets its column to the right.
    rows : iterable of sequences of str
    """
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    laid = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0))
    for heading in headings:
        right = heading.startswith(">")
        laid.add_column(
            Text(heading.removeprefix(">")),
            justify="right" if right else "left",
            no_wrap=True,
        )
    for row in rows:
        laid.add_row(*(Text(cell) for cell in row))
    # As wide as it needs: a table squeezed to a narrow terminal loses its names and figures.
    console = Console(width=1000, color_system=None, force_terminal=False, highlight=False)
    with console.capture() as captured:
        console.print(laid)
    return "\n".join(line.rstrip() for line in captured.get().rstrip("\n").split("\n"))


def _finite(figures: Any) -> Any:
    """Replace what JSON cannot say (nan, infinities) by null."""
    if isinstance(figures, dict):
        return {key: _finite(value) for key, value in figures.items()}
    if isinstance(figures, (list, tuple)):
        return [_finite(value) for value in figures]
    if isinstance(figures, float) and not math.isfinite(figures):
        return None
    return figures
