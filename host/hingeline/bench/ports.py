"""Which ports may have a bench board on them, and which one a command means.

A port is a candidate by its USB identity; that it is one of ours, only its greeting
tells. Ports with other identities are never written to: they may be anything.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from hingeline.errors import BenchError

SIMULATED = "sim:"
#: What goes before a board's own number where a port is named.
BY_NUMBER = "id:"
#: So many digits of a number at least: fewer may be met by chance.
LEAST_DIGITS = 4

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
    number : str
        The USB serial number alone; empty where there is none.
    """

    device: str
    usb: str
    likely: str
    number: str = ""


def candidates() -> list[Port]:
    """Return the ports whose USB identity may be a board's, in the order of their names."""
    from serial.tools import list_ports

    found = []
    for port in list_ports.comports():
        if port.vid in _VENDORS:
            number = port.serial_number or ""
            usb = f"{port.vid:04x}:{port.pid or 0:04x} {number}".strip()
            found.append(Port(preferred(port.device), usb, _VENDORS[port.vid], number))
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


def is_there(device: str) -> bool:
    """Return whether there is such a port now."""
    from serial.tools import list_ports

    listed = {preferred(port.device) for port in list_ports.comports()}
    return device in listed or Path(device).exists()


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
        When nothing was named and there is not exactly one candidate, when several were, or as
        for :func:`with_number`.
    """
    if named is not None:
        if len(several := named.split()) > 1:
            raise BenchError(
                f"{len(several)} ports are named, and this command works with one: {named}.",
                mend=f"Name the one with --port, such as --port {several[0]}",
            )
        if named.startswith(BY_NUMBER):
            return with_number(named, candidates())
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
        mend="Name one with --port, or several in the order of their channels; "
        "see: hingeline board list",
    )


def choose_all(named: Sequence[str], boards: Sequence[str] = ()) -> list[str]:
    """Return the ports that a command means, in the order of their channels.

    Parameters
    ----------
    named : sequence of str
        What the user gave with ``--port``, in order; empty: nothing.
    boards : sequence of str
        Numbers of the boards that were there before, in order: they are looked for where
        nothing was named, and where a port that was named is gone.

    Raises
    ------
    BenchError
        As for :func:`choose`, or when a port is meant twice.
    """
    if named:
        ports = [choose(name, []) for name in named]
        for place, number in enumerate(boards[: len(ports)]):
            if not ports[place].startswith(SIMULATED) and not is_there(ports[place]):
                ports[place] = _port_of(number, candidates())
    elif boards:
        ports = [_port_of(number, candidates()) for number in boards]
    else:
        ports = [choose(None, candidates())]
    for port in ports:
        if ports.count(port) > 1 and not port.startswith(SIMULATED):
            raise BenchError(
                f"{port} is named twice.",
                cause="Each board has channels of its own.",
                mend="Name each board once, in the order of their channels.",
            )
    return ports


def with_number(named: str, found: Sequence[Port]) -> str:
    """Return the port of the board that has a number of its own.

    The ports' USB serial numbers are compared first, and nothing is opened for that. Only
    where none fits the candidates are greeted.

    Parameters
    ----------
    named : str
        "id:" and the number as ``board list`` shows it, or how it begins.
    found : sequence of Port
        From :func:`candidates`.

    Raises
    ------
    BenchError
        When it is too short, leading zeros apart, and no whole number of a port; when no board
        has it, or when several begin with it.
    """
    number = named.removeprefix(BY_NUMBER)
    digits = len(_plain(number))
    if digits < LEAST_DIGITS:
        whole = [port.device for port in found if port.number and port.number == number]
        if len(whole) == 1:
            return whole[0]
        raise BenchError(
            f"{named!r} has {digits} digits of a board's number, leading zeros apart: "
            f"at least {LEAST_DIGITS} are needed.",
            mend="See: hingeline board list",
        )
    return _port_of(number, found)


def _port_of(number: str, found: Sequence[Port]) -> str:
    known = [(port.device, port.number) for port in found if port.number]
    fitting = _fitting(number, known)
    unanswered: list[str] = []
    if not fitting:
        greeted = []
        for port in found:
            try:
                greeted.append((port.device, _number_of(port.device)))
            except BenchError as error:
                unanswered.append(error.message)
        known += [(device, its) for device, its in greeted if its]
        fitting = _fitting(number, known)
    if not fitting:
        raise BenchError(
            f"no board with the number {number} is there.",
            cause=" ".join([_there(known), *unanswered]),
            mend="Plug it in and try again, or see: hingeline board list",
        )
    if len(fitting) > 1:
        raise BenchError(
            f"{len(fitting)} boards have a number that begins with {number}.",
            cause=_there(fitting),
            mend=f"Give more of it with --port {BY_NUMBER}",
        )
    return fitting[0][0]


def _fitting(number: str, known: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
    """Return devices and numbers that begin so; one that is the same alone, where one is."""
    wanted = _plain(number)
    same = [(device, its) for device, its in known if _plain(its) == wanted]
    if same or not wanted:  # nothing but zeros begins every number
        return same
    return [(device, its) for device, its in known if _plain(its).startswith(wanted)]


def _plain(number: str) -> str:
    """Return a number as it is compared: a board leaves leading zeros out, USB does not."""
    return number.lower().lstrip("0")


def _number_of(device: str) -> str:
    """Return the number that a bench board on a port tells; empty when none answers."""
    from hingeline.bench.identifying import identify
    from hingeline.bench.transport import SerialTransport

    with SerialTransport(device) as transport:
        answer = identify(transport)
    return answer.info.board_id if answer.info else ""


def _there(known: Sequence[tuple[str, str]]) -> str:
    listed = ", ".join(f"{number} on {device}" for device, number in known)
    return f"There are: {listed}." if listed else "No board is there."
