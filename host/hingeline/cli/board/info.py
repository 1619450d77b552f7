"""``hingeline board info``."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict

import click

from hingeline.bench.greeting import BoardInfo
from hingeline.bench.identifying import Answer, mend, summary
from hingeline.bench.ports import BY_NUMBER, SIMULATED
from hingeline.cli import options
from hingeline.cli.benchwork import open_board
from hingeline.cli.output import emit, wrapped

_SETTINGS = {
    "usual": "the usual ones; nothing was kept on the board",
    "kept": "as kept on the board",
    "damaged": "the usual ones for the board, none for its button: what was kept is damaged",
}


@click.command("info", short_help="Ask one board what it is.")
@options.port_option
@options.json_option
def command(port: str | None, as_json: bool) -> None:
    """Ask one board what it is.

    Nothing moves. A board that is just being worked by its button is stopped: its pulses end.

    \b
    Example:
      hingeline board info --port /dev/ttyACM0
    """
    with open_board(port) as board:
        name, info = board.port, board.info
    emit({"port": name, **asdict(info)}, as_json=as_json, text=_described(name, info))


def _described(port: str, info: BoardInfo) -> Iterator[str]:
    answer = Answer("firmware", info, info.protocol)
    yield f"Port           {port}"
    yield f"Board          {info.board}, id {info.board_id}"
    if not port.startswith(SIMULATED):
        yield f"Named by       --port {BY_NUMBER}{info.board_id}"
    yield f"Firmware       {info.firmware}, wire version {info.protocol}"
    yield f"Channels       {info.channels}, {info.frame_hz} frames per second"
    yield f"Finest step    {info.tick_ns / 1000:.3f} us"
    boots = f", start {info.boots}" if info.boots else ""
    yield f"Last started   {info.started}{boots}"
    if info.free_bytes is not None:
        yield f"Free memory    {info.free_bytes / 1000:.0f} kB"
    yield f"Settings       {_SETTINGS[info.settings]}"
    if info.rail_mv is not None:
        yield f"Servo supply   {info.rail_mv / 1000:.2f} V"
    if mend(answer, port):
        yield wrapped(f"{summary(answer)}.")
        yield wrapped(f"  Next: {mend(answer, port)}")
