"""What a shell is told when Tab is pressed, asked as the shells ask it."""

import json
import os
import shutil
import subprocess
import sys

import click
import pytest

from hingeline.cli.completion import NAMES, PLACES
from hingeline.cli.entry import COMMANDS, COMPLETE, hingeline
from tests.cli.running import PROGRAM, run, run_fresh

SURFACES = ["left aileron", "right aileron", "elevator", "rudder"]
SERVOS = ["A1", "A2", "E1", "R1"]


def asked(**env):
    ran = run_fresh(env={**env})
    assert ran.err == ""  # it would stand in the middle of the line that is being typed
    return ran.out


def in_bash(line):
    """Ask as our script for bash does; return kinds and words."""
    lines = asked(**{COMPLETE: "bash_complete", "COMP_LINE": line}).splitlines()
    return [tuple(one.split(",", 1)) for one in lines if one]


def words(line):
    found = in_bash(line)
    assert {kind for kind, _ in found} <= {"plain"}
    return [word for _, word in found]


def by_words(shell, *typed):
    """Ask as click's own scripts do, the last word being the one that is completed."""
    *before, last = typed
    line = " ".join([*before, last])
    place = last if shell == "fish" else str(len(before))
    return asked(**{COMPLETE: f"{shell}_complete", "COMP_WORDS": line, "COMP_CWORD": place})


def test_commands_and_their_sub_commands():
    assert words("hingeline ") == list(COMMANDS)
    assert words("hingeline ca") == ["calibrate"]
    assert words("hingeline records sh") == ["show"]
    assert words("hingeline board se") == ["selftest", "settings"]


def test_options_and_their_choices():
    assert words("hingeline --pl") == ["--plain"]
    assert words("hingeline --plain throw --gau") == ["--gauge"]
    assert words("hingeline throw --gauge dr") == ["drop"]
    assert words("hingeline throw --gauge=dr") == ["drop"]
    assert words("hingeline completion ") == list(PLACES)


@pytest.mark.parametrize(
    ("line", "kind"),
    [
        ("hingeline plan mill", "file"),
        ("hingeline records draw 1 ", "dir"),
        ("hingeline throw --records ", "file"),
    ],
)
def test_files_and_folders_are_left_to_the_shell(line, kind):
    assert [found for found, _ in in_bash(line)] == [kind]


def test_surfaces_and_servos_of_the_model_named_before():
    assert words("hingeline throw millrace.toml ") == [one.replace(" ", "\\ ") for one in SURFACES]
    assert words("hingeline calibrate millrace.toml ") == SERVOS
    assert words("hingeline calibrate millrace.toml A") == ["A1", "A2"]
    assert words("hingeline pair millrace.toml r") == ["right\\ aileron", "rudder"]
    assert words("hingeline plan") == ["plan"]


def test_a_name_with_a_space_is_quoted_as_far_as_it_is_not_yet():
    assert words("hingeline throw millrace.toml left\\ ai") == ["left\\ aileron"]
    assert words('hingeline throw millrace.toml "left ai') == ["left aileron"]
    assert words("hingeline throw millrace.toml 'left ") == ["left aileron"]


def test_what_was_named_is_not_offered_again():
    line = "hingeline throw millrace.toml 'left aileron' rudder "
    assert words(line) == ["right\\ aileron", "elevator"]


def test_a_port_with_its_colon_is_one_word():
    assert words("hingeline calibrate --port sim:7 millrace.toml R") == ["R1"]


def test_what_is_wrong_before_it_is_not_told_now():
    assert words("hingeline throw --gauge nonsense millrace.toml ru") == ["rudder"]
    assert in_bash("hingeline throw --bogus millrace.toml ") == [("file", "")]


def test_options_may_stand_anywhere():
    assert words("hingeline --plain calibrate --yes millrace.toml --quick A") == ["A1", "A2"]


