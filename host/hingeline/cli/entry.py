"""The command ``hingeline``: finds the sub-command, and shows every error in one place.

Sub-commands are imported only when they are called, so that help starts as fast as click
itself. What their one-line help says is repeated here, and a test holds the two equal.
"""

from __future__ import annotations

import importlib
import io
import os
import sys
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, ClassVar

import click

from hingeline import __version__
from hingeline.errors import HingelineError, Stopped

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

#: Name of each command, its one-line help, in the order of the job.
COMMANDS = {
    "demo": "Play the whole job on the simulated bench.",
    "new": "Write a commented model file to start from.",
    "plan": "Work out throws, lean, rod length and pulses of a model.",
    "board": "Find, install, test and set up bench boards.",
    "centre": "Hold servos at their centre while arms are fitted.",
    "sweep": "Run servos to and fro between two pulses.",
    "step": "Take servos through a list of pulses.",
    "calibrate": "Measure a servo's travel and fit its curve.",
    "match": "Work out how two sides are set alike, or which servos pair best.",
    "deadband": "Find the least step back that moves a servo.",
    "listen": "Find where a servo buzzes, rod on and rod off.",
    "throw": "Send the throws that a model asks for, and measure them.",
    "pair": "Check that two surfaces match, point by point.",
    "rig": "Rig a model step by step, from bare servos to signing it off.",
    "handover": "List what to enter in the radio, and what it means.",
    "check": "Compare a model with its record, three points a surface.",
    "convert": "Turn degrees of throw into mm at a chord, and back.",
    "records": "List, compare, export, copy or forget what was measured.",
    "completion": "Print what makes a shell complete commands and names.",
}


#: Set by a shell that asks how a line goes on: what click itself would call it.
COMPLETE = "_HINGELINE_COMPLETE"
#: When set, a fault of the program shows where it arose.
TRACE = "HINGELINE_TRACE"
#: Exit code of such a fault: EX_SOFTWARE of sysexits.h.
FAULT = 70


class Lazily(click.Group):
    """A group whose help comes from a table, so that it starts as fast as click itself."""

    #: Name of each command: the module in which it is ``command``, and its one-line help.
    table: ClassVar[Mapping[str, tuple[str, str]]] = {}

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names in the order of the table."""
        del ctx
        return list(self.table)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import a command."""
        if cmd_name not in self.table:
            return super().get_command(ctx, cmd_name)
        module: Any = importlib.import_module(self.table[cmd_name][0])
        found: click.Command = module.command
        if COMPLETE in os.environ:
            from hingeline.cli.completion import teach

            teach(found)
        return found

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find a command, and name the one that was probably meant."""
        unknown = args and args[0] not in self.table and not args[0].startswith("-")
        if unknown and not ctx.resilient_parsing:
            import difflib

            close = difflib.get_close_matches(args[0], self.table, n=1)
            hint = f" Did you mean {close[0]!r}?" if close else ""
            ctx.fail(f"There is no command {args[0]!r}.{hint} See: {ctx.command_path} --help")
        return super().resolve_command(ctx, args)

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        """Return the commands that begin so, from the table, and whatever else click knows."""
        from click.shell_completion import CompletionItem

        found = [
            CompletionItem(name, help=text)
            for name, (_, text) in self.table.items()
            if name.startswith(incomplete)
        ]
        return found + click.Command.shell_complete(self, ctx, incomplete)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write what the table says, so that no module is imported for its help."""
        del ctx
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in self.table.items()])


class _Commands(Lazily):
    table: ClassVar[Mapping[str, tuple[str, str]]] = {
        name: (f"hingeline.cli.{name}", text) for name, text in COMMANDS.items()
    }


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="hingeline")
@click.option(
    "--plain",
    is_flag=True,
    envvar="HINGELINE_PLAIN",
    show_envvar=True,
    help="Plain lines that a screen reader can say: no tables, no counters.",
)
def hingeline(plain: bool) -> None:
    """Fit servos, arms, pushrods and horns so that surfaces move as they should.

    \b
    A first look, without any hardware:
      hingeline demo
    Then for a model of your own:
      hingeline new mymodel.toml
      hingeline plan mymodel.toml
    """
    del plain  # whoever writes looks for it: hingeline.cli.output


def main(arguments: list[str] | None = None) -> None:
    """Run one command; every error ends here, as a sentence and an exit code."""
    for stream in (sys.stdout, sys.stderr):
        # A name that the terminal cannot show must not end a command.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    if COMPLETE in os.environ:
        # Our way of speaking to bash takes the place of click's.
        importlib.import_module("hingeline.cli.completion")
    try:
        code = hingeline.main(
            args=arguments,
            prog_name="hingeline",
            complete_var=COMPLETE,
            standalone_mode=False,
        )
        sys.stdout.flush()  # what cannot be written is told here, not while Python ends
    except click.ClickException as error:
        _show_usage(error)
        sys.exit(error.exit_code)
    except (click.Abort, KeyboardInterrupt):
        click.echo(err=True)  # the cursor still stands behind a question
        _show(Stopped("stopped."))
        sys.exit(Stopped.exit_code)
    except HingelineError as error:
        _show(error)
        sys.exit(error.exit_code)
    except BrokenPipeError:
        # The reader of our output has gone; nothing more can be said to it.
        _drop_output()
        sys.stderr.close()
        sys.exit(1)
    except OSError as error:
        _drop_output()
        place = f"{error.filename}: " if error.filename else ""
        _show(HingelineError(f"{place}the system reports: {error.strerror or error}."))
        sys.exit(HingelineError.exit_code)
    except Exception as error:
        if TRACE in os.environ:
            raise
        _show(
            HingelineError(
                f"this is a fault of Hingeline itself ({type(error).__name__}: {error}).",
                mend=f"Please report it, with what is shown when {TRACE}=1 is set.",
            )
        )
        sys.exit(FAULT)
    sys.exit(code if isinstance(code, int) else 0)


def _show_usage(error: click.ClickException) -> None:
    from hingeline.cli.output import tell

    context = error.ctx if isinstance(error, click.UsageError) else None
    if context is not None:
        click.echo(f"{context.get_usage()}\nSee: {context.command_path} --help\n", err=True)
    tell(f"hingeline: {error.format_message()}")


def _drop_output() -> None:
    """Let what is still to be printed go nowhere: Python would fail on it once more at its end."""
    try:
        target = sys.stdout.fileno()
    except (OSError, ValueError):  # no real file, as in tests
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, target)
    os.close(nowhere)


def _show(error: HingelineError) -> None:
    from hingeline.cli.output import tell

    tell(f"hingeline: {error.message}")
    if error.cause:
        tell(f"  Why: {error.cause}")
    if error.mend:
        tell(f"  Next: {error.mend}")
