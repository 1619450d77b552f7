"""``hingeline board``."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

import click

from hingeline.bench.client import Board
from hingeline.bench.ports import SIMULATED, Port, candidates, choose
from hingeline.cli import options
from hingeline.cli.benchwork import seed_of
from hingeline.cli.output import emit, table
from hingeline.errors import BenchError


@click.group("board", short_help="Find bench boards and ask what they are.")
def command() -> None:
    """Find bench boards and ask what they are.

    \b
    Example:
      hingeline board list
    """


@command.command("list", short_help="List the ports that may have a board.")
@options.json_option
def list_boards(as_json: bool) -> None:
    """List the ports that may have a board, and what answers on each.

    Only ports with the USB identity of a possible board are spoken to. Nothing moves.

    \b
    Example:
      hingeline board list
    """
    found = [_asked(port) for port in candidates()]
    emit({"ports": found}, as_json=as_json, text=_listed(found))


def _asked(port: Port) -> dict[str, Any]:
    row: dict[str, Any] = {"port": port.device, "usb": port.usb, "likely": port.likely}
    try:
        return {**row, "board": _greeting(port.device), "problem": None}
    except BenchError as error:
        return {**row, "board": None, "problem": error.message}


def _listed(found: list[dict[str, Any]]) -> Iterator[str]:
    if not found:
        yield "No port has the USB identity of a board that can be a bench."
        yield f"Plug a board in, or use the simulated bench with --port {SIMULATED}"
        return
    rows = [
        (
            row["port"],
            row["usb"],
            f"{row['board']['board']}, firmware {row['board']['firmware']}, "
            f"id {row['board']['board_id']}"
            if row["board"]
            else row["problem"],
        )
        for row in found
    ]
    yield from table(["port", "USB identity", "what answers"], rows).splitlines()


@command.command("info", short_help="Ask one board what it is.")
@options.port_option
@options.json_option
def info(port: str | None, as_json: bool) -> None:
    """Ask one board what it is. Nothing moves.

    \b
    Example:
      hingeline board info --port /dev/ttyACM0
    """
    name = choose(port, [] if port else candidates())
    figures = {"port": name, **_greeting(name)}
    emit(figures, as_json=as_json, text=_described(figures))


def _greeting(port: str) -> dict[str, Any]:
    if port.startswith(SIMULATED):
        from hingeline.bench.simulated.transport import SimulatedTransport

        with Board(SimulatedTransport({}, seed_of(port))) as board:
            return asdict(board.info)
    from hingeline.bench.transport import SerialTransport

    with Board(SerialTransport(port)) as board:
        return asdict(board.info)


def _described(figures: dict[str, Any]) -> Iterator[str]:
    yield f"Port           {figures['port']}"
    yield f"Board          {figures['board']}, id {figures['board_id']}"
    yield f"Firmware       {figures['firmware']}, wire version {figures['protocol']}"
    yield f"Channels       {figures['channels']}, {figures['frame_hz']} frames per second"
    yield f"Finest step    {figures['tick_ns'] / 1000:.3f} us"
    boots = f", start {figures['boots']}" if figures["boots"] else ""
    yield f"Last started   {figures['started']}{boots}"
