"""`records import`, `backup`, `forget`: between computers, and for good."""

import csv
import io
import json

import pytest

from hingeline.cli.records import taking
from hingeline.records.store import Records
from tests.cli.running import run

SIM = ("--port", "sim:", "--yes")
THROW = ("throw", "millrace.toml", "rudder", *SIM, "--by-hand")


@pytest.fixture
def two_sessions():
    run(*THROW, typed=["left 22,5", "21 right"])
    run("calibrate", "millrace.toml", "R1", *SIM, "--points", "3")


def numbers():
    return [row["id"] for row in run("records", "list", "--all", "--json").figures["sessions"]]


@pytest.mark.usefixtures("two_sessions")
def test_what_was_exported_comes_in_elsewhere(monkeypatch):
    run("records", "export", "--to", "all.json")
    before = [run("records", "show", str(number), "--json").figures for number in (1, 2)]
    monkeypatch.setenv("HINGELINE_RECORDS", "other.sqlite")
    ran = run("records", "import", "all.json")
    assert ran.code == 0
    assert ran.out == (
        "all.json: 2 sessions taken in, 0 here already.\n  Here they are numbered 1 to 2.\n"
    )
    assert [run("records", "show", str(number), "--json").figures for number in (1, 2)] == before
    again = run("records", "import", "all.json", "--json").figures
    assert again["files"][0]["taken_in"] == []
    assert again["files"][0]["here_already"] == [{"there": n, "here": n} for n in (1, 2)]
    assert numbers() == [2, 1]


@pytest.mark.usefixtures("two_sessions")
def test_a_wrong_file_is_refused_and_nothing_of_it_is_kept(folder):
    run("records", "export", "2", "--to", "one.json")
    whole = json.loads((folder / "one.json").read_text("utf-8"))
    whole["sessions"][0]["uid"] = "0" * 32
    whole["sessions"][0]["readings"][3]["pulse_us"] = "1500"
    (folder / "wrong.json").write_text(json.dumps(whole), "utf-8")
    ran = run("records", "import", "wrong.json")
    assert ran.code == 7
    assert "wrong.json: " in ran.talk
    assert "$.sessions[0].readings[3].pulse_us" in ran.talk
    assert "Nothing of it was taken in" in ran.talk
    assert numbers() == [2, 1]
    ran = run("records", "import", "nowhere.json")
    assert (ran.code, "cannot be read (No such file" in ran.talk) == (7, True)


def test_a_file_that_is_too_great_is_not_read(folder, monkeypatch):
    assert taking.MOST_BYTES == 10_000_000
    monkeypatch.setattr(taking, "MOST_BYTES", 20)
    (folder / "great.json").write_text(json.dumps({"format": 1, "sessions": []}))
    ran = run("records", "import", "great.json")
    assert ran.code == 7
    assert "up to 0 MB are taken in" in ran.talk
    monkeypatch.setattr(taking, "MOST_BYTES", (folder / "great.json").stat().st_size)
    assert run("records", "import", "great.json").code == 0


@pytest.mark.usefixtures("two_sessions")
def test_the_csv_says_what_was_said_of_a_reading(folder):
    with Records(folder / "records.sqlite") as records:
        first = records.readings(1)[0]["id"]
        records.note_remark(1, "questioned", reading=first, text="a zero too many?")
        records.note_remark(1, "kept", reading=first)
        records.note_remark(1, "note", text="of no reading")
    rows = list(csv.DictReader(io.StringIO(run("records", "export", "1", "--as", "csv").out)))
    assert [row["remarks"] for row in rows] == ["questioned: a zero too many?; kept", ""]


@pytest.mark.usefixtures("two_sessions")
def test_a_backup_is_the_same_records(folder):
    ran = run("records", "backup", "copy.sqlite")
    assert (ran.code, ran.out) == (0, "")
    assert "Written: copy.sqlite, 2 sessions." in ran.err
    whole = run("records", "export").out
    assert run("records", "export", "--records", "copy.sqlite").out == whole
    assert run("records", "backup", "copy.sqlite").code == 7
    assert run("records", "backup", "nowhere/copy.sqlite").code == 7
    assert not list(folder.glob("nowhere*"))


@pytest.mark.usefixtures("two_sessions")
def test_forgetting_shows_what_goes_and_has_it_typed(folder):
    ran = run("records", "forget", "2", typed=["yes"])
    assert (ran.code, numbers()) == (130, [2, 1])
    assert "1 session will go" in ran.err
    assert "2: calibrate, Millrace" in ran.err
    assert "Servo R1 (simulated bench) then has no curve" in ran.err
    assert "nothing was removed" in ran.err
    assert not list(folder.glob("*-before-*"))
    ran = run("records", "forget", "2", typed=["forget 1"])
    assert (ran.code, numbers()) == (0, [1])
    (copy,) = folder.glob("records-before-*.sqlite")
    assert str(copy.name) in ran.err
    shown = run("records", "list", "--records", str(copy), "--json").figures
    assert [row["id"] for row in shown["sessions"]] == [2, 1]
    ran = run("records", "show", "2")
    assert "It was forgotten on 20" in ran.talk


@pytest.mark.usefixtures("two_sessions")
def test_the_curve_before_serves_again():
    run("calibrate", "millrace.toml", "R1", *SIM, "--points", "3")
    ran = run("records", "forget", "3", "--yes")
    assert ran.code == 0
    assert "Servo R1 (simulated bench) then has the curve of session 2" in ran.talk
    run("calibrate", "millrace.toml", "R1", *SIM, "--points", "3")
    assert numbers() == [4, 2, 1]
    assert "keeps its newest curve, of session 4" in run("records", "forget", "2", "--yes").talk


@pytest.mark.usefixtures("two_sessions")
def test_what_cannot_go_is_said():
    ran = run("records", "forget", "1", "9", "--yes")
    assert (ran.code, "no session 9" in ran.talk) == (7, True)
    assert numbers() == [2, 1]
    assert run("records", "forget").code == 2
