"""Which ports may have a bench board on them, and which one a command means.

A port is a candidate by its USB identity; that it is one of ours, only its greeting
tells. Ports with other identities are never written to: they may be anything.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from dataclasses import dataclass

from hingeline.errors import BenchError

SIMULATED = "sim:"

# USB vendor ids (assigned by the USB Implementers Forum) of what MicroPython boards use.
_VENDORS = {
    0x2E8A: "RP2040 or RP2350",
    0x303A: "ESP32 with USB of its own",
    0x10C4: "USB to serial bridge",
    0x1A86: "USB to serial bridge",
    0x0403: "USB to serial bridge",
}


@dataclass(frozen=True)
class Port:
    """A port that may have a board on it.

    Attributes
    ----------
    device : str
        What to open.
    usb : str
        Vendor and product id, and the USB serial number: stays when the name changes.
    likely : str
        What the identity belongs to.
    """

    device: str
    usb: str
    likely: str


def candidates() -> list[Port]:
    """Return the ports whose USB identity may be a board's, in the order of their names."""
    from serial.tools import list_ports

    found = []
    for port in list_ports.comports():
        if port.vid in _VENDORS:
            usb = f"{port.vid:04x}:{port.pid or 0:04x} {port.serial_number or ''}".strip()
            found.append(Port(preferred(port.device), usb, _VENDORS[port.vid]))
    return sorted(found, key=lambda port: port.device)


def usb_number(device: str) -> str | None:
    """Return the USB serial number of what is on a port, if it has one."""
    from serial.tools import list_ports

    for port in list_ports.comports():
        if preferred(port.device) == device:
            number: str | None = port.serial_number
            return number
    return None


def same_again(device: str, number: str | None) -> str | None:
    """Return the port on which a board is now: one that was reset may come back on another.

    None when it is on none.

    Parameters
    ----------
    device : str
        Where it was.
    number : str or None
        From :func:`usb_number`; without one, a board is taken to be where it was.
    """
    from serial.tools import list_ports

    if number is None:
        return device
    now = [
        preferred(port.device) for port in list_ports.comports() if port.serial_number == number
    ]
    return device if device in now else next(iter(now), None)


def preferred(device: str, platform: str = sys.platform) -> str:
    """Return the name that opens at once: on macOS a tty. port waits for a carrier."""
    if platform == "darwin":
        return device.replace("/dev/tty.", "/dev/cu.", 1)
    return device


def choose(named: str | None, found: Iterable[Port]) -> str:
    """Return the port that a command means.

    Parameters
    ----------
    named : str or None
        What the user gave with ``--port``.
    found : iterable of Port
        From :func:`candidates`; looked at only when nothing was named.

    Raises
    ------
    BenchError
        When nothing was named and there is not exactly one candidate.
    """
    if named is not None:
        return preferred(named)
    ports = list(found)
    if len(ports) == 1:
        return ports[0].device
    if not ports:
        raise BenchError(
            "no board was found.",
            cause="No port has the USB identity of a board that can be a bench.",
            mend="Plug the board in, name its port with --port, "
            f"or use the simulated bench with --port {SIMULATED}",
        )
    raise BenchError(
        f"{len(ports)} ports may have a board: {', '.join(port.device for port in ports)}.",
        mend="Name one with --port; see: hingeline board list",
    )
