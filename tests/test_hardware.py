"""The hardware pages and drawings are true to the firmware, and the wiring to its own rules."""

import json
import math
import re
import shlex
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest

from benchboard import boards, guard, panel, settings
from hardware import draw_wiring
from hardware.sheet import Sheet
from shared_protocol.table import CLASSES

ROOT = Path(__file__).parents[1]
HARDWARE = ROOT / "hardware"
README = (HARDWARE / "README.md").read_text("utf-8")
FIRMWARE = (ROOT / "firmware" / "README.md").read_text("utf-8")
PAGES = [*sorted(HARDWARE.glob("*.md")), ROOT / "firmware" / "README.md"]
DRAWINGS = {"wiring": draw_wiring.wiring, "panel": draw_wiring.panel}
SVG = "{http://www.w3.org/2000/svg}"


def rows(text, heading):
    """Return the cells of the first table under a heading, its two head lines left out."""
    under = text.split(heading, 1)[1]
    table = re.search(r"(?:^\|.*\n)+", under, re.MULTILINE).group()
    return [
        [cell.strip() for cell in line.strip("|").split("|")] for line in table.splitlines()[2:]
    ]


# ---- drawings


def drawn(path):
    """Return every text of a drawing, and the numbers of every stroke."""
    root = ElementTree.parse(path).getroot()
    texts = ["".join(element.itertext()).strip() for element in root.iter(f"{SVG}text")]
    strokes = [
        [float(number) for number in re.findall(r"-?\d+\.?\d*", stroke.get("d"))]
        for stroke in root.iter(f"{SVG}path")
    ]
    return texts, strokes


@pytest.mark.parametrize("name", DRAWINGS)
@pytest.mark.parametrize("board", ["rp2040", "rp2350"])
def test_the_drawing_kept_is_the_one_that_is_drawn(name, board, tmp_path):
    made = tmp_path / "made.svg"
    DRAWINGS[name](boards.board_named(board)).save(made)
    texts, strokes = drawn(HARDWARE / f"{name}.svg")
    texts_now, strokes_now = drawn(made)
    assert len(texts) > 15
    assert len(strokes) > 40
    assert texts == texts_now, "run: python -m hardware.draw_wiring"
    assert len(strokes) == len(strokes_now)
    for kept, now in zip(strokes, strokes_now, strict=True):
        assert kept == pytest.approx(now, abs=0.2)


def test_the_same_drawing_gives_the_same_file(tmp_path):
    for name in ("one.svg", "two.svg"):
        draw_wiring.wiring(boards.board_named("rp2040")).save(tmp_path / name)
    assert (tmp_path / "one.svg").read_bytes() == (tmp_path / "two.svg").read_bytes()


def test_the_drawings_name_the_pins_of_the_table_of_boards():
    row = boards.board_named("rp2040")
    texts = set(drawn(HARDWARE / "wiring.svg")[0]) | set(drawn(HARDWARE / "panel.svg")[0])
    others = (row.button_gpio, row.knob_gpio, row.rail_gpio, row.probe_gpio)
    assert {text for text in texts if re.fullmatch(r"GP\d+", text)} == {
        f"GP{gpio}" for gpio in (*row.gpios, *others)
    }


# ---- what is joined to what


def net_of(sheet, name):
    (net,) = [net for net in sheet.nets() if name in net]
    return net


@pytest.fixture(scope="module")
def wiring():
    return draw_wiring.wiring(boards.board_named("rp2040"))


@pytest.fixture(scope="module")
def fitted():
    return draw_wiring.panel(boards.board_named("rp2040"))


def test_all_grounds_are_one(wiring):
    ground = net_of(wiring, "board GND")
    assert "supply minus" in ground
    for number in range(1, 9):
        assert f"servo {number} minus" in ground
        assert f"pull-down {number}/2" in ground


def test_plus_comes_from_the_supply_through_the_fuse_and_never_from_the_board(wiring):
    behind = net_of(wiring, "servo 1 plus")
    assert behind == {f"servo {n} plus" for n in range(1, 9)} | {"fuse/1", "bulk capacitor/1"}
    assert net_of(wiring, "supply plus") == {"supply plus", "fuse/2"}
    assert "board 5 V of USB" in wiring.pins
    assert not [net for net in wiring.nets() if "board 5 V of USB" in net and len(net) > 1]


