"""Two programs at one file: each waits for the other, and nothing of either is lost."""

import subprocess
import sys
import time

import pytest

from hingeline.errors import RecordsError
from hingeline.records import file
from hingeline.records.store import Records

NOTES = 40
#: Opens the file once the gate is there, and notes as fast as it can.
WRITER = """
import sys
from pathlib import Path
from hingeline.records.store import Records
path, gate, name, notes = Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3], int(sys.argv[4])
print("ready", flush=True)
while not gate.exists():
    pass
with Records(path) as records:
    session = records.start_session("calibrate", model_name="Heron", model_text="[model]")
    for number in range(notes):
        row = records.note_reading(session, servo=name, pulse_us=1500, approach="rising",
            gauge="arm", resolution=0.5, typed=str(number), value=number, unit="deg")
        records.note_remark(session, "kept", servo=name, reading=row, text=str(number))
    records.end_session(session, "done")
"""
#: Holds the file as one that is being written, until a line comes in.
HOLDER = """
import sqlite3, sys
held = sqlite3.connect(sys.argv[1], isolation_level=None)
held.execute("BEGIN IMMEDIATE")
held.execute("INSERT INTO models VALUES (7, 'Held', 'x', '', '')")
print("held", flush=True)
sys.stdin.readline()
held.execute("COMMIT")
held.close()
"""


def started(script, *arguments):
    process = subprocess.Popen(
        [sys.executable, "-c", script, *map(str, arguments)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout.readline()  # it has said that it is ready
    return process


def both(path, gate, notes=NOTES):
    """Let two programs open a file and write to it in the same moment; both must succeed."""
    processes = [started(WRITER, path, gate, name, notes) for name in ("A1", "A2")]
    gate.touch()
    for process in processes:
        _, said = process.communicate(timeout=60)
        assert (process.returncode, said) == (0, "")


def test_two_that_write_at_once_lose_nothing(tmp_path):
    path = tmp_path / "r.sqlite"
    Records(path).close()
    both(path, tmp_path / "gate")
    with Records(path) as records:
        sessions = records.sessions()
        assert len(sessions) == 2
        assert [row["model"] for row in sessions] == ["Heron", "Heron"]
        for session in sessions:
            readings = records.readings(session["id"])
            assert [row["typed"] for row in readings] == [str(one) for one in range(NOTES)]
            assert len({row["servo"] for row in readings}) == 1
            remarks = records.remarks(session["id"])
            assert [row["reading_id"] for row in remarks] == [row["id"] for row in readings]


@pytest.mark.parametrize("again", range(3))
def test_two_that_make_the_file_at_once_do_not_meet_halfway(tmp_path, again):
    path = tmp_path / f"{again}.sqlite"
    both(path, tmp_path / "gate", notes=1)
    with Records(path) as records:
        assert sorted(row["readings"] for row in records.sessions()) == [1, 1]


@pytest.fixture
def held(tmp_path):
    path = tmp_path / "r.sqlite"
    Records(path).close()
    process = started(HOLDER, path)
    yield path, process
    if process.poll() is None:
        process.communicate("\n", timeout=60)


def test_who_comes_second_waits_until_the_first_is_done(held, tmp_path):
    path, holder = held
    (tmp_path / "gate").touch()
    writer = started(WRITER, path, tmp_path / "gate", "A1", 1)
    time.sleep(0.5)
    assert writer.poll() is None
    holder.communicate("\n", timeout=60)
    _, said = writer.communicate(timeout=60)
    assert (writer.returncode, said) == (0, "")
    with Records(path) as records:
        assert [row["readings"] for row in records.sessions()] == [1]


def test_reading_does_not_wait(held):
    path, _ = held
    with Records(path) as records:
        begin = time.monotonic()
        assert records.sessions() == []
        assert time.monotonic() - begin < file._BUSY_S / 2


def test_who_waits_too_long_is_told_and_nothing_is_half_written(held, monkeypatch):
    path, holder = held
    monkeypatch.setattr(file, "_BUSY_S", 0.2)
    with Records(path) as records:
        with pytest.raises(RecordsError, match=r"cannot be written .*locked"):
            records.start_session("calibrate", model_name="Heron", model_text="[model]")
        holder.communicate("\n", timeout=60)
        assert records.sessions() == []
        assert records.start_session("calibrate") == 1
