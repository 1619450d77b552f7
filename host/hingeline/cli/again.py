"""The command line as it was given, for the person to give it again."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import click
from click.core import ParameterSource

from hingeline.cli.options import Quantity
from hingeline.cli.output import quoted


def same_command(*, without: Sequence[str] = (), more: Sequence[str] = ()) -> str:
    """Return the command line of the command under way, to be copied.

    Parameters
    ----------
    without : sequence of str
        Names of parameters to be left out.
    more : sequence of str
        What is added at its end.
    """
    context = click.get_current_context()
    words = ["hingeline", context.command.name or ""]
    for parameter in context.command.params:
        name = parameter.name or ""
        given = context.get_parameter_source(name) is ParameterSource.COMMANDLINE
        if given and name not in without:
            words += _words(parameter, context.params.get(name))
    return " ".join(map(quoted, [*words, *more]))


def _words(parameter: click.Parameter, value: Any) -> Iterator[str]:
    flag = isinstance(parameter, click.Option) and parameter.is_flag
    for one in value if isinstance(value, tuple) else (value,):
        if isinstance(parameter, click.Option):
            yield parameter.opts[0]
        if flag:
            continue
        kind = parameter.type
        yield f"{one:g} {kind.kind.unit}" if isinstance(kind, Quantity) else str(one)
