"""``hingeline board``: one file per sub-command, imported only when it is called."""

from __future__ import annotations

import importlib

import click

#: Name of each sub-command: the module it is in, and its one-line help.
SUBCOMMANDS = {
    "list": ("listing", "List the ports that may have a board."),
    "info": ("info", "Ask one board what it is."),
    "install": ("install", "Put the firmware on a board."),
    "selftest": ("selftest", "Let a board measure its own pulses."),
    "settings": ("settings", "Show and change what a board keeps."),
}


class _Lazily(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        del ctx
        return list(SUBCOMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in SUBCOMMANDS:
            return super().get_command(ctx, cmd_name)
        module = importlib.import_module(f"hingeline.cli.board.{SUBCOMMANDS[cmd_name][0]}")
        found: click.Command = module.command
        return found

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        del ctx  # the table knows all that click would ask the sub-commands
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in SUBCOMMANDS.items()])


@click.group("board", cls=_Lazily, short_help="Find, install, test and set up bench boards.")
def command() -> None:
    """Find, install, test and set up bench boards.

    \b
    Example:
      hingeline board list
    """
