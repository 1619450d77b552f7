"""Draw the wiring of the board: servos and their supply, and what else can be fitted.

Run from the folder of the clone, after a change of pins or parts::

    python -m hardware.draw_wiring
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from benchboard.boards import Board, board_named
from hardware.sheet import GREY, INK, PENS, SMALL_PT, TITLE_PT, Point, Sheet

HERE = Path(__file__).parent
PULL_DOWN, SERIES, UPPER, LOWER = "4.7 kΩ", "470 Ω", "20 kΩ", "10 kΩ"
EDGE = 2.3  # the side of the board on which its pins are drawn


def wiring(board: Board) -> Sheet:
    """Return the drawing of servos and supply."""
    sheet = Sheet(10.0, 9.9)
    sheet.words((0.4, 9.56), "Servos, supply and common ground", TITLE_PT, weight="bold")
    sheet.words(
        (0.4, 9.28),
        "One servo or up to eight, every channel wired alike. A dot joins, a crossing does not.",
        color=GREY,
    )
    sheet.box((0.4, 1.9), EDGE - 0.4, 7.1)
    _title(sheet, 8.75)
    rows = [
        _channel(sheet, number, gpio, 8.45 - 0.74 * (number - 1))
        for number, gpio in enumerate(board.gpios, 1)
    ]
    _supply(sheet, [plus for plus, _ in rows], [minus for _, minus in rows])
    _lead(sheet)
    return sheet


def panel(board: Board) -> Sheet:
    """Return the drawing of what can be fitted besides servos."""
    sheet = Sheet(10.0, 7.4)
    sheet.words((0.4, 7.06), "Button, knob, supply divider and self test", TITLE_PT, weight="bold")
    sheet.words((0.4, 6.78), "All of it may be left out.", color=GREY)
    sheet.box((0.4, 0.5), EDGE - 0.4, 6.0)
    _title(sheet, 6.25)
    sheet.words((0.55, 5.6), "its own light", SMALL_PT, color=GREY, zorder=4)
    sheet.words((0.55, 5.42), "is the panel's", SMALL_PT, color=GREY, zorder=4)
    _knob(sheet, board)
    _divider(sheet, board)
    _button(sheet, board)
    start = _pin(sheet, "GND", 1.95)
    end = sheet.pin("supply minus", (7.0, 1.95))
    sheet.wire("minus", start, (2.75, 1.95), end)
    sheet.wire("ground", (2.75, 1.95), (2.75, 1.85))
    sheet.ground((2.75, 1.85))
    _notes(sheet, (7.12, 1.95), "minus of the servos' supply:", "the common ground")
    start, end = _pin(sheet, _gp(board.gpios[0]), 1.35), _pin(sheet, _gp(board.probe_gpio), 0.8)
    sheet.wire("jumper", start, (3.1, 1.35), (3.1, 0.8), end)
    _notes(
        sheet,
        (3.3, 1.25),
        "jumper for the self test of channel 1; take its servo off.",
        "Another channel: from that channel's pin instead.",
        "Off again afterwards.",
    )
    return sheet


def _gp(gpio: int | None) -> str:
    return f"GP{gpio}"


def _title(sheet: Sheet, y: float) -> None:
    sheet.words((0.55, y), "board", weight="bold", zorder=4)
    for n, text in enumerate(("RP2040 or RP2350,", "fed through USB")):
        sheet.words((0.55, y - 0.21 - 0.18 * n), text, SMALL_PT, color=GREY, zorder=4)


def _notes(sheet: Sheet, at: Point, *lines: str) -> None:
    for n, line in enumerate(lines):
        sheet.words((at[0], at[1] - 0.2 * n), line, color=GREY if n else INK)


def _pin(sheet: Sheet, name: str, y: float, **how: Any) -> Point:
    sheet.words((EDGE - 0.08, y), name, ha="right", zorder=4, **how)
    return sheet.pin(f"board {name}", (EDGE, y))


def _channel(sheet: Sheet, number: int, gpio: int, y: float) -> tuple[Point, Point]:
    """Draw one channel; return where its servo meets the plus and the minus of the supply."""
    node, near, far = (2.75, y), (3.35, y), (4.05, y)
    sheet.wire("signal", _pin(sheet, _gp(gpio), y), node, near)
    top, foot = (2.75, y - 0.11), (2.75, y - 0.41)
    sheet.wire("signal", node, top)
    sheet.block(f"pull-down {number}", top, foot)
    sheet.ground(foot)
    sheet.words((2.92, y - 0.26), PULL_DOWN, SMALL_PT)
    sheet.block(f"series {number}", near, far, SERIES)
    sheet.box((5.0, y - 0.27), 1.75, 0.54)
    sheet.wire("signal", far, sheet.pin(f"servo {number} signal", (5.0, y)))
    sheet.words((5.87, y), f"servo {number}", ha="center", weight="bold", zorder=4)
    sheet.words((5.06, y), "S", SMALL_PT, zorder=4)
    plus, minus = (7.3, y + 0.14), (7.9, y - 0.14)
    for name, sign, tap in (("plus", "+", plus), ("minus", "−", minus)):
        at = sheet.pin(f"servo {number} {name}", (6.75, tap[1]))
        sheet.words((6.69, tap[1]), sign, ha="right", zorder=4)
        sheet.wire(name, at, tap)
    return plus, minus


def _supply(sheet: Sheet, plus: list[Point], minus: list[Point]) -> None:
    """Draw the supply with its fuse and capacitor, and the wire that makes the ground common."""
    sheet.wire("minus", _pin(sheet, "GND", 2.62, weight="bold"), (2.75, 2.62), (7.9, 2.62))
    sheet.wire("ground", (2.75, 2.62), (2.75, 2.5))
    sheet.ground((2.75, 2.5))
    sheet.words((3.1, 2.42), "COMMON GROUND: never leave this wire out", weight="bold")
    _pin(sheet, "5 V of USB", 2.12)
    sheet.line((EDGE, 2.12), (2.55, 2.12), **PENS["plus"])
    for sign in (1, -1):
        sheet.line((2.67, 2.12 - 0.08 * sign), (2.83, 2.12 + 0.08 * sign), linewidth=2.2)
    sheet.words((3.1, 2.12), "goes to no servo, ever", color=GREY)
    sheet.wire("plus", *plus, (7.3, 1.98), (7.3, 1.75))
    sheet.wire("minus", *minus, (7.9, 2.62), (7.9, 1.98), (7.9, 1.2))
    sheet.capacitor("bulk capacitor", (7.3, 1.98), (7.9, 1.98), polar=True)
    for n, text in enumerate(("capacitor: 1000 µF,", "10 V or more, its", "stripe to minus")):
        sheet.words((8.12, 2.12 - 0.18 * n), text, SMALL_PT)
    sheet.block("fuse", (7.3, 1.75), (7.3, 1.4))
    sheet.words((7.12, 1.57), "fuse", SMALL_PT, ha="right")
    sheet.wire("plus", (7.3, 1.4), sheet.pin("supply plus", (7.3, 1.2)))
    sheet.pin("supply minus", (7.9, 1.2))
    sheet.box((6.4, 0.4), 3.2, 0.8)
    sheet.words((7.3, 1.06), "+", ha="center", zorder=4)
    sheet.words((7.9, 1.06), "−", ha="center", zorder=4)
    sheet.words((8.0, 0.8), "supply of the servos", ha="center", weight="bold", zorder=4)
    sheet.words(
        (8.0, 0.57), "5 to 6 V, as the servo's sheet says", SMALL_PT, ha="center", zorder=4
    )
    for y, name in ((8.59, "plus"), (8.31, "minus")):
        sheet.words((8.12, y), f"{name} of the supply", SMALL_PT, color=PENS[name]["color"])
    for n, text in enumerate(("both of thick wire,", "kept short")):
        sheet.words((8.12, 8.05 - 0.18 * n), text, SMALL_PT, color=GREY)
    sheet.words((4.52, 8.6), "3.3 V", SMALL_PT, ha="center", color=GREY)


def _lead(sheet: Sheet) -> None:
    """Draw what the three wires of a servo are called and coloured."""
    sheet.words((0.4, 1.54), "The servo's lead (S, +, −)", weight="bold")
    rows = (
        ("signal", "S", "signal: white, yellow or orange"),
        ("plus", "+", "plus: red, in the middle"),
        ("minus", "−", "minus: black or brown"),
    )
    sheet.box((0.4, 0.46), 0.4, 0.92)
    for n, (kind, sign, text) in enumerate(rows):
        y = 1.22 - 0.3 * n
        sheet.words((0.6, y), sign, ha="center", zorder=4)
        sheet.line((0.8, y), (1.5, y), **PENS[kind])
        sheet.words((1.62, y), text)
    sheet.words((0.4, 0.24), "Order and colours vary by maker: look at the sheet.", color=GREY)


def _knob(sheet: Sheet, board: Board) -> None:
    top, foot, wiper = (4.2, 5.65), (4.2, 4.95), sheet.pin("knob wiper", (4.115, 5.3))
    sheet.wire("signal", _pin(sheet, "3V3", 5.9), (4.2, 5.9), top)
    sheet.wire("signal", _pin(sheet, _gp(board.knob_gpio), 5.3), wiper)
    sheet.line((4.0, 5.36), wiper, (4.0, 5.24), color=PENS["signal"]["color"])
    sheet.block("knob", top, foot)
    sheet.ground(foot)
    _notes(
        sheet,
        (4.6, 5.5),
        "knob: 10 kΩ, linear",
        "3V3 is the board's own 3.3 V output,",
        "never the servos' supply",
    )


def _divider(sheet: Sheet, board: Board) -> None:
    near, node = (3.1, 4.3), (4.2, 4.3)
    sheet.wire("signal", _pin(sheet, _gp(board.rail_gpio), 4.3), near, node, (5.0, 4.3))
    sheet.block("upper", (5.0, 4.3), (5.7, 4.3), UPPER)
    sheet.wire("plus", (5.7, 4.3), sheet.pin("supply plus", (7.0, 4.3)))
    sheet.wire("signal", node, (4.2, 4.18))
    sheet.block("lower", (4.2, 4.18), (4.2, 3.68))
    sheet.words((4.36, 3.93), LOWER, SMALL_PT)
    sheet.ground((4.2, 3.68))
    sheet.capacitor("smoothing", near, (3.1, 3.68))
    sheet.words((3.32, 3.86), "100 nF", SMALL_PT)
    sheet.ground((3.1, 3.68))
    _notes(sheet, (7.12, 4.3), "plus of the servos' supply,", "behind the fuse")
    _notes(sheet, (5.2, 3.86), "supply divider: full reading at 9.9 V")


def _button(sheet: Sheet, board: Board) -> None:
    y = 2.75
    left, right = (3.6, y), (4.2, y)
    sheet.wire("signal", _pin(sheet, _gp(board.button_gpio), y), left)
    sheet.parts["button"] = (left, right)
    sheet.line(left, (4.16, y + 0.2))
    for x, _ in (left, right):
        sheet.line((x, y), marker="o", markersize=5, markerfacecolor="white", zorder=6)
    sheet.wire("ground", right, (4.6, y), (4.6, y - 0.12))
    sheet.ground((4.6, y - 0.12))
    _notes(
        sheet,
        (5.2, y + 0.12),
        "button: closes to ground",
        "Held down while power comes on, it keeps",
        "the program from starting.",
    )


def main() -> int:
    """Write the drawings beside this file."""
    board = board_named("rp2040")
    for name, draw in (("wiring", wiring), ("panel", panel)):
        draw(board).save(HERE / f"{name}.svg")
    return 0


if __name__ == "__main__":
    sys.exit(main())
