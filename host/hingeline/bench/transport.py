"""What every connection to a board offers, and the one over a serial port.

A transport moves bytes and lets time pass; it knows nothing of frames. Time belongs to
it because a simulated bench has its own: whoever waits, waits through the transport.
"""

from __future__ import annotations

import contextlib
import errno
import os
import time
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Protocol

from hingeline.errors import BenchError, LostError

if TYPE_CHECKING:
    import serial

BAUD = 115200  # a USB port ignores it; boards behind a serial bridge run at this rate
WRITE_TIMEOUT_S = 0.5  # pyserial's own timeout covers reads only: a write could block for ever
_OPEN_TRIES = 4
_OPEN_PAUSE_S = 0.25


class Transport(Protocol):
    """A two-way stream of bytes to one board.

    Attributes
    ----------
    name : str
        For people: the port's name.
    simulated : bool
        Whether a simulated bench is behind it.
    """

    name: str
    simulated: bool

    def write(self, data: bytes) -> None:
        """Send bytes; BenchError when the port is gone or does not take them."""

    def read(self, timeout_s: float) -> bytes:
        """Return the bytes that have come, waiting up to ``timeout_s`` for the first."""

    def wait(self, seconds: float) -> None:
        """Let time pass."""

    def now_s(self) -> float:
        """Return the time on this transport's clock, in seconds; only differences count."""

    def close(self) -> None:
        """Give the port back."""


class SerialTransport:
    """A board on a serial port, opened for this program alone.

    Parameters
    ----------
    device : str
        Name of the port, such as ``/dev/ttyACM0`` or ``COM3``.

    Raises
    ------
    BenchError
        When the port is not there, may not be opened, or is in use.
    """

    simulated = False

    def __init__(self, device: str) -> None:
        self.name = device
        self._port = _open(device)

    def __enter__(self) -> SerialTransport:
        return self

    def __exit__(
        self,
        _type: type[BaseException] | None,
        _value: BaseException | None,
        _trace: TracebackType | None,
    ) -> None:
        self.close()

    def write(self, data: bytes) -> None:
        """Send bytes, or say that the board does not take them."""
        import serial

        try:
            self._port.write(data)
        except serial.SerialTimeoutException:
            raise LostError(
                f"{self.name}: the board did not take {len(data)} bytes in {WRITE_TIMEOUT_S:g} s.",
                cause="It does not read its port: it is stuck, or runs another program.",
                mend="Unplug the board, plug it in again and repeat the command.",
            ) from None
        except (serial.SerialException, OSError) as error:
            raise self._lost(error) from None

    def read(self, timeout_s: float) -> bytes:
        """Return what has come, waiting up to ``timeout_s`` for the first byte."""
        import serial

        try:
            self._port.timeout = timeout_s
            first = self._port.read(1)
            return first + self._port.read(self._port.in_waiting) if first else b""
        except (serial.SerialException, OSError, TypeError) as error:
            # TypeError: pyserial's own, when another thread has closed the port.
            raise self._lost(error) from None

    def wait(self, seconds: float) -> None:
        """Sleep."""
        time.sleep(seconds)

    def now_s(self) -> float:
        """Return the monotonic clock."""
        return time.monotonic()

    def close(self) -> None:
        """Close the port; a port that is already gone is closed as well."""
        with contextlib.suppress(OSError):
            _claim(self._port, False)
        with contextlib.suppress(OSError):
            self._port.close()

    def _lost(self, error: Exception) -> LostError:
        return LostError(
            f"{self.name}: the connection is lost ({error}).",
            cause="The cable came out, the board lost power, or another program uses the port.",
            mend="Check cable and power, close other programs, and start the command again; "
            "the board stops its pulses by itself.",
        )


def _open(device: str) -> serial.Serial:
    import serial

    for attempt in range(_OPEN_TRIES):
        try:
            port = serial.Serial(
                device, BAUD, timeout=0, write_timeout=WRITE_TIMEOUT_S, exclusive=True
            )
        except (serial.SerialException, OSError, ValueError) as error:
            # Windows reports "access denied" for a moment after a board was plugged in again.
            if attempt + 1 < _OPEN_TRIES and _may_pass(error):
                time.sleep(_OPEN_PAUSE_S * (attempt + 1))
                continue
            raise _refused(device, error) from None
        try:
            _claim(port, True)
        except OSError as error:
            port.close()
            raise _refused(device, error) from None
        return port
    raise AssertionError("the last try returns or raises")


def _may_pass(error: Exception) -> bool:
    return os.name == "nt" and "PermissionError" in str(error)


def _claim(port: serial.Serial, alone: bool) -> None:
    """Keep other programs from opening the port, or allow it again.

    pyserial's lock is only advisory. The claim outlasts our closing of the port while
    another program has it open, so it has to be given back.
    """
    try:
        import fcntl
        import termios
    except ImportError:  # Windows opens ports exclusively by itself
        return
    fcntl.ioctl(port.fileno(), termios.TIOCEXCL if alone else termios.TIOCNXCL)


def _refused(device: str, error: Exception) -> BenchError:
    number = getattr(error, "errno", None)
    if number == errno.EACCES:
        group = _group(device)
        if group is None:
            return BenchError(
                f"{device}: you may not open this port.",
                mend="Ask the administrator of this computer for access.",
            )
        return BenchError(
            f"{device}: you may not open this port.",
            cause=f"It belongs to the group {group!r}.",
            mend=f"Run: sudo usermod -aG {group} $USER  then log out and in again.",
        )
    # Windows gives its reason in the text only, and calls a port in use "access denied".
    in_use = "exclusively lock" in str(error) or "PermissionError" in str(error)
    if number in (errno.EBUSY, errno.EAGAIN) or in_use:
        return BenchError(
            f"{device}: the port is in use.",
            cause="Another program, or another Hingeline, has it open.",
            mend="Close that program and start again.",
        )
    if number == errno.ENOENT or "FileNotFoundError" in str(error):
        return BenchError(
            f"{device}: there is no such port.",
            mend="Plug the board in, and see: hingeline board list",
        )
    return BenchError(
        f"{device}: cannot be opened ({error}).",
        mend="See: hingeline board list; then unplug the board and plug it in again.",
    )


def _group(device: str) -> str | None:
    try:
        return Path(device).group()
    except (NotImplementedError, OSError, KeyError):  # no groups here, or none with this number
        return None
