"""What answers on a port: a bench board, another version of one, a bare board, or neither.

Nothing is interrupted by asking: a program that is no bench board gets lines it does not
understand, and a MicroPython prompt evaluates what does no harm.
"""

from __future__ import annotations

import re
import secrets
from dataclasses import dataclass
from typing import Literal

from hingeline.bench.greeting import BoardInfo, board_info
from hingeline.bench.installing.firmware import version
from hingeline.bench.transport import Transport
from hingeline.errors import BenchError
from shared_protocol import table
from shared_protocol.host_session import Greeting, HostSession, Refusal

#: A board that was reset by the opening of its port needs this long to start.
PATIENCE_S = 3.0
_ANSWER_S = 0.4
_PROMPT_S = 0.6
_PROMPT = b">>> "
_MOST_HEARD = 4096

#: Where to find what a board must have before the firmware can be put on it.
MICROPYTHON = "https://micropython.org/download"
_UPDATE = "Update Hingeline (pip install --upgrade hingeline)"

#: ``firmware``: Hingeline's, of this wire version; ``other wire``: Hingeline's, of another;
#: ``micropython``: a prompt; ``something``: sends, but none of these; ``silence``.
Kind = Literal["firmware", "other wire", "micropython", "something", "silence"]


@dataclass(frozen=True)
class Answer:
    """What answers on a port.

    Attributes
    ----------
    kind : str
        See :data:`Kind`.
    info : BoardInfo or None
        For ``firmware``: what it says of itself.
    wire : int
        For ``firmware`` and ``other wire``: the version of the wire it speaks; otherwise 0.
    banner : str
        For ``micropython``: its version and board, as it names them itself; may be empty.
    held : bool
        For ``micropython``: Hingeline's firmware is on the board, and does not run.
    heard : bytes
        For ``something``: the last that it sent.
    """

    kind: Kind
    info: BoardInfo | None = None
    wire: int = 0
    banner: str = ""
    held: bool = False
    heard: bytes = b""


def identify(transport: Transport, patience_s: float = PATIENCE_S) -> Answer:
    """Ask what is there. A bench board is left with every channel off.

    Parameters
    ----------
    transport : Transport
        Open; stays so.
    patience_s : float
        How long to greet before the answer is taken not to come, in seconds.

    Raises
    ------
    BenchError
        When the port is lost, or does not take what is written.
    """
    session = HostSession()
    heard = b""
    end = transport.now_s() + patience_s
    before = b"\n"
    while True:
        _, line = session.hello(1 + secrets.randbelow(1073741823))
        transport.write(before + line)
        before = b"\r\n"  # the Enter of a prompt, which then shows itself
        stop = transport.now_s() + min(_ANSWER_S, patience_s)
        while (left := stop - transport.now_s()) > 0:
            data = transport.read(left)
            heard = (heard + data)[-_MOST_HEARD:]
            for event in session.receive(data):
                if isinstance(event, Greeting):
                    _say_goodbye(transport, session)
                    info = board_info(event.values)
                    return Answer("firmware", info=info, wire=info.protocol)
                if isinstance(event, Refusal) and event.code == "wrong_version":
                    return Answer("other wire", wire=event.limit)
        if _PROMPT in heard or transport.now_s() >= end:
            return at_prompt(transport, heard)


def at_prompt(transport: Transport, heard: bytes = b"") -> Answer:
    """Ask what is there when it does not answer a greeting; for the rest as :func:`identify`."""
    seen = b""
    # Enter ends what stands behind a prompt; Ctrl-B leaves the mode that other tools use.
    for keys in (b"\r\n", b"\x02"):
        transport.write(keys)
        seen += _until_prompt(transport)
        if _PROMPT in seen:
            return _micropython(transport)
    heard = (heard + seen)[-_MOST_HEARD:]
    return Answer("something", heard=heard) if heard else Answer("silence")


def summary(answer: Answer) -> str:
    """Say in a few words what answers."""
    if answer.info is not None:
        word = age(answer.info)
        than = f", {word} than that of this Hingeline ({version()})" if word else ""
        return f"Hingeline firmware {answer.info.firmware}{than}"
    if answer.kind == "other wire":
        return (
            f"Hingeline firmware that speaks version {answer.wire} of the wire, "
            f"this Hingeline version {table.VERSION}"
        )
    if answer.kind == "micropython":
        name = f"MicroPython {answer.banner}".strip()
        if answer.held:
            return f"{name}, at its prompt; Hingeline's firmware is there but does not run"
        return f"{name}, without Hingeline's firmware"
    if answer.kind == "something":
        return f"something that is no bench board; it sends {_readable(answer.heard)}"
    return "nothing there answers"


def mend(answer: Answer, port: str) -> str:
    """Say what to do about it; empty when all is as it should be."""
    install = f"hingeline board install --port {port}"
    if answer.info is not None and not age(answer.info):
        return ""
    if answer.wire:
        newer = age(answer.info) == "newer" if answer.info else answer.wire > table.VERSION
        if newer:
            return f"{_UPDATE}, or put the firmware of this one on the board: {install}"
        return f"Put this Hingeline's firmware on the board: {install}"
    if answer.kind == "micropython":
        if answer.held:
            return (
                "Let go of the board's button, or take the strap off, and start the board again. "
                f"If that does not help: {install}"
            )
        return f"Put Hingeline's firmware on the board: {install}"
    if answer.kind == "something":
        return (
            "Close other programs that may drive it. If it is a board whose program may be "
            f"replaced: {install}"
        )
    return (
        "Unplug the board and plug it in again. A new board needs MicroPython first "
        f"({MICROPYTHON}), then: {install}"
    )


def no_bench(port: str, answer: Answer) -> BenchError:
    """Return the error of a port on which no bench board of this version answers."""
    return BenchError(f"{port}: {summary(answer)}.", mend=mend(answer, port))


def age(info: BoardInfo) -> str:
    """Return whether a board's firmware is "older" or "newer" than this Hingeline's, or ""."""
    theirs, ours = _numbers(info.firmware), _numbers(version())
    if theirs == ours:
        return ""
    return "older" if theirs < ours else "newer"


def _numbers(text: str) -> list[int]:
    return [int(part) for part in text.split(".")]


def _readable(heard: bytes) -> str:
    text = heard[-40:].decode("ascii", "replace").replace("�", "?")
    return repr("".join(letter if letter.isprintable() else " " for letter in text).strip())


def _say_goodbye(transport: Transport, session: HostSession) -> None:
    ident, line = session.request("quit")
    transport.write(line)
    stop = transport.now_s() + _ANSWER_S
    while (left := stop - transport.now_s()) > 0:
        for event in session.receive(transport.read(left)):
            if getattr(event, "ident", 0) == ident:
                return


def _micropython(transport: Transport) -> Answer:
    transport.write(b"\x02")  # at a prompt: say again what you are
    banner = re.search(rb"MicroPython ([ -~]+)", _until_prompt(transport))
    transport.write(b"'benchboard' in __import__('os').listdir()\r")
    held = b"\nTrue" in _until_prompt(transport)
    return Answer("micropython", banner=banner[1].decode().strip() if banner else "", held=held)


def _until_prompt(transport: Transport) -> bytes:
    seen = b""
    stop = transport.now_s() + _PROMPT_S
    while (left := stop - transport.now_s()) > 0 and not seen.endswith(_PROMPT):
        seen += transport.read(left)
    return seen
