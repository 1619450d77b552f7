"""The rules of the house: which way imports go, and that importing has no effect."""

import ast
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.firmware import HARDWARE_FILES

ROOT = Path(__file__).parents[1]
HOST = ROOT / "host" / "hingeline"
SMALL = {"units", "errors", "chord", "newfile", "kinds"}  # may be used everywhere on the host
STDLIB = set(sys.stdlib_module_names)

#: For each room: our rooms that it may import, and other people's packages.
ROOMS = {
    # tomllib is not of the standard library on Python 3.10, where tomli stands in for it.
    "model": (set(), {"msgspec", "tomli", "tomllib", "tomlkit"}),
    "linkage": ({"model"}, {"numpy", "scipy", "msgspec"}),
    "travel": ({"linkage", "model"}, {"numpy", "scipy"}),
    "rigging": ({"travel", "linkage", "model"}, {"numpy", "scipy", "msgspec"}),
    "bench": (
        {"rigging", "travel", "linkage", "model"},
        {"numpy", "serial", "shared_protocol", "msgspec"},
    ),
    "records": ({"model"}, {"msgspec"}),
    "sheets": ({"travel", "linkage", "model"}, {"numpy", "matplotlib", "jinja2"}),
    "cli": (
        {"model", "linkage", "travel", "rigging", "bench", "records", "sheets"},
        {"click", "rich", "numpy", "msgspec", "platformdirs", "shared_protocol"},
    ),
}
#: Parts of the standard library that belong to one room.
OWNED = {
    "sqlite3": {"records"},
    "threading": {"bench"},
    "subprocess": {"bench"},
    "socket": set(),
}
#: The one file that may import the firmware, and only inside a function.
FIRMWARE_USER = HOST / "bench" / "simulated" / "transport.py"
HARDWARE = {"machine", "rp2", "micropython", "time", "os", "sys", "select", "gc", "json"}
#: Reads and writes one file, on a computer as on a board.
STORE = {"settings.py": {"os", "json"}}
#: Writes PROTOCOL.md; runs on the host and never goes to a board.
NOT_FOR_THE_BOARD = {"describe.py"}
PURE_FIRMWARE = sorted(
    file.stem
    for file in (ROOT / "firmware" / "benchboard").glob("*.py")
    if file.name not in HARDWARE_FILES
)
MOST_LINES = 500


def name_of(file):
    """Return the dotted name of a file's module."""
    for base in (ROOT / "host", ROOT / "firmware", ROOT):
        if file.is_relative_to(base):
            parts = file.relative_to(base).with_suffix("").parts
            return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
    raise AssertionError(file)


def imports(file):
    """List the modules that a file imports: dotted name, and how it stands there.

    A name from a package is given as if it were a module: whoever looks decides.
    """
    tree = ast.parse(file.read_text("utf-8"))
    found = []

    def visit(node, where):
        if isinstance(node, ast.Import):
            found.extend((alias.name, where) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            package = name_of(file).split(".")
            if file.name != "__init__.py":
                package = package[:-1]
            stem = package[: len(package) - node.level + 1] if node.level else []
            base = ".".join([*stem, *([node.module] if node.module else [])])
            found.extend((f"{base}.{alias.name}", where) for alias in node.names)
        for child in ast.iter_child_nodes(node):
            visit(child, _deeper(node, child, where))

    visit(tree, "plain")
    return found


def _deeper(node, child, where):
    if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda)):
        return "function"
    if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test):
        return "types only" if child in node.body else where
    if isinstance(node, ast.Try) and where == "plain":
        return "guarded"
    return where


def host_files(room):
    return sorted((HOST / room).rglob("*.py"))


def everything():
    places = (HOST, ROOT / "shared_protocol", ROOT / "firmware" / "benchboard")
    return sorted(file for place in places for file in place.rglob("*.py"))


def test_every_room_is_in_the_table():
    rooms = {folder.name for folder in HOST.iterdir() if (folder / "__init__.py").exists()}
    assert rooms == set(ROOMS)
    assert {file.stem for file in HOST.glob("*.py")} == {*SMALL, "__init__"}


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_imports_what_it_may(room):
    ours, others = ROOMS[room]
    for file in host_files(room):
        for name, _ in imports(file):
            top, *rest = name.split(".")
            if top == "hingeline":
                # "from hingeline import units" and "__version__" name no room.
                assert rest[0] in {room, *ours, *SMALL, "__version__"}, (file, name)
            elif top == "benchboard":
                assert file == FIRMWARE_USER, (file, name)
            elif top in OWNED:
                assert room in OWNED[top], (file, name)
            elif top not in STDLIB:
                assert top in others, (file, name)


def test_the_small_files_import_the_standard_library_and_each_other():
    for name in SMALL:
        for imported, _ in imports(HOST / f"{name}.py"):
            top, *rest = imported.split(".")
            assert top in STDLIB or (top == "hingeline" and rest[0] in SMALL), (name, imported)


