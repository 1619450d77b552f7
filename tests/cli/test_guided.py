"""`demo --guided`: a builder's mistakes, found one by one before the newcomer's eyes."""

from __future__ import annotations

import sys
from dataclasses import replace

import pytest

from hingeline.bench.simulated import faults
from hingeline.cli import guided
from hingeline.cli.mistakes import Guided
from hingeline.model.writing import example_text
from hingeline.records.store import Records
from hingeline.travel.matching import TOLERANCE_DEG
from tests.cli.running import run, run_fresh

MISTAKES = guided.planted()


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    ran = run("demo", "--guided", "--records", str(tmp_path_factory.mktemp("guided") / "g.sqlite"))
    assert ran.code == 0
    return ran


@pytest.fixture(scope="module")
def figures(tmp_path_factory):
    path = tmp_path_factory.mktemp("guided") / "j.sqlite"
    ran = run("demo", "--guided", "--json", "--records", str(path))
    assert ran.code == 0
    return ran.figures


def test_every_mistake_is_found_and_something_is_done_about_it(figures):
    assert len(figures["planted"]) == len(MISTAKES) >= 4
    for row, fault in zip(figures["planted"], MISTAKES, strict=True):
        assert (row["fault"], row["surface"]) == (fault.name, fault.surface)
        assert set(row["found"]) & set(fault.causes or ("mistyped",))
        assert row["mends"]
    assert figures["pass"] is True


def test_what_is_true_in_the_end_is_what_was_wanted(figures):
    assert len(figures["surfaces"]) == 12  # neutral and both ends of four
    for row in figures["surfaces"]:
        assert abs(row["true_deg"] - row["wanted_deg"]) <= TOLERANCE_DEG
        assert 900.0 <= row["pulse_us"] <= 2100.0


def test_the_run_is_shown_step_by_step_and_then_summed_up(demo):
    lines = demo.out.splitlines()
    heads = [line for line in lines if line.startswith("[")]
    assert heads[0].startswith("[1/")
    assert "signed off" in heads[-1]
    # What was mended is gone through once more: more steps than the list has.
    count = int(heads[0].partition("/")[2].partition("]")[0])
    assert len(heads) > count
    assert demo.out.index("which of these will you do") < demo.out.index("signed by")
    assert demo.out.index("signed by") < demo.out.index("What the builder did wrong")
    assert demo.out.index("What the builder did wrong") < demo.out.index("What is true")
    assert max(map(len, lines)) <= 90 or "hingeline records" in max(lines, key=len)


def test_all_of_it_is_on_record(tmp_path):
    path = tmp_path / "g.sqlite"
    run("demo", "--guided", "--records", str(path))
    with Records(path) as records:
        newest = records.newest_rig("Millrace", simulated=True)
        assert newest["signed"] is True
        failed = [row for row in records.rig_steps(newest["id"]) if row["outcome"] == "failed"]
        assert {row["surface"] for row in failed} == {
            one.surface for one in MISTAKES if one.causes
        }


def test_without_a_records_file_nothing_is_left_behind_and_it_is_the_same_again(folder):
    before = {found.name for found in folder.iterdir()}
    one, two = (run("demo", "--guided") for _ in range(2))
    assert one.code == 0
    assert "hingeline records list" not in one.out
    assert {found.name for found in folder.iterdir()} == before
    assert (one.out, one.err) == (two.out, two.err)


@pytest.mark.slow
def test_it_is_the_same_in_every_process():
    one, two = (run_fresh("demo", "--guided", env={"PYTHONHASHSEED": seed}) for seed in ("1", "2"))
    assert one.code == 0
    assert one.out == two.out


# -- nothing of it is said that was not found ---------------------------------------------


def test_what_was_not_planted_is_not_found(tmp_path):
    """The same summary of a builder who made no mistake names nothing."""
    played = Guided(example_text(), (), tmp_path / "s.sqlite", lambda _line: None)
    played.play()
    unplanted = Guided(example_text(), MISTAKES, tmp_path / "s.sqlite", lambda _line: None)
    for found in unplanted.found():  # from the records of the sound run
        assert found.causes == ()
        assert found.mends == ()
        assert found.named is False


def test_what_is_not_found_is_shown_as_not_found(tmp_path, monkeypatch):
    (quiet,) = (one for one in MISTAKES if one.surface == "elevator")
    unseen = replace(quiet, plant=lambda _stations: None)
    monkeypatch.setattr(guided, "planted", lambda: (unseen,))
    ran = run("demo", "--guided", "--records", str(tmp_path / "n.sqlite"))
    row = next(line for line in ran.out.splitlines() if line.startswith(unseen.name))
    assert row.split()[-3:] == ["elevator", "-", "-"]


def test_a_fault_left_in_place_shows_in_what_is_true(tmp_path, monkeypatch):
    """The truth comes from the modelled surfaces, not from what the builder reads."""
    lying = faults.built_unseen(
        "rod too long", "rudder", faults.Build(rod_mm=1.0), ("rod",), ("neutral", "0")
    )
    lying = replace(lying, slips={("neutral", "rudder"): ["0"] * 9})
    monkeypatch.setattr(guided, "planted", lambda: (lying,))
    ran = run("demo", "--guided", "--json", "--records", str(tmp_path / "l.sqlite"))
    (neutral,) = (
        row for row in ran.figures["surfaces"] if (row["name"], row["at"]) == ("rudder", "neutral")
    )
    assert abs(neutral["true_deg"]) > 1.0


# -- pace ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("terminal", "rests"), [(True, [2.5, 2.5]), (False, [])])
def test_it_rests_before_each_step_on_a_terminal_only(terminal, rests, monkeypatch, capsys):
    slept = []
    monkeypatch.setattr(guided.time, "sleep", slept.append)
    monkeypatch.setattr(sys.stdout, "isatty", lambda: terminal, raising=False)
    show = guided._shown(2.5, quiet=False)
    for line in ("", "[1/49] leads", "done: leads seen", "", "[2/49] left aileron: bare surface"):
        show(line)
    assert slept == rests
    assert "[2/49] left aileron: bare surface" in capsys.readouterr().out


def test_pace_without_the_guided_run_is_refused():
    ran = run("demo", "--pace", "1 s")
    assert ran.code == 2
    assert "--pace belongs to --guided" in ran.err
