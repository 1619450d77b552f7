"""``hingeline board info``."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

import click

from hingeline.bench.client import Board
from hingeline.bench.ports import SIMULATED, candidates, choose
from hingeline.cli import options
from hingeline.cli.benchwork import seed_of
from hingeline.cli.output import emit


@click.command("info", short_help="Ask one board what it is.")
@options.port_option
@options.json_option
def command(port: str | None, as_json: bool) -> None:
    """Ask one board what it is. Nothing moves.

    \b
    Example:
      hingeline board info --port /dev/ttyACM0
    """
    name = choose(port, [] if port else candidates())
    figures = {"port": name, **greeting(name)}
    emit(figures, as_json=as_json, text=_described(figures))


def greeting(port: str) -> dict[str, Any]:
    """Return what the board on a port says of itself, as figures.

    Raises
    ------
    BenchError
        When the port cannot be opened, or nothing there answers like a bench board.
    """
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
