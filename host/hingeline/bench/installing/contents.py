"""What is on a board, as the board's own MicroPython tells it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from hingeline.bench.installing.firmware import FOLDERS, MAIN
from hingeline.errors import BenchError

PINS = "pins.json"
_MARK = "@"

#: Run by the board; every line of its answer begins with a mark, for other programs may talk too.
LOOK = f"""
import binascii, hashlib, os, sys
def digest(path):
    h = hashlib.sha256()
    b = bytearray(256)
    with open(path, "rb") as f:
        while True:
            n = f.readinto(b)
            if not n:
                return binascii.hexlify(h.digest()).decode()
            h.update(b if n == 256 else b[:n])
def tell(*what):
    print("{_MARK}", *what)
def look(folder, wanted):
    try:
        names = os.listdir(folder) if folder else os.listdir()
    except OSError:
        return
    for name in names:
        path = folder + "/" + name if folder else name
        if not folder:
            tell("name", name)
        if folder or name in wanted:
            try:
                tell("file", digest(path), path)
            except OSError:
                pass
i = sys.implementation
tell("version", *i.version[:3])
tell("bytecode", getattr(i, "_mpy", 0) & 255)
tell("machine", getattr(i, "_machine", ""))
for folder in {tuple(FOLDERS)!r}:
    look(folder, ())
look("", {(MAIN, PINS)!r})
try:
    with open("{MAIN}", "rb") as f:
        tell("main", "ours" if b"benchboard.app" in f.read(512) else "other")
except OSError:
    pass
tell("end")
"""

#: Run by a board that has the firmware and a list of pins, at its prompt: what its start will do.
TRY_PINS = f"""
try:
    import sys
    from benchboard.boards import board_from, check_pins, with_pins
    from benchboard.fittings_pins import PinFittings
    from benchboard.pulses_pwm import pins_low
    from benchboard.starts import own_pins
except Exception:
    print("{_MARK} end")
else:
    try:
        row = board_from(getattr(sys.implementation, "_machine", ""), sys.platform)
        board = with_pins(row, own_pins())
        check_pins(board)
        pins_low(board)
        PinFittings(board)
    except Exception as error:
        print("{_MARK} fault", str(error) or repr(error))
    print("{_MARK} end")
"""


@dataclass
class Contents:
    """What is on a board.

    Attributes
    ----------
    version : tuple of int
        Version of its MicroPython.
    bytecode : int
        Version of the compiled files that it takes; 0: none.
    machine : str
        What its MicroPython says of board and chip.
    digests : dict of str to str
        SHA-256 in hex by path, of what lies where the firmware lies.
    names : set of str
        Everything at the top of its store.
    other_main : bool
        Its ``main.py`` starts something else than this firmware.
    """

    version: tuple[int, ...] = ()
    bytecode: int = 0
    machine: str = ""
    digests: dict[str, str] = field(default_factory=dict)
    names: set[str] = field(default_factory=set)
    other_main: bool = False


def read_fault(lines: Iterable[str]) -> str:
    """Read from the answer to :data:`TRY_PINS` why the list cannot be used; empty when it can."""
    for line in lines:
        mark, _, rest = line.strip().partition(" ")
        word, _, value = rest.partition(" ")
        if mark == _MARK and word == "fault":
            return value
    return ""


def read_contents(lines: Iterable[str]) -> Contents:
    """Read what the board answered to :data:`LOOK`.

    Raises
    ------
    BenchError
        When the answer is not whole.
    """
    found = Contents()
    whole = False
    for line in lines:
        mark, _, rest = line.strip().partition(" ")
        if mark != _MARK:
            continue
        word, _, value = rest.partition(" ")
        if word == "version":
            found.version = tuple(int(part) for part in value.split() if part.isdigit())
        elif word == "bytecode":
            found.bytecode = int(value)
        elif word == "machine":
            found.machine = value
        elif word == "name":
            found.names.add(value)
        elif word == "file":
            digest, _, path = value.partition(" ")
            found.digests[path] = digest
        elif word == "main":
            found.other_main = value == "other"
        elif word == "end":
            whole = True
    if not whole:
        raise BenchError(
            "the board did not say what is on it.",
            cause="Its MicroPython may be too old, or its store damaged.",
            mend="Start the command again.",
        )
    return found
