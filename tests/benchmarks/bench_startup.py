"""Time the start of the command against ``import click``, the least that it needs.

Run with ``python -m tests.benchmarks.bench_startup``. Each start is a process of its own; all
are taken in turns, so that all meet the same load, and the least time of each counts. Only the
ratios mean anything elsewhere.
"""

from __future__ import annotations

import math
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROUNDS = 25
ENTRY = "from hingeline.cli.entry import main; main()"
BASE = "python -c 'import click'"
STARTS = {
    "python -c pass": ["-c", "pass"],
    BASE: ["-c", "import click"],
    "hingeline --help": ["-c", ENTRY, "--help"],
    "hingeline plna (a usage error)": ["-c", ENTRY, "plna"],
    "hingeline convert": ["-c", ENTRY, "convert", "15 deg", "--chord", "45 mm"],
    "hingeline plan": ["-c", ENTRY, "plan", "millrace.toml"],
}


def start_s(arguments: list[str], folder: Path) -> float:
    """Give the time of one start, from calling it to its end."""
    begin = time.perf_counter()
    subprocess.run(
        [sys.executable, *arguments],
        cwd=folder,
        env={**os.environ, "PYTHONWARNINGS": "ignore"},
        capture_output=True,
        check=False,
    )
    return time.perf_counter() - begin


def main() -> None:
    """Measure and print."""
    from hingeline.model.writing import example_text

    least = dict.fromkeys(STARTS, math.inf)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "millrace.toml").write_text(example_text(), "utf-8")
        for _ in range(ROUNDS):
            for what, arguments in STARTS.items():
                least[what] = min(least[what], start_s(arguments, folder))
    print(f"start to end, least of {ROUNDS}; ratio to {BASE}")
    for what, seconds in least.items():
        print(f"  {what:32} {seconds * 1000:6.0f} ms  {seconds / least[BASE]:5.2f}")


if __name__ == "__main__":
    main()
