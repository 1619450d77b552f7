"""Nothing that a person reads is broken by the width of a terminal."""

import re
import shutil
from pathlib import Path

import pytest

from hingeline.cli import tables
from hingeline.cli.output import wrapped
from hingeline.cli.tables import Table
from hingeline.model.writing import example_text
from tests.cli.running import run
from tests.cli.screens import screen

THROWS = Table(
    ["surface", "", ">pulse", ">wanted"],
    [
        ["left aileron", "up", "2009 us", "15.0 deg"],
        ["left aileron", "down", "1069 us", "11.0 deg"],
        ["rudder", "left", "1003 us", ""],
    ],
)
COMMANDS = [
    ("plan", "millrace.toml", "--choose"),
    ("plan", "millrace.toml", "--details"),
    ("records", "list"),
    ("throw", "millrace.toml", "rudder", "--port", "sim:", "--yes"),
    ("pair", "millrace.toml", "--port", "sim:", "--yes"),
    ("calibrate", "millrace.toml", "R1", "--quick", "--port", "sim:", "--yes"),
    ("board", "info", "--port", "sim:"),
    ("match", "millrace.toml", "--simulated"),
]
#: A number with its unit, as it stands in the cells of tables.
FIGURE = re.compile(r"[-+]?\d[\d.]* (?:deg|us|mm|%)")
NUMBER = re.compile(r"\d+(?:\.\d+)?")


@pytest.fixture(scope="module")
def calibrated(tmp_path_factory):
    """Return records in which both ailerons' servos have curves."""
    kept = tmp_path_factory.mktemp("calibrated") / "records.sqlite"
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(kept.parent)
        Path("millrace.toml").write_text(example_text(), "utf-8")
        for servo in ("A1", "A2"):
            simulated = ("--port", "sim:", "--yes", "--quick", "--records", str(kept))
            assert run("calibrate", "millrace.toml", servo, *simulated).code == 0
    return kept


@pytest.mark.parametrize("columns", [60, 80, 120])
@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_no_line_is_wider_than_the_terminal(command, columns, folder, calibrated):
    shutil.copy(calibrated, folder / "records.sqlite")
    lines = screen(*command, columns=columns).split("\n")
    too_wide = [line for line in lines if len(line) > columns]
    # A command to be copied stays whole, and so does what the stand-in answers to a question.
    assert not [one for one in too_wide if "hingeline " not in one and "(? helps)" not in one]
    assert len(lines) > 3
    assert all(line.isprintable() for line in lines)


def test_the_demo_fits_the_usual_terminal_and_is_as_wide_as_the_readme_shows_it():
    shown = screen("demo", "--records", "demo.sqlite", columns=80).split("\n")
    assert max(len(line) for line in shown) == 80
    piped = run("demo", "--records", "again.sqlite").out.splitlines()
    start = next(place for place, line in enumerate(piped) if line.startswith("Servos, as"))
    assert "\n".join(piped[start:-2]) in "\n".join(shown)


def test_where_it_goes_elsewhere_no_width_is_asked_for(monkeypatch):
    monkeypatch.setenv("COLUMNS", "60")
    piped = run("plan", "millrace.toml").out
    assert max(map(len, piped.splitlines())) > 79  # one line is longer, whatever the terminal
    monkeypatch.setenv("COLUMNS", "200")
    assert run("plan", "millrace.toml").out == piped


def test_figures_are_the_same_at_every_width():
    asked = ("plan", "millrace.toml")
    piped = run(*asked).out
    cells = [line for line in piped.splitlines() if len(re.split(" {2,}", line.strip())) > 2]
    figures = {figure for line in cells for figure in FIGURE.findall(line)}
    assert len(figures) > 20
    for columns in (40, 120):
        shown = screen(*asked, columns=columns)
        assert NUMBER.findall(shown) == NUMBER.findall(piped)
        # None is parted from its unit, which words alone would be.
        assert not {figure for figure in figures if figure not in shown}
    # And JSON stands as it stands.
    assert screen(*asked, "--json", columns=40) == run(*asked, "--json").out


def test_sentences_follow_the_terminal_within_bounds():
    def widest(columns):
        lines = screen("plan", "millrace.toml", "elevator", columns=columns).split("\n")
        return max(len(line) for line in lines if line.startswith("  Load") or line[:4] == "    ")

    assert 70 < widest(80) < 80
    assert 90 < widest(120) < 100
    assert widest(200) < 100
    assert widest(50) < 50


@pytest.mark.parametrize("columns", [40, 60, 90])
def test_commands_stay_whole_and_words_too(columns):
    text = "  Next: choose another of them, or write one with: hingeline new 'a long name.toml'"
    lines = wrapped(text, columns).split("\n")
    assert lines[-1].endswith("hingeline new 'a long name.toml'")
    assert all(len(line) < columns for line in lines[:-1])
    assert " ".join(" ".join(lines).split()) == " ".join(text.split())


def test_a_table_that_fits_stands_in_columns():
    assert tables.fitted(THROWS, 37) == tables.in_columns(THROWS)


def test_what_is_a_little_too_wide_has_its_names_above():
    assert tables.fitted(THROWS, 36).split("\n") == [
        "surface",
        "          pulse    wanted",
        "  ───────────────────────",
        "left aileron",
        "  up    2009 us  15.0 deg",
        "  down  1069 us  11.0 deg",
        "rudder",
        "  left  1003 us",
    ]


def test_what_is_far_too_wide_is_said_row_by_row_broken_between_its_fields():
    assert tables.fitted(THROWS, 24).split("\n") == [
        "surface: left aileron;",
        "  up; pulse: 2009 us;",
        "  wanted: 15.0 deg",
        "surface: left aileron;",
        "  down; pulse: 1069 us;",
        "  wanted: 11.0 deg",
        "surface: rudder; left;",
        "  pulse: 1003 us",
    ]


def test_tables_are_known_again_among_lines_however_they_are_set_in():
    once = tables.marked(THROWS).splitlines()
    lines = ["before", *(f"    {line}" for line in once), *once, "behind"]
    table = tables.in_columns(THROWS).split("\n")
    laid = list(tables.laid_out(lines, 41))
    assert laid == ["before", *(f"    {line}" for line in table), *table, "behind"]
    # Set in by four it no longer fits, at the left edge it does.
    narrow = list(tables.laid_out(lines, 40))
    assert narrow[1:4] == ["    surface", "              pulse    wanted", "      " + 23 * "─"]
    assert narrow[-len(table) - 1 : -1] == table


def test_a_table_without_rows_has_its_headings():
    empty = Table(["no.", "command"], [])
    assert next(tables.laid_out(tables.marked(empty).splitlines(), 40)) == "no.  command"
