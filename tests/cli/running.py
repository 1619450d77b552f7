"""Running commands as a user does: in this process, in a fresh one, or at a terminal."""

from __future__ import annotations

import fcntl
import json
import os
import pty
import select
import subprocess
import sys
import termios
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from click.testing import CliRunner

from hingeline.cli.entry import main

PROGRAM = (sys.executable, "-c", "from hingeline.cli.entry import main; main()")


@dataclass(frozen=True)
class Ran:
    """What a command left behind."""

    code: int
    out: str
    err: str

    @property
    def figures(self) -> Any:
        """What stands on stdout, all of it, as JSON."""
        return json.loads(self.out, parse_constant=_refused)

    @property
    def talk(self) -> str:
        """Stderr without its line breaks."""
        return " ".join(self.err.split())


def _refused(constant: str) -> None:
    raise AssertionError(f"{constant} is not JSON")


def run(*arguments: str, typed: Sequence[str] = ()) -> Ran:
    """Run a command in this process; when ``typed`` is used up, the input ends."""
    text = "".join(f"{line}\n" for line in typed)
    code: int | str | None = None
    with CliRunner().isolation(input=text) as streams:
        try:
            main(list(arguments))
        except SystemExit as end:
            code = end.code
        out, err = (stream.getvalue().decode("utf-8") for stream in streams[:2])
    assert isinstance(code, int), "every command ends with an exit code"
    assert "Traceback" not in err
    return Ran(code, out, err)


def start(*arguments: str, **settings: Any) -> subprocess.Popen[bytes]:
    """Start a command in a process of its own."""
    return subprocess.Popen([*PROGRAM, *arguments], **settings)


def run_fresh(*arguments: str, env: Mapping[str, str] | None = None) -> Ran:
    """Run a command in a process of its own, without any input."""
    done = subprocess.run(
        [*PROGRAM, *arguments],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        timeout=60,
        check=False,
        env={**os.environ, **(env or {})},
    )
    out, err = (data.decode("utf-8", "replace") for data in (done.stdout, done.stderr))
    return Ran(done.returncode, out, err)


class Terminal:
    """A command at a terminal of its own; its stdout goes to a pipe beside it.

    Use as a context manager: what still runs at its end is killed.
    """

    def __init__(self, *arguments: str) -> None:
        self._master, slave = pty.openpty()
        self.process = start(
            *arguments,
            stdin=slave,
            stderr=slave,
            stdout=subprocess.PIPE,
            start_new_session=True,
            # So that a typed Ctrl-C reaches the command as it does at a real terminal.
            preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),
        )
        os.close(slave)
        self.seen = ""

    def __enter__(self) -> Terminal:
        return self

    def __exit__(self, *_exc: object) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        if self.process.stdout:
            self.process.stdout.close()
        os.close(self._master)

    def until(self, text: str, seconds: float = 30.0) -> str:
        """Wait until a text is shown that was not waited for before; return all up to it."""
        end = time.monotonic() + seconds
        while text not in self.seen:
            assert time.monotonic() < end, f"{text!r} was not shown in: {self.seen!r}"
            self.look(0.1)
        before, _, self.seen = self.seen.partition(text)
        return before + text

    def type(self, line: str) -> None:
        """Type a line and Enter."""
        os.write(self._master, f"{line}\n".encode())

    def press(self, key: str) -> None:
        """Press Ctrl and a letter, as slowly as a person does.

        Python misses a signal that comes in the very moment in which it begins to wait for
        input, and then waits on.
        """
        time.sleep(0.2)
        os.write(self._master, bytes([ord(key) & 0x1F]))

    def ended(self) -> Ran:
        """Wait for the end of the command."""
        end = time.monotonic() + 30.0
        while self.process.poll() is None:
            assert time.monotonic() < end, f"it goes on after: {self.seen!r}"
            self.look(0.05)
        self.look(0)
        out = self.process.stdout.read() if self.process.stdout else b""
        return Ran(self.process.returncode, out.decode(), self.seen.replace("\r\n", "\n"))

    def look(self, seconds: float) -> None:
        """Take in what is shown meanwhile."""
        if select.select([self._master], [], [], seconds)[0]:
            try:
                self.seen += os.read(self._master, 65536).decode("utf-8", "replace")
            except OSError:  # the other side has been closed
                time.sleep(0.01)
