"""Files are found, read and written wherever a person keeps them, and on any computer."""

import ast
import os
import shlex
import sys
from pathlib import Path

import pytest

from hingeline.cli.output import quoted
from hingeline.model.reading import read_model
from hingeline.model.writing import example_text
from tests.cli.running import run

ROOT = Path(__file__).parents[2]
BOM = b"\xef\xbb\xbf"
TABLE = """\
pulse_us,approach,reading
1300,up,-18.5 deg
1500,up,0 deg
1700,up,18 deg
1700,down,18.5 deg
1500,down,0.5 deg
1300,down,-18 deg
"""
#: How editors save the same text.
SAVED = {
    "as it is": lambda text: text.encode(),
    "with a mark": lambda text: BOM + text.encode(),
    "line ends of Windows": lambda text: text.replace("\n", "\r\n").encode(),
    "both": lambda text: BOM + text.replace("\n", "\r\n").encode(),
}
FOLDERS = ["two words", "Flügel, ü & Ruder", "模型 飞机", "it's $HOME", "-dash"]
#: Parts of the standard library that Windows does not have.
POSIX_ONLY = {"fcntl", "termios", "tty", "pty", "resource", "pwd", "grp", "readline", "syslog"}
#: Names in modules that it has, but without these.
POSIX_NAMES = {
    "os": {"fork", "getuid", "geteuid", "kill", "killpg", "setsid", "getpgid", "uname", "nice"},
    "signal": {"SIGKILL", "SIGHUP", "SIGALRM", "alarm", "setitimer", "pause", "SIGUSR1"},
    "select": {"select", "poll", "epoll"},
}


@pytest.fixture(params=FOLDERS)
def kept(request, folder, monkeypatch):
    """Work in a folder with an unusual name, records there too."""
    place = folder / request.param
    place.mkdir()
    monkeypatch.setenv("HINGELINE_RECORDS", str(place / "records of mine.sqlite"))
    return place


@pytest.mark.parametrize("saved", SAVED)
def test_a_model_file_is_read_however_it_was_saved(saved, folder):
    (folder / "saved.toml").write_bytes(SAVED[saved](example_text()))
    ran = run("plan", "saved.toml", "--json")
    assert ran.code == 0
    assert ran.err == ""
    assert ran.figures == run("plan", "millrace.toml", "--json").figures


@pytest.mark.parametrize("saved", SAVED)
def test_a_table_of_readings_is_read_however_it_was_saved(saved, folder):
    (folder / "saved.csv").write_bytes(SAVED[saved](TABLE))
    ran = run("calibrate", "--readings", "saved.csv", "--json")
    assert ran.code == 0
    (folder / "plain.csv").write_bytes(TABLE.encode())
    assert ran.figures == run("calibrate", "--readings", "plain.csv", "--json").figures


@pytest.mark.parametrize("saved", SAVED)
def test_a_chosen_copy_can_be_read_again_whatever_it_was_made_from(saved, folder):
    (folder / "saved.toml").write_bytes(SAVED[saved](example_text()))
    ran = run("plan", "saved.toml", "elevator", "--choose", "--write", "chosen.toml")
    assert ran.code == 0
    assert read_model(folder / "chosen.toml").name == "Millrace"
    # Its lines end as those of the file that it is a copy of.
    written = (folder / "chosen.toml").read_bytes()
    assert (b"\r\n" in written) == (b"\r\n" in (folder / "saved.toml").read_bytes())
    assert not written.startswith(BOM)


@pytest.mark.parametrize("encoding", ["utf-16", "latin-1"])
def test_text_that_is_not_utf_8_is_said_to_be_none(encoding, folder):
    (folder / "saved.toml").write_bytes(f"# Höhe\n{example_text()}".encode(encoding, "replace"))
    ran = run("plan", "saved.toml")
    assert ran.code == 3
    assert "is not UTF-8 text. Next: Save the file as UTF-8." in ran.talk


def test_a_model_is_written_planned_drawn_and_recorded_in_any_folder(kept):
    model = str(kept / "mein Modell é.toml")
    written = run("new", "--", model)
    assert written.code == 0
    assert Path(model).exists()
    drawn = run("plan", "--draw", str(kept / "Zeichnungen ü"), "--", model, "elevator")
    assert drawn.code == 0
    assert len(list((kept / "Zeichnungen ü").glob("*.svg"))) == 2
    thrown = run("throw", "--port", "sim:", "--yes", "--json", "--", model, "elevator")
    assert thrown.code in (0, 1)
    assert (kept / "records of mine.sqlite").exists()
    assert "throw" in run("records", "list").out


