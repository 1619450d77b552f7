"""What goes on the board compiles for it, and is all that has to go there."""

import ast

import pytest

from tests.support.firmware import HARDWARE_FILES, compiled, on_the_board
from tests.support.micropython import FIRMWARE, ROOT

SHARED = ROOT / "shared_protocol"
PORTABLE = {"describe.py", "host_session.py", "texts.py"}  # stay on the computer
MOST_BYTES = 48_000  # of all compiled files together
HARDWARE = {"gc", "json", "machine", "micropython", "os", "rp2", "select", "sys", "time", "typing"}


def test_manifest_names_every_source_of_the_board():
    wanted = set(FIRMWARE.glob("benchboard/*.py")) | {FIRMWARE / "main.py"}
    wanted |= {path for path in SHARED.glob("*.py") if path.name not in PORTABLE}
    assert set(on_the_board().values()) == wanted


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    return compiled(tmp_path_factory.mktemp("compiled"))


def test_everything_compiles_for_the_board(files):
    assert len(files) == len(on_the_board())
    assert min(len(data) for data in files.values()) > 20


def test_all_compiled_files_together_stay_small(files):
    assert sum(len(data) for data in files.values()) <= MOST_BYTES


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
