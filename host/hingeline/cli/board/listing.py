"""``hingeline board list``."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

import click

from hingeline.bench.identifying import identify, mend, summary
from hingeline.bench.ports import BY_NUMBER, SIMULATED, Port, candidates
from hingeline.cli import options
from hingeline.cli.output import emit, table, wrapped
from hingeline.errors import BenchError


@click.command("list", short_help="List the ports that may have a board.")
@options.json_option
def command(as_json: bool) -> None:
    """List the ports that may have a board, and what answers on each.

    Only ports with the USB identity of a possible board are spoken to. Nothing moves. A bench
    board that is just being worked by its button is stopped: its pulses end. No other program
    is interrupted.

    \b
    Example:
      hingeline board list
    """
    found = [_asked(port) for port in candidates()]
    emit({"ports": found}, as_json=as_json, text=_listed(found))


def _asked(port: Port) -> dict[str, Any]:
    from hingeline.bench.transport import SerialTransport

    row: dict[str, Any] = {"port": port.device, "usb": port.usb, "likely": port.likely}
    try:
        with SerialTransport(port.device) as transport:
            answer = identify(transport)
    except BenchError as error:
        what = error.message.removeprefix(f"{port.device}: ")
        return {**row, "answers": None, "board": None, "what": what, "mend": error.mend}
    return {
        **row,
        "answers": answer.kind,
        "board": asdict(answer.info) if answer.info else None,
        "what": summary(answer),
        "mend": mend(answer, port.device),
    }


def _listed(found: list[dict[str, Any]]) -> Iterator[str]:
    if not found:
        yield "No port has the USB identity of a board that can be a bench."
        yield f"Plug a board in, or use the simulated bench with --port {SIMULATED}"
        return
    rows = [(row["port"], row["usb"], _board(row["board"])) for row in found]
    yield from table(["port", "USB identity", "board"], rows).splitlines()
    if any(row["board"] for row in found):
        yield wrapped(
            f"--port {BY_NUMBER} and a board's id, or how it begins, names that board, "
            "whatever its port is called."
        )
    for row in found:
        yield wrapped(f"{row['port']}: {row['what'].rstrip('.')}.")
        if row["mend"]:
            yield wrapped(f"  Next: {row['mend']}")


def _board(board: dict[str, Any] | None) -> str:
    return f"{board['board']}, id {board['board_id']}" if board else "-"
