"""``hingeline board list``."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import click

from hingeline.bench.ports import SIMULATED, Port, candidates
from hingeline.cli import options
from hingeline.cli.board.info import greeting
from hingeline.cli.output import emit, table
from hingeline.errors import BenchError


@click.command("list", short_help="List the ports that may have a board.")
@options.json_option
def command(as_json: bool) -> None:
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
        return {**row, "board": greeting(port.device), "problem": None}
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
