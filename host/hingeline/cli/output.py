"""How figures reach the user: tables or JSON on stdout, talk on stderr."""

from __future__ import annotations

import json
import math
import os
import re
import shlex
import sys
import textwrap
from collections.abc import Iterable, Sequence
from contextvars import ContextVar
from typing import Any, TextIO

import click

#: Exit code when what was measured is not as it should be.
FAILED = 1
#: Sentences among the figures are broken at this width, where they do not go to a terminal.
WIDTH = 79
#: On a terminal they follow its width within these bounds: longer lines are hard to read.
NARROWEST, WIDEST = 40, 100
#: Whether ``emit`` will lay out the tables made now.
_LATE: ContextVar[bool] = ContextVar("_LATE", default=False)
#: What stands before a command that the user may copy.
_COMMAND = ": hingeline "
#: How a line begins that is such a command from end to end.
_WHOLE_COMMANDS = ("hingeline ", "mpremote ")


def plain() -> bool:
    """Return whether everything is to be said in plain lines, as a screen reader needs them.

    So it is with ``--plain`` or its environment variable, and on a terminal that says of
    itself that it can do no more than print lines.
    """
    context = click.get_current_context(silent=True)
    asked = context is not None and context.find_root().params.get("plain")
    return bool(asked) or (_dumb() and sys.stdout.isatty())


def lively() -> bool:
    """Return whether a line may be written over, such as a counter of seconds left."""
    return sys.stderr.isatty() and not _dumb() and not plain()


def _dumb() -> bool:
    return os.environ.get("TERM") == "dumb"


def columns_of(stream: TextIO) -> int | None:
    """Return the width of the terminal to which a stream goes; None where it goes elsewhere."""
    if not stream.isatty():
        return None
    if (said := os.environ.get("COLUMNS", "")).isdecimal() and int(said) > 0:
        return int(said)
    try:
        return os.get_terminal_size(stream.fileno()).columns or 80
    except (OSError, ValueError):  # a terminal of another kind, which does not say
        return 80


def tell(text: str) -> None:
    """Say something beside the data; on a terminal, lines are broken between words."""
    if sys.stderr.isatty():
        text = wrapped(text, _sentence_width(sys.stderr))
    click.echo(text, err=True)


def wrapped(text: str, width: int | None = None) -> str:
    """Break a line between words, further lines set in; a command at its end stays whole.

    Parameters
    ----------
    text : str
        One line; what has several is left as it is.
    width : int, optional
        Lines stay shorter; default: as suits the place to which figures go.
    """
    width = width or _sentence_width(sys.stdout)
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


def quoted(word: str) -> str:
    """Return a word as it is typed on this computer's command line, for a command to be copied."""
    if os.name != "nt":
        return shlex.quote(word)
    return word if re.fullmatch(r"[\w.:/\\=+~-]+", word) else f'"{word}"'


def _sentence_width(stream: TextIO) -> int:
    columns = columns_of(stream)
    return WIDTH if columns is None else min(max(columns, NARROWEST), WIDEST)


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
    columns = columns_of(sys.stdout)
    if columns is None or plain():
        for line in text:
            click.echo(line)
        return
    from hingeline.cli.tables import laid_out

    marking = _LATE.set(True)
    try:
        for line in laid_out(text, columns):
            click.echo(_whole_words(line, columns))
    finally:
        _LATE.reset(marking)


def _whole_words(line: str, columns: int) -> str:
    """Break between words what a terminal would break in their middle; but never a command."""
    if len(line) <= columns or line.lstrip().startswith(_WHOLE_COMMANDS):
        return line
    return wrapped(line, columns)


def table(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Lay out a table in plain text, as wide as it needs.

    On a terminal it is laid out in the terminal's width. Among the lines that ``emit`` prints
    there, it is only marked: ``emit`` sees how far its caller has set it in.

    Parameters
    ----------
    headings : sequence of str
        One per column. A heading that starts with ">" sets its column to the right.
    rows : iterable of sequences of str
    """
    from hingeline.cli import tables

    whole = tables.Table(headings, list(rows))
    if plain():
        return tables.spoken(whole)
    if _LATE.get():
        return tables.marked(whole)
    columns = columns_of(sys.stdout)
    return tables.in_columns(whole) if columns is None else tables.fitted(whole, columns)


def _finite(figures: Any) -> Any:
    """Replace what JSON cannot say (nan, infinities) by null."""
    if isinstance(figures, dict):
        return {key: _finite(value) for key, value in figures.items()}
    if isinstance(figures, (list, tuple)):
        return [_finite(value) for value in figures]
    if isinstance(figures, float) and not math.isfinite(figures):
        return None
    return figures
