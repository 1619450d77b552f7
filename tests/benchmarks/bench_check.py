"""Time ``hingeline check --history`` over a file of 10,000 sessions against the program's start.

Run with ``python -m tests.benchmarks.bench_check``. All are taken in turns in one run, and the
least time of each counts. What is promised: the history takes no longer than twice the start-up,
also where other models' surfaces of the same name are on record thousands of times.
"""

from __future__ import annotations

import json
import math
import os
import sqlite3
import tempfile
from pathlib import Path

from hingeline.model.reading import parse_model
from hingeline.model.writing import example_text
from hingeline.records.store import Records
from tests.benchmarks.bench_startup import ENTRY, start_s
from tests.support.many_sessions import write_many

SESSIONS, CHECKS = 10_000, 50
ROUNDS = 15
MOST_RATIO = 2.0
BASE = "hingeline --help"
HISTORY = "hingeline check --history"
COMMANDS = {
    BASE: ["--help"],
    HISTORY: ["check", "millrace.toml", "--history"],
    "  of one surface": ["check", "millrace.toml", "elevator", "--history"],
    "  --json": ["check", "millrace.toml", "--history", "--json"],
}
_ORDER = ((1.0, "neutral"), (0.0, "first"), (-1.0, "neutral"))


def write_checks(path: Path) -> None:
    """Add a rig and many checks of the demo's model, and other models' findings of that name."""
    model = parse_model(example_text(), source="example")
    with Records(path) as records:
        session = records.start_session(
            "rig",
            model_name=model.name,
            model_text=example_text(),
            bench="board",
            board="b1",
            firmware="1",
        )
    points = [
        {"share": share, "from": origin, "pulse_us": 1500, "measured_deg": 12.0 * share}
        for share, origin in _ORDER
    ]
    rigged = json.dumps({"points": points, "slop_deg": 0.5, "pass": True})
    now = [{"point": "", "then_deg": 12.0 * one, "now_deg": 12.0 * one} for one, _ in _ORDER]
    figures = {"points": now, "free_play_deg": None, "causes": [], "pass": True}
    checked = json.dumps(figures)
    rows = []
    for surface in model.surfaces:
        rows += [(other, "checked", surface.name, checked) for other in range(1, SESSIONS, 4)]
        rows.append((session, "rigged", surface.name, rigged))
        rows += [(session, "checked", surface.name, checked)] * CHECKS
    with sqlite3.connect(path) as db:
        db.executemany(
            "INSERT INTO findings (session_id, noted, kind, subject, figures)"
            " SELECT id, started, ?2, ?3, ?4 FROM sessions WHERE id = ?1",
            rows,
        )
    db.close()


def main() -> None:
    """Measure and print."""
    least = dict.fromkeys(COMMANDS, math.inf)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = folder / "records.sqlite"
        os.environ["HINGELINE_RECORDS"] = str(path)
        (folder / "millrace.toml").write_text(example_text(), "utf-8")
        write_many(path, SESSIONS)
        write_checks(path)
        for _ in range(ROUNDS):
            for what, arguments in COMMANDS.items():
                taken = start_s(["-c", ENTRY, *arguments], folder)
                least[what] = min(least[what], taken)
    print(f"{SESSIONS} sessions; start to end, least of {ROUNDS}; ratio to {BASE}")
    for what, seconds in least.items():
        print(f"  {what:32} {seconds * 1000:6.0f} ms  {seconds / least[BASE]:5.2f}")
    ratio = least[HISTORY] / least[BASE]
    print(f"  {HISTORY}: {ratio:.2f}, at most {MOST_RATIO:.1f} is promised")


if __name__ == "__main__":
    main()