def test_only_the_command_line_imports_the_command_line():
    for file in everything():
        if not file.is_relative_to(HOST / "cli"):
            assert not [name for name, _ in imports(file) if name.startswith("hingeline.cli")]


def test_the_simulated_bench_imports_the_firmware_when_it_is_opened():
    used = [(name, where) for name, where in imports(FIRMWARE_USER) if "benchboard" in name]
    assert {where for _, where in used} == {"function", "types only"}


def test_the_wire_needs_nothing():
    for file in (ROOT / "shared_protocol").glob("*.py"):
        if file.name in NOT_FOR_THE_BOARD:
            continue
        for name, where in imports(file):
            top = name.split(".")[0]
            assert top in {"shared_protocol", "binascii", "typing", "micropython"}, (file, name)
            if top in {"typing", "micropython"}:
                assert where == "guarded", (file, name)


def test_hardware_is_touched_by_its_own_files_alone():
    folder = ROOT / "firmware" / "benchboard"
    assert {file.name for file in folder.glob("*.py")} >= HARDWARE_FILES
    for file in folder.glob("*.py"):
        for name, where in imports(file):
            top = name.split(".")[0]
            if top in {"benchboard", "shared_protocol"}:
                if file.name not in HARDWARE_FILES:
                    hardware = {Path(one).stem for one in HARDWARE_FILES}
                    assert not set(name.split(".")) & hardware, (file, name)
            elif top == "typing":
                assert where == "guarded", (file, name)
            elif file.name in STORE:
                assert top in STORE[file.name], (file, name)
            else:
                assert top in HARDWARE, (file, name)
                assert file.name in HARDWARE_FILES, (file, name)


def test_no_module_needs_itself():
    known = {name_of(file): file for file in everything()}
    needs = {}
    for name, file in known.items():
        # What is imported inside a function, or for types alone, is not needed to be imported.
        plain = {one for one, where in imports(file) if where in ("plain", "guarded")}
        modules = {one if one in known else one.rpartition(".")[0] for one in plain}
        needs[name] = (modules & set(known)) - {name}
    done, on_the_way = set(), []

    def visit(name):
        assert name not in on_the_way, [*on_the_way, name]
        if name in done:
            return
        on_the_way.append(name)
        for one in needs[name]:
            visit(one)
        done.add(on_the_way.pop())

    for name in needs:
        visit(name)
    assert sum(map(len, needs.values())) > 100  # the graph was really seen


def test_files_stay_small():
    for file in everything():
        assert len(file.read_text("utf-8").splitlines()) <= MOST_LINES, file


WATCH = """
import json, sys, threading
try:
    import matplotlib.font_manager  # looks for fonts and notes them: its own business, not ours
except ImportError:
    pass
written = []
def watch(event, arguments):
    if event == "open":
        path, mode, flags = arguments
        if (isinstance(mode, str) and set(mode) & set("wax+")) or (flags and flags & 3):
            written.append(str(path))
    elif event.split(".")[0] in ("subprocess", "socket", "sqlite3"):
        written.append(event)
sys.addaudithook(watch)
before = threading.active_count()
import importlib
for name in json.loads(sys.argv[1]):
    importlib.import_module(name)
threads = threading.active_count() - before
{also}
sys.__stderr__.write(json.dumps([threads, written, sorted(sys.modules)]))
"""


def imported(names, folder, also=""):
    """Import modules in a fresh process; return threads, what was written, what was loaded."""
    path = os.pathsep.join(str(ROOT / place) for place in (".", "host", "firmware"))
    done = subprocess.run(
        [sys.executable, "-c", WATCH.replace("{also}", also), json.dumps(names)],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": path, "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout == ""
    return json.loads(done.stderr)


def test_importing_has_no_effect(tmp_path):
    names = [name_of(file) for file in everything() if file.parent != ROOT / "firmware/benchboard"]
    names += [
        f"benchboard.{stem}" if stem != "__init__" else "benchboard" for stem in PURE_FIRMWARE
    ]
    threads, written, loaded = imported(names, tmp_path)
    assert set(names) <= set(loaded)
    assert threads == 0
    assert written == []
    assert list(tmp_path.iterdir()) == []


def test_an_effect_would_be_seen(tmp_path):
    also = "open('x.txt', 'w').close(); import socket; socket.socket()"
    _, written, _ = imported([], tmp_path, also)
    assert written[0] == "x.txt"
    assert any(event.startswith("socket") for event in written[1:])


def test_the_entry_is_light():
    code = "import sys, hingeline.cli.entry; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split())
    heavy = {"numpy", "scipy", "matplotlib", "serial", "rich", "sqlite3", "msgspec"}
    assert not {name.split(".")[0] for name in loaded} & heavy
    ours = {name for name in loaded if name.startswith("hingeline.")}
    assert ours == {"hingeline.cli", "hingeline.cli.entry", "hingeline.errors"}
