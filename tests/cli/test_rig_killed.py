"""Killed at any moment, a guided run has lost nothing that it acknowledged, and goes on there."""

import os
import random
import re
import subprocess
import sys
from collections import Counter

import pytest

from hingeline.bench.rigging.context import about
from hingeline.records.store import Records
from hingeline.rigging.steps import checklist
from tests.support.rigging import MODEL

#: How often it is killed: 40 times in every run of the tests, more where that is asked for.
KILLS = int(os.environ.get("HINGELINE_KILLS", "40"))
#: Longer than a whole rig takes at the simulated bench is no moment to kill it.
MOST_S = 0.35
ITEMS = [about(item) for item in checklist(MODEL, MODEL.surfaces)]
KEYS = [item.key for item in checklist(MODEL, MODEL.surfaces)]
HEAD = re.compile(r"\[\d+/\d+\] (.*)")
READ = re.compile(r"  (.*) read as .*")
RIG = ["rig", "millrace.toml", "--port", "sim:20", "--yes", "--calibration", "quick"]

#: Forks one run after the other, so that none has to import everything first, and kills it.
SERVER = f"""
import os, signal, sys, time
import hingeline.cli.rig, hingeline.cli.calibrated, hingeline.bench.simulated.builder
import hingeline.travel.fit, hingeline.rigging.causes
from hingeline.cli.entry import main
for line in sys.stdin:
    seconds, folder = line.rstrip().split(" ", 1)
    end = time.monotonic() + float(seconds)
    pid = os.fork()
    if pid == 0:
        os.chdir(folder)
        shown = os.open("shown.txt", os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(shown, 1)
        os.dup2(shown, 2)
        try:
            main({RIG!r})
        except SystemExit as end:
            os._exit(end.code)
    ended, status = os.waitpid(pid, os.WNOHANG)
    while not ended and time.monotonic() < end:
        time.sleep(0.001)
        ended, status = os.waitpid(pid, os.WNOHANG)
    if not ended:
        os.kill(pid, signal.SIGKILL)  # not waited for yet: the number is still its own
        ended, status = os.waitpid(pid, 0)
    print(status, flush=True)
"""

pytestmark = pytest.mark.skipif(os.name != "posix", reason="kills with SIGKILL")


@pytest.fixture
def server():
    with subprocess.Popen(
        [sys.executable, "-c", SERVER], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        yield process
        process.stdin.close()


def sitting(server, folder, seconds):
    """Run once, kill it after so many seconds; return its status and the lines shown."""
    shown = folder / "shown.txt"
    shown.unlink(missing_ok=True)
    server.stdin.write(f"{seconds} {folder}\n")
    server.stdin.flush()
    status = int(server.stdout.readline())
    return status, shown.read_text("utf-8").splitlines() if shown.exists() else []


def on_record(folder):
    """Return all that was typed by now, and the rows of the steps."""
    with Records(folder / "records.sqlite") as records:
        newest = records.newest_rig("Millrace", simulated=True)
        if newest is None:
            return Counter(), []
        number = newest["id"]
        own = [one["id"] for one in records.sessions() if one["rig"] == number]
        typed = [row["typed"] for one in own for row in records.readings(one)]
        typed += [row["text"] for one in own for row in records.remarks(one)]
        return Counter(typed), records.rig_steps(number)


def acknowledged(lines):
    """Return the readings of which it was said how they were read."""
    return Counter(match[1] for line in lines if (match := READ.fullmatch(line)))


@pytest.mark.slow
def test_killed_at_any_moment_it_goes_on_where_it_was(server, folder):
    moments = random.Random(7)
    kills = finished = 0
    said = Counter()
    at, rows = None, []
    while kills < KILLS or at is not None:
        seconds = moments.uniform(0.0, MOST_S) if kills < KILLS else 20.0
        status, lines = sitting(server, folder, seconds)
        killed = os.WIFSIGNALED(status)
        kills += killed
        heads = [match[1] for line in lines if (match := HEAD.fullmatch(line.strip()))]
        if heads and at is not None:
            # The very step at which it was killed; or the next, where its end was kept already.
            assert heads[0] in ITEMS[at : at + 2]
            if heads[0] != ITEMS[at]:
                assert (rows[-1]["surface"], rows[-1]["step"]) == KEYS[at]
        if heads:
            at = ITEMS.index(heads[-1])
        said += acknowledged(lines)
        typed, rows = on_record(folder)
        assert not said - typed, "what was acknowledged is on record"
        assert killed or os.WEXITSTATUS(status) == 0
        if not killed or len(rows) == len(KEYS):  # it may be killed when it is signed already
            # Every step ended once: none was lost, and none was done a second time.
            assert [(row["surface"], row["step"]) for row in rows] == KEYS
            assert {row["outcome"] for row in rows} == {"done"}
            finished += 1
            said, at = Counter(), None
            for file in folder.glob("records.sqlite*"):
                file.unlink()
    assert kills == KILLS
    assert finished >= 1