BROKEN = {
    "no.toml": None,
    "empty.toml": b"",
    "other.toml": b"x = 1\n",
    "half.toml": b"[model\n",
    "bytes.toml": bytes(range(256)),
    "deep.toml": b"x = " + b"[" * 100_000,
    "large.toml": b"#" * 2_000_000,
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_model_completes_nothing_and_says_nothing(name, folder):
    if BROKEN[name] is not None:
        (folder / name).write_bytes(BROKEN[name])
    assert words(f"hingeline throw {name} ") == []
    assert words(f"hingeline calibrate {name} ") == []


def test_a_folder_in_the_place_of_the_model_completes_nothing(folder):
    (folder / "folder.toml").mkdir()
    assert words("hingeline throw folder.toml ") == []


def test_nothing_moves_and_nothing_is_kept(folder):
    before = sorted(folder.iterdir())
    words("hingeline throw millrace.toml rudder --port sim: --yes ")
    words("hingeline records list ")
    assert sorted(folder.iterdir()) == before


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_the_protocol_of_click_itself_is_understood(shell):
    assert "calibrate" in by_words(shell, "hingeline", "cal")
    shown = by_words(shell, "hingeline", "throw", "millrace.toml", "")
    assert ("left\\ aileron" if shell == "bash" else "left aileron") in shown
    assert "rudder" in shown
    help_shown = COMMANDS["calibrate"] in by_words(shell, "hingeline", "cal")
    assert help_shown is (shell != "bash")  # bash has no place for it


def arguments(command, path=()):
    if isinstance(command, click.Group):
        context = click.Context(command)
        for name in command.list_commands(context):
            yield from arguments(command.get_command(context, name), (*path, name))
        return
    yield from ((path, one) for one in command.params if isinstance(one, click.Argument))


def test_every_surface_and_servo_that_can_be_named_is_completed():
    named = [(path, one) for path, one in arguments(hingeline) if one.name in NAMES]
    assert len(named) > 8
    for path, argument in arguments(hingeline):
        metavar = (argument.metavar or argument.name.upper()).strip("[].")
        assert (metavar in ("SURFACE", "SERVO")) == (argument.name in NAMES), path


@pytest.mark.parametrize("shell", PLACES)
def test_the_script_goes_to_stdout_and_where_to_put_it_beside_it(shell):
    shown = run("completion", shell)
    assert shown.code == 0
    assert f"{COMPLETE}={shell}_complete" in shown.out
    assert f"hingeline completion {shell} > ~/." in shown.err
    assert "hingeline.bash" not in shown.out
    # A shell that asks for it by itself gets the same.
    assert asked(**{COMPLETE: f"{shell}_source"}).rstrip("\n") == shown.out.rstrip("\n")


needs_bash = pytest.mark.skipif(not shutil.which("bash"), reason="there is no bash here")


def called_in_bash(line, folder):
    """Let bash read the script and call its function; return what it would put into the line."""
    program = folder / "hingeline"
    program.write_text('#!/bin/sh\nexec "$PYTHON" -c "$CODE" "$@"\n')
    program.chmod(0o755)
    script = folder / "completion.bash"
    script.write_text(run("completion", "bash").out)
    call = (
        "source ./completion.bash; complete -p hingeline; "
        "compopt() { echo compopt $2; }; "  # the real one works only while Tab is pressed
        "_hingeline_completion ./hingeline; "
        """printf '<%s>\\n' "${COMPREPLY[@]}" """
    )
    done = subprocess.run(
        ["bash", "--norc", "-c", call],
        env={
            **os.environ,
            "PYTHON": sys.executable,
            "CODE": PROGRAM[2],
            "COMP_LINE": line,
            "COMP_POINT": str(len(line)),
        },
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stderr == ""
    known, *found = done.stdout.splitlines()
    assert known == "complete -o nosort -F _hingeline_completion hingeline"
    return found


@needs_bash
def test_bash_understands_the_script(folder):
    assert called_in_bash("hingeline calib", folder) == ["<calibrate>"]
    assert called_in_bash("hingeline throw millrace.toml right", folder) == ["<right\\ aileron>"]
    assert called_in_bash("hingeline plan mi", folder) == ["compopt default", "<>"]


def test_completing_a_command_imports_nothing_heavy():
    code = (
        "import sys, json\n"
        "from hingeline.cli.entry import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        "print(json.dumps(sorted(sys.modules)), file=sys.stderr)"
    )

    def loaded(line):
        done = subprocess.run(
            [sys.executable, "-c", code],
            env={**os.environ, COMPLETE: "bash_complete", "COMP_LINE": line},
            capture_output=True,
            text=True,
            check=True,
        )
        return {name.split(".")[0] for name in json.loads(done.stderr)}

    assert not loaded("hingeline ") & {"numpy", "rich", "msgspec", "sqlite3", "serial"}
    assert "msgspec" in loaded("hingeline throw millrace.toml ")
