"""mpremote, the MicroPython project's tool for copying files to a board, as a process."""

from __future__ import annotations

import importlib.util
import queue
import subprocess
import sys
import threading
from collections.abc import Callable, Sequence

from hingeline.errors import BenchError

#: How long mpremote may say nothing: the slowest step is one file over a serial bridge.
QUIET_S = 30.0
_TOLD = 3  # of its last lines stand in an error


class Tool:
    """Runs mpremote on one port. Each run interrupts what the board does, but starts nothing.

    Parameters
    ----------
    port : str
        Name of the port; nobody else may have it open.

    Raises
    ------
    BenchError
        When mpremote is not installed.
    """

    def __init__(self, port: str) -> None:
        if importlib.util.find_spec("mpremote") is None:
            raise BenchError(
                "mpremote, which copies the files, is not installed.",
                mend="Run: pip install 'hingeline[board]'  or copy the files by other means; "
                "this writes them into a folder: hingeline board install --into FOLDER",
            )
        self.port = port

    def run(
        self,
        *steps: Sequence[str],
        afresh: bool = False,
        each_line: Callable[[str], None] = lambda _line: None,
    ) -> list[str]:
        """Carry out steps on the board, one after the other, and return the lines printed.

        Parameters
        ----------
        *steps : sequence of str
            Each a command of mpremote with its arguments.
        afresh : bool
            Start the interpreter afresh before; its start files are not run.
        each_line : callable
            Called with each line as it comes.

        Raises
        ------
        BenchError
            When a step fails, or nothing is heard for too long.
        """
        order = ["connect", self.port, *([] if afresh else ["resume"])]
        for step in steps:
            order += ["+", *step]
        process = subprocess.Popen(  # noqa: S603  (the port is one word to it, not a line)
            [sys.executable, "-u", "-m", "mpremote", *order],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            encoding="utf-8",
            errors="replace",
        )
        lines: queue.Queue[str | None] = queue.Queue()
        reader = threading.Thread(target=_pass_on, args=(process, lines), daemon=True)
        reader.start()
        heard = []
        try:
            while (line := lines.get(timeout=QUIET_S)) is not None:
                heard.append(line)
                each_line(line)
            code = process.wait(timeout=QUIET_S)
        except (queue.Empty, subprocess.TimeoutExpired):
            raise self._failed(f"nothing was heard for {QUIET_S:g} s", heard) from None
        finally:
            process.kill()  # does nothing to one that has ended
            process.wait()
            reader.join(QUIET_S)
        if code:
            raise self._failed("mpremote reports a failure", heard)
        return heard

    def _failed(self, what: str, heard: Sequence[str]) -> BenchError:
        told = " / ".join(line.strip() for line in heard if line.strip() and line[:2] != "@ ")
        if "could not enter raw repl" in told or not heard:
            return BenchError(
                f"{self.port}: no MicroPython answers there.",
                cause="The board has none yet, or its program cannot be interrupted.",
                mend="Hold the board's button, or tie its strap to ground, while plugging it in, "
                "and run the command again.",
            )
        if "ENOSPC" in told or "No space left" in told:
            return BenchError(
                f"{self.port}: there is no room left on the board.",
                mend="Remove files of your own from the board, then run the command again.",
            )
        last = "; ".join(told.split(" / ")[-_TOLD:])
        return BenchError(
            f"{self.port}: {what}{f' ({last})' if last else ''}.",
            cause="The cable came out, the board lost power, or its store is damaged.",
            mend="Nothing starts by itself on a board with half a firmware. Check the cable and "
            "run the command again: it goes on where it stopped.",
        )


def _pass_on(process: subprocess.Popen[str], lines: queue.Queue[str | None]) -> None:
    if process.stdout is not None:
        with process.stdout as printed:
            for line in printed:
                lines.put(line.rstrip("\n"))
    lines.put(None)
