"""``hingeline completion``, and what a shell is told when Tab is pressed."""

from __future__ import annotations

import os
import shlex
from pathlib import Path

import click
from click import shell_completion as click_shell

from hingeline.cli.entry import COMPLETE, hingeline
from hingeline.cli.output import tell

#: Which names of the model complete an argument, by what the argument is called.
NAMES = {"surface": "surfaces", "surfaces": "surfaces", "servo": "servos"}
#: Where each shell looks for the script.
PLACES = {
    "bash": "Keep it: hingeline completion bash > ~/.hingeline.bash\n"
    "Add to ~/.bashrc: source ~/.hingeline.bash",
    "zsh": "Keep it: hingeline completion zsh > ~/.hingeline.zsh\n"
    "Add to ~/.zshrc, below compinit: source ~/.hingeline.zsh",
    "fish": "Keep it: hingeline completion fish > ~/.config/fish/completions/hingeline.fish",
}
# bash gives a function its line in pieces, parted at ":" too, so that "sim:" is none of them;
# and it takes what comes back as it is, so that a name with a space has to be quoted.
_BASH = """\
%(complete_func)s() {
    local kind value
    COMPREPLY=()
    while IFS=, read -r kind value; do
        case $kind in
            file) compopt -o default ;;
            dir) compopt -o dirnames ;;
            *) COMPREPLY+=("$value") ;;
        esac
    done < <(%(complete_var)s=bash_complete COMP_LINE="${COMP_LINE:0:COMP_POINT}" \\
        "$1" 2> /dev/null)
}
complete -o nosort -F %(complete_func)s %(prog_name)s
"""


@click.command("completion", short_help="Print what makes a shell complete commands and names.")
@click.argument("shell", type=click.Choice(list(PLACES)))
def command(shell: str) -> None:
    """Print what makes a shell complete commands and names.

    With it, Tab completes commands, options, their values, file names, and the surfaces and
    servos of the model file that was named before. bash needs version 4.4 or newer.

    \b
    Example:
      hingeline completion bash
    """
    kinds = {"bash": Bash, "zsh": click_shell.ZshComplete, "fish": click_shell.FishComplete}
    click.echo(kinds[shell](hingeline, {}, "hingeline", COMPLETE).source(), nl=False)
    for line in PLACES[shell].split("\n"):
        tell(line)


@click_shell.add_completion_class
class Bash(click_shell.BashComplete):
    """Completion for bash, of words that have to be quoted and of lines with a colon, too."""

    source_template = _BASH

    def source(self) -> str:
        """Return the script, without a look at which bash there is."""
        return click_shell.ShellComplete.source(self)

    def get_completion_args(self) -> tuple[list[str], str]:
        """Return the words before the one that is completed, and that one."""
        line = os.environ.get("COMP_LINE")
        if line is None:
            return super().get_completion_args()
        # With one letter more, the last word is there even where nothing of it is typed yet.
        *words, last = click_shell.split_arg_string(f"{line}x")
        return words[1:], last[:-1]

    def format_completion(self, item: click_shell.CompletionItem) -> str:
        """Return a line of the answer; a word is quoted, unless a quote was opened for it."""
        value = str(item.value)
        if item.type == "plain" and not _quote_is_open(os.environ.get("COMP_LINE", "")):
            value = "".join(f"\\{letter}" if _is_special(letter) else letter for letter in value)
        return f"{item.type},{value}"


def _is_special(letter: str) -> bool:
    return shlex.quote(letter) != letter and letter.isascii()


def _quote_is_open(line: str) -> bool:
    try:
        shlex.split(f"{line}x")
    except ValueError:
        return True
    return False


def teach(command: click.Command) -> None:
    """Let the surfaces and servos among a command's arguments be completed from its model."""
    for parameter in command.params:
        if isinstance(parameter, click.Argument) and parameter.name in NAMES:
            parameter.type = _OfTheModel(NAMES[parameter.name])


class _OfTheModel(click.types.StringParamType):
    """A name that stands in the model file named before it."""

    def __init__(self, names: str) -> None:
        self._names = names

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[click_shell.CompletionItem]:
        """Return the names that begin so and were not named yet; none of a broken file."""
        path, said = ctx.params.get("model"), ctx.params.get(param.name or "") or ()
        found = _names_in(Path(path), self._names) if path else []
        already = said if isinstance(said, tuple) else ()
        return [
            click_shell.CompletionItem(name)
            for name in found
            if name.startswith(incomplete) and name not in already
        ]


def _names_in(path: Path, kind: str) -> list[str]:
    from hingeline.errors import HingelineError
    from hingeline.model.reading import read_model

    try:
        model = read_model(path)
    except HingelineError:
        return []
    if kind == "servos":
        return list(model.servos)
    return [surface.name for surface in model.surfaces]
