"""What a command shows on a terminal of a given width, its stdout there too."""

from __future__ import annotations

import errno
import fcntl
import os
import pty
import select
import struct
import termios
import time

from tests.cli.running import start


class Screen:
    """A command all of whose streams are one terminal; use it as a context manager."""

    def __init__(self, *arguments: str, columns: int = 80, **env: str) -> None:
        self._master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, columns, 0, 0))
        settings = {key: value for key, value in os.environ.items() if key != "COLUMNS"}
        self.process = start(
            *arguments,
            stdin=slave,
            stdout=slave,
            stderr=slave,
            env={**settings, "TERM": "xterm-256color", **env},
            start_new_session=True,
            preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),
        )
        os.close(slave)
        self.shown = ""

    def __enter__(self) -> Screen:
        return self

    def __exit__(self, *_exc: object) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        os.close(self._master)

    def until(self, text: str, seconds: float = 30.0) -> None:
        """Wait until a text stands somewhere in what was shown since the last key."""
        end = time.monotonic() + seconds
        while text not in self.shown:
            assert time.monotonic() < end, f"{text!r} was not shown in: {self.shown!r}"
            assert self._look(), f"it ended without {text!r}: {self.shown!r}"

    def keys(self, data: str) -> None:
        """Press keys, and forget what was shown before."""
        self.shown = ""
        os.write(self._master, data.encode())

    def prompt(self, seconds: float = 60.0) -> str | None:
        """Wait for the next question, and return all that was shown up to it; None at the end."""
        end = time.monotonic() + seconds
        while not self.shown.endswith(("(? helps): ", "[y/N]: ")):
            assert time.monotonic() < end, f"no question came after: {self.shown!r}"
            if not self._look():
                return None
        return self.shown

    def whole(self, seconds: float = 60.0) -> str:
        """Wait for the end, and return everything shown since the last key."""
        end = time.monotonic() + seconds
        while self._look():
            assert time.monotonic() < end, f"it goes on after: {self.shown!r}"
        return self.shown

    def _look(self) -> bool:
        """Take in what is shown in a moment; False when the other side has closed."""
        if not select.select([self._master], [], [], 0.1)[0]:
            return True
        try:
            data = os.read(self._master, 65536)
        except OSError as error:  # so Linux says that nobody writes there any more
            assert error.errno == errno.EIO
            return False
        self.shown += data.decode("utf-8", "replace").replace("\r\n", "\n")
        return bool(data)


def screen(*arguments: str, columns: int = 80, **env: str) -> str:
    """Return all that a command shows on a terminal."""
    with Screen(*arguments, columns=columns, **env) as opened:
        return opened.whole()
