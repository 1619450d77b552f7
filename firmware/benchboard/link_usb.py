"""Bytes from and to the serial port, without ever waiting for the host."""

import select
import sys

try:
    from typing import Any  # the board has no typing; nothing there looks at annotations
except ImportError:
    pass

WAIT_MS = 1  # for input; also the pace of the motion
MOST_IN = 64  # bytes per turn: a flood of input does not hold up the motion
MOST_OUT = 32  # likewise
QUEUE = 1024  # replies nobody reads are dropped beyond this; the host asks again


class Link:
    """The serial port as the interpreter's own input and output.

    Attributes
    ----------
    closed : bool
        The other end is gone for good (a pipe or terminal on a computer; never on a board).
    """

    def __init__(self) -> None:
        self.closed = False
        self._in = sys.stdin.buffer
        self._out = sys.stdout.buffer
        self._queue = b""
        self._hurry = False  # more can go at once: do not wait for input meanwhile
        self._readable = select.poll()
        self._readable.register(sys.stdin, select.POLLIN)
        self._writable = select.poll()
        self._writable.register(sys.stdout, select.POLLOUT)

    def read(self) -> bytes:
        """Return what came in, after at most about a millisecond; often nothing."""
        data = bytearray()
        wait_ms = 0 if self._hurry else WAIT_MS
        while len(data) < MOST_IN and _ready(self._readable, wait_ms):
            # Only one byte may be asked for: more would wait until all of them are there.
            try:
                byte = self._in.read(1)
            except OSError:  # a terminal on a computer whose other end has gone
                byte = b""
            if not byte:
                self.closed = True
                break
            data += byte
            wait_ms = 0
        return bytes(data)

    def write(self, reply: bytes) -> None:
        """Queue a reply and send what can go at once."""
        if len(self._queue) + len(reply) <= QUEUE:
            self._queue += reply
        self.send()

    def send(self) -> None:
        """Send what can go at once from the queue."""
        sent = 0
        while sent < MOST_OUT and sent < len(self._queue) and _ready(self._writable, 0):
            # "Writable" promises room for one byte; a longer write could wait for the host.
            if not self._out.write(self._queue[sent : sent + 1]):
                break
            sent += 1
        self._queue = self._queue[sent:]
        self._hurry = sent == MOST_OUT

    def drained(self) -> bool:
        """Return whether everything has been sent."""
        return not self._queue


def _ready(poller: "Any", wait_ms: int) -> bool:
    # ipoll makes no list, unlike poll
    for _ in poller.ipoll(wait_ms):
        return True
    return False
