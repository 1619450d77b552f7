"""A board with MicroPython's own prompt for tests: its port, its store, its power."""

from __future__ import annotations

import os
import subprocess
import threading
import time
import tty
import types
from pathlib import Path

from tests.support.micropython import MACHINE, interpreter

NUMBER = "E66164084373532B"  # invented
RESET = 3


class PromptedBoard:
    """Runs board/prompt.py on a pseudo-terminal, and again whenever the board starts again.

    Use as a context manager.

    Parameters
    ----------
    store : Path
        Folder that stands for the board's flash.
    moves : bool
        Its port goes away while it starts, and comes back under another name.
    comes_back : bool
        It starts again when its program asks for it; otherwise its port stays silent.
    spoils, dies_at : str
        See board/prompt.py.
    """

    def __init__(
        self,
        store: Path,
        *,
        moves: bool = False,
        comes_back: bool = True,
        spoils: str = "",
        dies_at: str = "",
    ) -> None:
        self.store = store
        self.device: str | None = None
        self.devices: list[str] = []
        self.ended: list[int] = []
        self._moves, self._comes_back = moves, comes_back
        self._faults = {"HINGELINE_SPOILS": spoils, "HINGELINE_DIES_AT": dies_at}
        self._closing = False
        self._ends: tuple[int, int] | None = None
        self._process: subprocess.Popen[bytes] | None = None
        self._power = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> PromptedBoard:
        self._micropython = interpreter()
        self._plug_in()
        self._power.start()
        return self

    def __exit__(self, *_exc: object) -> None:
        self._closing = True
        if self._process is not None:
            self._process.kill()
        self._power.join(5)
        self._unplug()

    @property
    def port(self) -> str:
        """Where it is now; a fault while it is nowhere."""
        assert self.device is not None
        return self.device

    def comports(self) -> list[types.SimpleNamespace]:
        """Return what a list of ports shows of it."""
        if self.device is None:
            return []
        return [
            types.SimpleNamespace(device=self.device, vid=0x2E8A, pid=0x0005, serial_number=NUMBER)
        ]

    def _plug_in(self) -> None:
        board_end, host_end = os.openpty()
        tty.setraw(board_end)
        tty.setraw(host_end)
        self._ends = (board_end, host_end)
        self.device = os.ttyname(host_end)
        self.devices.append(self.device)

    def _unplug(self) -> None:
        self.device = None
        if self._ends is not None:
            for end in self._ends:
                os.close(end)
            self._ends = None

    def _run(self) -> None:
        while not self._closing:
            assert self._ends is not None
            self._process = subprocess.Popen(
                [self._micropython, "-X", "heapsize=8M", str(MACHINE / "prompt.py")],
                stdin=self._ends[0],
                stdout=self._ends[0],
                stderr=subprocess.DEVNULL,
                cwd=self.store,
                env={**os.environ, **self._faults},
            )
            self.ended.append(self._process.wait())
            if not self._comes_back:
                return  # the port is kept: another program could be given its name
            if self._closing or self.ended[-1] != RESET:
                self._unplug()
                return
            if self._moves:
                old, self._ends, self.device = self._ends, None, None
                time.sleep(0.3)
                self._plug_in()
                for end in old:
                    os.close(end)
