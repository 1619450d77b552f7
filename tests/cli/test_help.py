"""Every command can be learned from its own help, and the help is true."""

import json
import re
import shlex
import subprocess
import sys
from pathlib import Path

import click
import pytest

from hingeline import cli
from hingeline.cli.board import SUBCOMMANDS
from hingeline.cli.entry import COMMANDS, hingeline
from tests.cli.running import run

TOP = click.Context(hingeline)
HEAVY = {"numpy", "scipy", "matplotlib", "serial", "rich", "sqlite3", "msgspec"}


def leaves(command=hingeline, path=()):
    """List every command, groups among them, with the words that call it."""
    if path:
        yield path, command
    if isinstance(command, click.Group):
        for name in command.list_commands(TOP):
            yield from leaves(command.get_command(TOP, name), (*path, name))


ALL = list(leaves())
every = pytest.mark.parametrize(("path", "command"), ALL, ids=[" ".join(path) for path, _ in ALL])


def examples(command):
    text = click.Context(command, info_name="x").command.help or ""
    return re.findall(r"^ *(hingeline .*)$", text, re.MULTILINE)


def test_the_table_names_every_command_and_nothing_else():
    room = Path(cli.__file__).parent
    files = {file.stem: file for file in room.glob("*.py")}
    files |= {file.parent.name: file for file in room.glob("*/__init__.py")}
    made = {name for name, file in files.items() if "\ndef command(" in file.read_text("utf-8")}
    assert made == set(COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_short_help_is_what_the_table_says(name):
    command = hingeline.get_command(TOP, name)
    assert command.name == name
    assert command.get_short_help_str(200) == COMMANDS[name]


@pytest.mark.parametrize("name", SUBCOMMANDS)
def test_short_help_of_a_board_command_is_what_its_table_says(name):
    command = hingeline.get_command(TOP, "board").get_command(TOP, name)
    assert command.name == name
    assert command.get_short_help_str(200) == SUBCOMMANDS[name][1]


@every
def test_help_says_what_and_shows_an_example(path, command):
    shown = run(*path, "--help")
    assert shown.code == 0
    assert shown.err == ""
    assert shown.out.startswith(f"Usage: hingeline {' '.join(path)} ")
    assert command.short_help.endswith(".")
    assert examples(command)
    assert all(example.split()[1] in COMMANDS for example in examples(command))
    # Examples are shown as they stand, not run together into a paragraph.
    for example in examples(command):
        assert f"    {example}\n" in shown.out
    assert run(*path, "-h").out == shown.out


@every
def test_every_option_has_help(path, command):
    del path
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            assert parameter.help, parameter.name
            assert parameter.help.endswith("."), parameter.name


@pytest.mark.parametrize("example", sorted({line for _, c in ALL for line in examples(c)}))
def test_examples_parse(example):
    words = shlex.split(example)[1:]
    command = hingeline
    while isinstance(command, click.Group):
        name, command, words = command.resolve_command(TOP, words)
    command.make_context(name, words)  # raises what a user would be shown


def test_a_wrong_example_would_not_parse():
    with pytest.raises(click.UsageError):
        hingeline.get_command(TOP, "convert").make_context("convert", ["15 deg", "--cord", "4 mm"])


def test_help_lists_all_commands_in_the_order_of_the_job():
    shown = run("--help").out
    listed = re.findall(r"^  (\w+)  +(.*)$", shown.split("Commands:")[1], re.MULTILINE)
    assert listed == list(COMMANDS.items())


def test_version():
    from hingeline import __version__

    assert __version__ in run("--version").out


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        (["plna"], "'plan'"),
        (["calibrat", "x.toml"], "'calibrate'"),
        (["records", "shwo"], "'show'"),
        (["board", "instal"], "'install'"),
        (["plan", "millrace.toml", "--jsn"], "--json"),
        (["plan", "millrace.toml", "elevater"], "'elevator'"),
    ],
)
def test_near_misses_are_named(typed, meant):
    ran = run(*typed)
    assert ran.code in (2, 3)
    assert ran.out == ""
    assert "Did you mean" in ran.err
    assert meant in ran.err


def test_what_is_like_nothing_points_to_the_help():
    ran = run("xyzzy")
    assert ran.code == 2
    assert "There is no command 'xyzzy'" in ran.err
    assert "hingeline --help" in ran.err
    assert "See: hingeline board --help" in run("board", "xyzzy").err


def modules_after(*commands):
    """Return the packages that a fresh process has imported after these commands."""
    code = (
        "import sys, json\n"
        "from hingeline.cli.entry import main\n"
        "for arguments in json.loads(sys.argv[1]):\n"
        "    try: main(arguments)\n"
        "    except SystemExit: pass\n"
        "print(json.dumps(sorted(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, json.dumps(commands)],
        capture_output=True,
        text=True,
        check=True,
    )
    names = json.loads(done.stderr.splitlines()[-1])
    rooms = {".".join(name.split(".")[:2]) for name in names if name.startswith("hingeline.")}
    return {name.split(".")[0] for name in names} | rooms


def test_help_and_usage_errors_import_nothing_heavy():
    assert not modules_after(["--help"], ["--version"], ["plna"], []) & HEAVY


def test_what_needs_no_bench_does_not_load_it():
    light = [["convert", "--help"], ["plan", "--help"], ["records", "servo", "--help"]]
    assert "hingeline.bench" not in modules_after(*light)
    assert "hingeline.bench" in modules_after(["throw", "--help"])


def test_a_command_imports_what_it_needs():
    # The check above could not fail if it did not see what is imported.
    assert {"numpy", "msgspec"} <= modules_after(["plan", "millrace.toml", "--json"])


def test_no_command_opens_the_bench_to_show_its_help():
    helps = [[*path, "--help"] for path, _ in ALL]
    assert not modules_after(*helps) & {"matplotlib", "benchboard", "serial"}