def test_each_signal_goes_from_its_pin_through_its_resistor_to_its_servo(wiring):
    for number, gpio in enumerate(boards.board_named("rp2040").gpios, 1):
        start = {f"board GP{gpio}", f"series {number}/1", f"pull-down {number}/1"}
        assert net_of(wiring, f"board GP{gpio}") == start
        end = {f"series {number}/2", f"servo {number} signal"}
        assert net_of(wiring, f"servo {number} signal") == end


def test_what_is_fitted_is_joined_as_the_firmware_expects(fitted):
    row = boards.board_named("rp2040")
    ground = net_of(fitted, "board GND")
    assert {"supply minus", "lower/2", "smoothing/2", "knob/2", "button/2"} <= ground
    button = {f"board GP{row.button_gpio}", "button/1"}
    assert net_of(fitted, f"board GP{row.button_gpio}") == button
    assert net_of(fitted, "knob wiper") == {"knob wiper", f"board GP{row.knob_gpio}"}
    assert net_of(fitted, "knob/1") == {"knob/1", "board 3V3"}
    divider = {f"board GP{row.rail_gpio}", "upper/1", "lower/1", "smoothing/1"}
    assert net_of(fitted, f"board GP{row.rail_gpio}") == divider
    assert net_of(fitted, "supply plus") == {"supply plus", "upper/2"}
    jumper = {f"board GP{row.gpios[0]}", f"board GP{row.probe_gpio}"}
    assert net_of(fitted, f"board GP{row.probe_gpio}") == jumper


def test_a_wire_that_crosses_another_does_not_join_it():
    sheet = Sheet(4.0, 4.0)
    sheet.wire("plus", sheet.pin("a", (1.0, 2.0)), sheet.pin("b", (3.0, 2.0)))
    sheet.wire("minus", sheet.pin("c", (2.0, 1.0)), sheet.pin("d", (2.0, 3.0)))
    assert sorted(sorted(net) for net in sheet.nets()) == [["a", "b"], ["c", "d"]]
    assert sheet.joints() == []
    sheet.wire("signal", (1.0, 2.0), (2.0, 1.0))
    sheet.wire("signal", (1.0, 2.0), (0.5, 0.5))
    assert sorted(sorted(net) for net in sheet.nets()) == [["a", "b", "c", "d"]]
    assert sheet.joints() == [(1.0, 2.0)]


# ---- the page


def test_the_first_line_of_the_wiring_is_the_common_ground():
    first = README.split("## Wiring\n\n", 1)[1].split("\n\n")[0]
    assert first.startswith("**Common ground first")
    assert README.index("## Wiring") < README.index("wiring.svg") < README.index("## Parts")


@pytest.mark.parametrize(
    ("column", "names", "sign"), [(1, ("rp2040", "rp2350"), "GP"), (2, ("esp32",), "GPIO")]
)
def test_the_table_of_pins_is_the_table_of_boards(column, names, sign):
    table = {cells[0]: cells[column] for cells in rows(README, "## Wiring")}
    for name in names:
        row = boards.board_named(name)
        want = {str(n): f"{sign}{gpio}" for n, gpio in enumerate(row.gpios, 1)}
        want["light"] = "its own (LED)" if row.light == "LED" else f"{sign}{row.light}"
        for key, gpio in (
            ("button", row.button_gpio),
            ("knob", row.knob_gpio),
            ("supply divider", row.rail_gpio),
            ("measuring pin", row.probe_gpio),
        ):
            want[key] = f"{sign}{gpio}"
        assert table == want


def test_the_list_of_pins_shown_is_accepted():
    shown = json.loads(re.search(r"```json\n(.*?)```", README, re.DOTALL).group(1))
    for name in ("generic", "rp2040", "rp2350"):
        row = boards.with_pins(boards.board_named(name), shown)
        boards.check_pins(row)
        assert row.gpios == tuple(shown["gpios"])
        assert (row.button_gpio, row.light) == (shown["button"], shown["light"])
        assert (row.knob_gpio, row.rail_gpio, row.probe_gpio) == (None, None, None)


def test_the_light_says_what_the_page_says():
    table = rows(README, "### What the light says")
    assert [(name, text) for name, _, text in table] == [
        (name, text) for name, _, text in panel.LIGHTS
    ]
    for (_, shown, _), (_, pattern, _) in zip(table, panel.LIGHTS, strict=True):
        parts = [f"{ms} {('on', 'off')[n % 2]}" for n, ms in enumerate(pattern) if ms]
        assert shown == (", ".join(parts) if len(parts) > 1 else "on")


