"""Time the records commands over a file of 10,000 sessions against the start of the program.

Run with ``python -m tests.benchmarks.bench_records``. All are taken in turns in one run, and
the least time of each counts. What is promised: ``records list`` takes no longer than twice the
start-up, however much is on record.
"""

from __future__ import annotations

import math
import os
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from hingeline.records.store import Records
from tests.benchmarks.bench_startup import ENTRY, start_s
from tests.cli.running import run_fresh
from tests.support.many_sessions import model_name, write_many

SESSIONS = 10_000
ROUNDS = 15
MOST_RATIO = 2.0
BASE = "hingeline --help"
COMMANDS = {
    BASE: ["--help"],
    "hingeline records list": ["records", "list"],
    "  --limit 200": ["records", "list", "--limit", "200"],
    "  --model": ["records", "list", "--model", model_name(3)],
    "  --servo": ["records", "list", "--servo", "S7"],
    "  --command": ["records", "list", "--command", "pair"],
    "hingeline records show 5000": ["records", "show", "5000"],
    "hingeline records servo": ["records", "servo"],
    "hingeline records servo S7": ["records", "servo", "S7"],
    "hingeline records models": ["records", "models"],
}


def lookups(records: Records) -> dict[str, Callable[[], object]]:
    """Name the questions that commands ask before anything moves."""
    return {
        "newest_rig": lambda: records.newest_rig(model_name(3), simulated=False),
        "newest_rig, of none": lambda: records.newest_rig("none", simulated=False),
        "rig_steps": lambda: records.rig_steps(5008),
        "latest_finding": lambda: records.latest_finding("rigged", "surface 3", simulated=False),
        "latest_curve": lambda: records.latest_curve("S7", simulated=False),
        "latest_curves": lambda: records.latest_curves(simulated=False),
        "unfinished": lambda: records.unfinished("S7", simulated=False),
    }


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = folder / "records.sqlite"
        os.environ["HINGELINE_RECORDS"] = str(path)
        begin = time.perf_counter()
        write_many(path, SESSIONS)
        megabytes = path.stat().st_size / 1e6
        print(f"{SESSIONS} sessions, {megabytes:.0f} MB, in {time.perf_counter() - begin:.1f} s")
        for what, arguments in COMMANDS.items():
            ran = run_fresh(*arguments)
            if ran.code:
                raise SystemExit(f"{what} failed: {ran.err}")
        least = dict.fromkeys(COMMANDS, math.inf)
        for _ in range(ROUNDS):
            for what, arguments in COMMANDS.items():
                taken = start_s(["-c", ENTRY, *arguments], folder)
                least[what] = min(least[what], taken)
        print(f"start to end, least of {ROUNDS}; ratio to {BASE}")
        for what, seconds in least.items():
            print(f"  {what:32} {seconds * 1000:6.0f} ms  {seconds / least[BASE]:5.2f}")
        ratio = least["hingeline records list"] / least[BASE]
        print(f"  records list: {ratio:.2f}, at most {MOST_RATIO:.1f} is promised")
        with Records(path) as records:
            print(f"one question of an open file, least of {ROUNDS}")
            for what, ask in lookups(records).items():
                print(f"  {what:32} {1000 * _least_s(ask):8.3f} ms")


def _least_s(ask: Callable[[], object]) -> float:
    least = math.inf
    for _ in range(ROUNDS):
        begin = time.perf_counter()
        ask()
        least = min(least, time.perf_counter() - begin)
    return least


if __name__ == "__main__":
    main()
