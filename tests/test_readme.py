"""The README is true: its commands exist and work in the order in which they stand."""

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from hingeline.cli.entry import COMMANDS

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text("utf-8")
MOVING = {"rig", "check", "centre", "sweep", "step", "calibrate", "throw", "pair"}


def blocks():
    found = re.findall(r"^```(\w*)\n(.*?)^```$", README, re.DOTALL | re.MULTILINE)
    return [text for language, text in found if not language]  # "text" is what a command showed


def commands():
    lines = [line for block in blocks() for line in block.splitlines()]
    ours = [line for line in lines if line.startswith("hingeline ")]
    return [shlex.split(line, comments=True)[1:] for line in ours]


def run(arguments, folder):
    return subprocess.run(
        [sys.executable, "-c", "from hingeline.cli.entry import main; main()", *arguments],
        cwd=folder,
        env={"HINGELINE_RECORDS": str(folder / "records.sqlite"), "HOME": str(folder)},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


def test_every_command_stands_in_the_readme():
    for name in COMMANDS:
        assert f"`{name}" in README


def test_the_first_paragraph_states_the_job():
    first = README.split("\n\n")[1]
    for word in ("servo", "arm", "pushrod", "horn", "centre", "travel curve", "pair", "check"):
        assert word in first


@pytest.mark.slow
def test_the_walk_through_works_as_it_stands(tmp_path):
    walk = commands()
    assert len(walk) >= 8
    for arguments in walk:
        if arguments[0] in MOVING:
            arguments = [*arguments, "--port", "sim:", "--yes"]
        elif arguments[0] == "handover":
            arguments = [*arguments, "--simulated"]
        done = run(arguments, tmp_path)
        # A pair may fail on the simulated bench: that is a finding, not a fault.
        assert done.returncode == 0 or arguments[0] == "pair", (arguments, done.stderr)
        assert "Traceback" not in done.stderr


def test_the_output_shown_is_that_of_the_demo(tmp_path):
    shown = re.search(r"<!-- demo: begin -->\n```text\n(.*?)```", README, re.DOTALL)
    done = run(["demo", "--records", str(tmp_path / "d.sqlite")], tmp_path)
    start = done.stdout.index(shown[1].splitlines()[0])
    printed = done.stdout[start:].splitlines()
    number = re.compile(r"[-+]?\d+(?:\.(\d+))?")
    for line, now in zip(shown[1].splitlines(), printed, strict=False):
        # Another processor may round the last place of a figure the other way.
        assert number.sub("#", line).split() == number.sub("#", now).split()
        for one, two in zip(number.finditer(line), number.finditer(now), strict=True):
            last_place = 10.0 ** -len(one[1] or "")
            assert abs(float(one[0]) - float(two[0])) <= 1.001 * last_place, (line, now)


def test_the_table_of_readings_fits_as_it_stands(tmp_path):
    table = next(block for block in blocks() if block.startswith("pulse_us,"))
    (tmp_path / "a1.csv").write_text(table)
    done = run(["calibrate", "--readings", "a1.csv"], tmp_path)
    assert done.returncode == 0, done.stderr
    assert "0.09" in done.stdout


def test_linked_files_exist():
    for page in (ROOT / name for name in ("README.md", "DEVELOPERS.md", "firmware/README.md")):
        for target in re.findall(r"\]\(([^)#:]+)\)", page.read_text("utf-8")):
            assert (page.parent / target).exists(), f"{page.name}: {target}"