def test_the_times_on_the_page_are_the_firmware_s():
    app = (ROOT / "firmware" / "benchboard" / "app.py").read_text("utf-8")
    watchdog_ms = int(re.search(r"^WATCHDOG_MS = (\d+)", app, re.MULTILINE).group(1))
    assert [cells[1] for cells in rows(README, "## What the board does by itself")] == [
        f"{settings.USUAL['hold_ms'] / 1000:g} s",
        f"{settings.USUAL['off_ms'] / 1000:g} s",
        f"{guard.STAGGER_MS} ms",
        f"{guard.RAIL_LOW_MS} ms",
        f"{panel.LONG_MS / 1000:g} s",
        f"{watchdog_ms / 1000:g} s",
    ]


def test_the_usual_settings_on_the_page_are_the_firmware_s():
    words = " ".join(README.split())
    usual = {key: value // 1000 for key, value in settings.USUAL_CHANNEL.items()}
    assert f"pulses from {usual['low_ns']} to {usual['high_ns']} µs" in words
    assert f"centre {usual['centre_ns']} µs" in words
    assert f"in {settings.USUAL['period_ms'] / 1000:g} s unless set otherwise" in words
    assert f"frame rate** is {settings.USUAL['frame_hz']} Hz" in words
    assert f"{1e6 / 50 / 2**16:.1f} µs, in 12 bits of {1e6 / 50 / 2**12:.1f} µs" in words


def test_the_settings_on_the_pages_can_be_made(tmp_path):
    found = re.findall(r"hingeline (board settings --[^`\n]+)", README + FIRMWARE)
    assert len(found) >= 5
    run = [sys.executable, "-c", "from hingeline.cli.entry import main; main()"]
    subprocess.run([*run, "new", "millrace.toml"], cwd=tmp_path, check=True, capture_output=True)
    for line in found:
        done = subprocess.run(
            [*run, *shlex.split(line), "--port", "sim:", "--yes"],
            cwd=tmp_path,
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        assert done.returncode == 0, (line, done.stderr)


def test_the_classes_on_the_page_are_the_table_s():
    for _, name, low_ns, high_ns in CLASSES:
        assert f"{low_ns // 1000} to {high_ns // 1000} µs for {name}" in " ".join(README.split())


def test_the_sums_on_the_page_are_right():
    for upper, lower, full, at_six, _ in rows(README, "**Supply divider**"):
        r1, r2 = (float(cell.removesuffix(" kΩ")) for cell in (upper, lower))
        assert full == f"{3.3 * (r1 + r2) / r2:.1f} V"
        assert at_six == f"{6.0 * r2 / (r1 + r2):.1f} V"
    assert f"4 × 0.9 = {4 * 0.9:.1f} A" in README
    assert f"6 V / 470 Ω = {6 / 470 * 1000:.0f} mA" in README
    assert f"{4 * 0.0002 / 0.8:.3f} F: 1000 µF" in README
    assert f"{0.0172 / 0.5:.3f} Ω a metre" in README
    assert f"4 A costs {4 * 0.0172 / 0.5:.2f} V" in README
    jig = (HARDWARE / "jig.md").read_text("utf-8")
    for off, *errors in rows(jig, "**Centre the protractor"):
        for radius_mm, error in zip((30, 60, 100), errors, strict=True):
            off_mm = float(off.removesuffix(" mm"))
            assert error == f"{math.degrees(math.asin(off_mm / radius_mm)):.1f}°"


def test_the_parts_drawn_are_the_parts_listed():
    parts = " ".join(cells[0] for cells in rows(README, "## Parts"))
    ours = (draw_wiring.PULL_DOWN, draw_wiring.SERIES, draw_wiring.UPPER, draw_wiring.LOWER)
    for value in ours:
        assert value in parts


# ---- the firmware's page


def test_every_file_of_the_firmware_stands_on_its_page():
    listed = set(re.findall(r"`([\w/]+\.py)`", FIRMWARE.split("## What is where", 1)[1]))
    there = {
        str(file.relative_to(ROOT / "firmware"))
        for file in (ROOT / "firmware").rglob("*.py")
        if file.name != "__init__.py"
    }
    assert listed == there


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_linked_files_exist(page):
    for target in re.findall(r"\]\(([^)#:]+)[^)]*\)", page.read_text("utf-8")):
        assert (page.parent / target).exists(), target
