"""``hingeline records``: one file per sub-command, imported only when it is called."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

import click

from hingeline.cli.entry import Lazily

#: Name of each sub-command: the module it is in, and its one-line help.
SUBCOMMANDS = {
    "list": ("listing", "List the sessions, the newest first."),
    "show": ("show", "Show one session whole."),
    "servo": ("servo", "Show every servo on record, or one with its history."),
    "models": ("models", "List the models on record with their versions."),
    "compare": ("compare", "Compare two sessions: what changed beyond uncertainty."),
    "draw": ("draw", "Draw the travel curves of a session."),
    "export": ("export", "Write sessions to a file, as JSON or CSV."),
    "import": ("taking", "Take in sessions that were exported elsewhere."),
    "backup": ("backup", "Copy the whole records file."),
    "forget": ("forget", "Remove sessions for good."),
}


class _Subcommands(Lazily):
    table: ClassVar[Mapping[str, tuple[str, str]]] = {
        name: (f"hingeline.cli.records.{module}", text)
        for name, (module, text) in SUBCOMMANDS.items()
    }


@click.group(
    "records",
    cls=_Subcommands,
    short_help="List, compare, export, copy or forget what was measured.",
)
def command() -> None:
    """List, compare, export, copy or forget what was measured.

    \b
    Example:
      hingeline records list
    """