def test_the_command_to_go_on_with_can_be_copied(kept):
    model = str(kept / "mein Modell é.toml")
    told = run("new", "--", model).err.replace("\n", " ")
    copied = shlex.split(told.split(", then: ")[1])
    assert copied[:2] == ["hingeline", "plan"]
    assert copied[2:] == [model]
    assert run(*copied[1:]).code == 0


def test_a_word_is_quoted_as_this_computer_wants_it(monkeypatch):
    assert quoted("heron.toml") == "heron.toml"
    assert shlex.split(quoted("it's $HOME")) == ["it's $HOME"]
    monkeypatch.setattr(os, "name", "nt")
    assert quoted(r"C:\models\heron.toml") == r"C:\models\heron.toml"
    assert quoted(r"C:\my models\heron.toml") == r'"C:\my models\heron.toml"'


def test_a_name_as_windows_writes_it_is_one_name(folder):
    name = r"C:\models\heron.toml"
    ran = run("new", name, "--name", "Heron")
    assert ran.code == 0
    if sys.platform != "win32":  # here it is a file like any other
        assert (folder / name).exists()
    assert run("plan", name, "elevator").code == 0


def unguarded(tree):
    """List what only POSIX has and what stands where Windows would meet it.

    Guarded is what stands in a ``try`` that catches ImportError or AttributeError.
    """
    found = []

    def visit(node, guarded):
        if isinstance(node, ast.Try):
            caught = {n.id for h in node.handlers for n in ast.walk(h) if isinstance(n, ast.Name)}
            inside = guarded or bool(caught & {"ImportError", "AttributeError"})
            for child in node.body:
                visit(child, inside)
            for child in [*node.handlers, *node.orelse, *node.finalbody]:
                visit(child, guarded)
            return
        if not guarded:
            found.extend(_only_posix(node))
        for child in ast.iter_child_nodes(node):
            visit(child, guarded)

    visit(tree, False)
    return found


def _only_posix(node):
    if isinstance(node, ast.Import):
        return [one.name for one in node.names if one.name.split(".")[0] in POSIX_ONLY]
    if isinstance(node, ast.ImportFrom):
        module = (node.module or "").split(".")[0]
        if module in POSIX_ONLY:
            return [module]
        return [f"{module}.{n.name}" for n in node.names if n.name in POSIX_NAMES.get(module, ())]
    if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
        name = f"{node.value.id}.{node.attr}"
        return [name] if node.attr in POSIX_NAMES.get(node.value.id, ()) else []
    if isinstance(node, ast.Call) and ast.unparse(node.func).endswith("import_module"):
        first = node.args[0] if node.args else None
        name = first.value if isinstance(first, ast.Constant) else None
        return [name] if name in POSIX_ONLY else []
    if isinstance(node, ast.keyword) and node.arg in ("preexec_fn", "start_new_session"):
        return [node.arg]
    return []


def test_nothing_is_used_that_windows_does_not_have():
    files = [*(ROOT / "host").rglob("*.py"), *(ROOT / "shared_protocol").rglob("*.py")]
    assert len(files) > 50
    assert {
        str(file): names
        for file in files
        if (names := unguarded(ast.parse(file.read_text("utf-8"))))
    } == {}


@pytest.mark.parametrize(
    ("source", "names"),
    [
        ("import fcntl", ["fcntl"]),
        ("def f():\n    from termios import TCSANOW", ["termios"]),
        ("try:\n    import pwd\nexcept ImportError:\n    pwd = None", []),
        ("try:\n    import pwd\nexcept OSError:\n    import grp", ["pwd", "grp"]),
        ("import select\nselect.select([], [], [])", ["select.select"]),
        ("import os\nos.kill(1, 9)", ["os.kill"]),
        ("importlib.import_module('readline')", ["readline"]),
        ("subprocess.run(x, start_new_session=True)", ["start_new_session"]),
        ("from signal import alarm", ["signal.alarm"]),
    ],
)
def test_what_windows_does_not_have_would_be_seen(source, names):
    assert unguarded(ast.parse(source)) == names
