"""``hingeline board``: one file per sub-command, imported only when it is called."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

import click

from hingeline.cli.entry import Lazily

#: Name of each sub-command: the module it is in, and its one-line help.
SUBCOMMANDS = {
    "list": ("listing", "List the ports that may have a board."),
    "info": ("info", "Ask one board what it is."),
    "install": ("install", "Put the firmware on a board."),
    "selftest": ("selftest", "Let a board measure its own pulses."),
    "settings": ("settings", "Show and change what a board keeps."),
}


class _Subcommands(Lazily):
    table: ClassVar[Mapping[str, tuple[str, str]]] = {
        name: (f"hingeline.cli.board.{module}", text)
        for name, (module, text) in SUBCOMMANDS.items()
    }


@click.group("board", cls=_Subcommands, short_help="Find, install, test and set up bench boards.")
def command() -> None:
    """Find, install, test and set up bench boards.

    \b
    Example:
      hingeline board list
    """
