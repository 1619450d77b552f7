"""A whole rig at a terminal of fixed size, by keys alone, against what was seen and read once.

When wording or figures change on purpose: ``python -m tests.cli.test_rig_screen`` writes the
file anew; read it before it is kept.
"""

import os
import re
import sys
import tempfile
from pathlib import Path

import pytest

from hingeline.model.writing import example_text
from tests.cli.screens import Screen

KEPT = Path(__file__).resolve().parent / "rig_seen.txt"
#: What a simulated bench shows to whoever types: the gauge, or the word that is true.
SHOWN = re.compile(r"\[(?:the gauge shows|it seems:)\s+([^\]]*)\]")
NUMBER = re.compile(r"[-+]?\d+(?:\.(\d+))?")


def played(columns=80):
    """Answer every prompt by what is shown; return everything that was seen.

    The model file is put into the folder in which this is run.
    """
    Path("millrace.toml").write_text(example_text(), "utf-8")
    command = ("rig", "millrace.toml", "--port", "sim:20", "--by-hand", "--records", "r.sqlite")
    seen = ""
    with Screen(*command, columns=columns) as screen:
        while (shown := screen.prompt()) is not None:
            seen += shown
            if "Go on?" in shown:
                answer = "y"
            elif (said := SHOWN.findall(shown)) and said[-1]:
                answer = re.sub(r"\s+(deg|mm)$", "", " ".join(said[-1].split()))
            else:
                raise AssertionError(f"nothing tells what to answer to: {shown!r}")
            screen.keys(f"{answer}\r")
        return (seen + screen.shown).replace("\r\n", "\n")


@pytest.mark.slow
def test_the_whole_rig_looks_as_it_was_read():
    seen, kept = played(), KEPT.read_text("utf-8")
    now, then = seen.splitlines(), kept.splitlines()
    assert len(now) == len(then)
    for line, other in zip(now, then, strict=True):
        assert NUMBER.sub("#", line) == NUMBER.sub("#", other)
        for one, two in zip(NUMBER.finditer(line), NUMBER.finditer(other), strict=True):
            # Another processor may round the last place of a figure the other way.
            last_place = 10.0 ** -len(two[1] or "")
            assert abs(float(one[0]) - float(two[0])) <= 1.001 * last_place, (line, other)
    assert "signed by" in seen


def test_no_line_is_wider_than_the_terminal():
    assert all(len(line) <= 80 for line in KEPT.read_text("utf-8").splitlines())


if __name__ == "__main__":
    here = Path.cwd()
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        KEPT.write_text(played(), "utf-8")
        os.chdir(here)
    sys.stdout.write(f"written: {KEPT.name}\n")
