"""``hingeline board install``."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from hingeline.bench.installing.contents import PINS
from hingeline.bench.installing.firmware import Payload, compiled, sources, version
from hingeline.bench.installing.pins import read_pins
from hingeline.bench.installing.procedure import Installed, install
from hingeline.bench.ports import SIMULATED, candidates, choose
from hingeline.cli import options
from hingeline.cli.console import confirmed
from hingeline.cli.output import emit, tell
from hingeline.errors import BenchError


@click.command("install", short_help="Put the firmware on a board.")
@options.port_option
@click.option(
    "--into",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    help="Write the files into this new folder instead, to be copied by other means.",
)
@click.option(
    "--pins",
    "pins_path",
    type=click.Path(path_type=Path, dir_okay=False),
    help="List of pins for the board, as JSON; needed for boards unknown to the firmware.",
)
@click.option(
    "--sources", "as_sources", is_flag=True, help="Copy the sources, not compiled files."
)
@click.option("--yes", is_flag=True, help="Do not ask before the board's program is replaced.")
@options.json_option
def command(
    port: str | None,
    folder: Path | None,
    pins_path: Path | None,
    as_sources: bool,
    yes: bool,
    as_json: bool,
) -> None:
    """Put the firmware on a board, or renew it.

    The board needs MicroPython for its chip. Only what differs is copied, every file's checksum
    is compared, and the board is started. Your settings, list of pins and other files stay.
    Pulses stop; nothing moves. Take the arms off all the same: a servo may jump when its pulses
    stop or begin.

    \b
    Example:
      hingeline board install
    """
    pins = read_pins(pins_path) if pins_path else None
    files = sources()
    if folder is not None:
        payload = Payload(files, why_sources="asked for") if as_sources else compiled(files)
        _write(folder, payload, pins)
        figures = {"folder": str(folder), **_figures(payload)}
        emit(figures, as_json=as_json, text=_written(folder, payload))
        return
    name = choose(port, [] if port else candidates())
    if name.startswith(SIMULATED):
        raise BenchError(
            "the simulated bench runs the firmware of this Hingeline already.",
            mend="Name the port of a board with --port; see: hingeline board list",
        )

    def agree(intention: str) -> bool:
        tell(intention)
        return yes or confirmed("Go on?")

    done = install(name, files, as_sources=as_sources, pins=pins, tell=tell, agree=agree)
    emit(_done_figures(done), as_json=as_json, text=_done(done))


def _write(folder: Path, payload: Payload, pins: bytes | None) -> None:
    try:
        folder.mkdir(parents=True)
    except FileExistsError:
        raise BenchError(
            f"{folder}: is there already; it was left as it is.", mend="Name a new folder."
        ) from None
    for path, data in {**({PINS: pins} if pins is not None else {}), **payload.files}.items():
        file = folder / path
        file.parent.mkdir(exist_ok=True)
        file.write_bytes(data)


def _figures(payload: Payload) -> dict[str, Any]:
    return {
        "firmware": version(),
        "compiled": bool(payload.bytecode),
        "bytecode": payload.bytecode or None,
        "files": {path: len(data) for path, data in payload.files.items()},
        "bytes": sum(map(len, payload.files.values())),
    }


def _written(folder: Path, payload: Payload) -> Iterator[str]:
    yield f"{folder}: firmware {version()}, {_counted(payload)}"
    if payload.bytecode:
        yield (
            f"Compiled for MicroPython that takes version {payload.bytecode} of its bytecode; "
            "for others: --sources"
        )
    else:
        yield f"Sources, with which the board starts slower: {payload.why_sources}."
    yield "Copy everything to the top of the board's store, main.py last, and start the board."


def _counted(payload: Payload) -> str:
    size = sum(map(len, payload.files.values()))
    return f"{len(payload.files)} files, {size / 1000:.1f} kB"


def _done_figures(done: Installed) -> dict[str, Any]:
    info = done.info
    return {
        "port": done.port,
        "board": info.board,
        "board_id": info.board_id,
        "machine": done.machine,
        "micropython": done.micropython,
        **_figures(done.payload),
        "copied": list(done.plan.copy),
        "removed": done.plan.remove,
        "main_kept_as": done.plan.keep_main or None,
        "channels": info.channels,
        "free_bytes": info.free_bytes,
    }


def _done(done: Installed) -> Iterator[str]:
    info = done.info
    written, removed = len(done.plan.copy), len(done.plan.remove)
    yield f"Port           {done.port}"
    yield f"Board          {info.board}, id {info.board_id}; {done.machine or 'not named'}"
    yield f"MicroPython    {done.micropython}"
    yield f"Firmware       {info.firmware}, {_counted(done.payload)}" + (
        ", compiled" if done.payload.bytecode else ", sources"
    )
    yield f"Copied         {written} files; {done.plan.unchanged} were there" + (
        f"; {removed} old ones removed" if removed else ""
    )
    if done.plan.keep_main:
        yield f"Kept           the program that started before, as {done.plan.keep_main}"
    if info.free_bytes is not None:
        yield f"Free memory    {info.free_bytes / 1000:.0f} kB"
    if info.channels:
        yield f"Channels       {info.channels}"
    else:
        yield "Channels       none: the firmware knows no pins for this board."
        yield "Next: say which pins to use: hingeline board install --pins pins.json"
