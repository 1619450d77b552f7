"""``hingeline board install``."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import click

from hingeline.bench.installing.contents import PINS
from hingeline.bench.installing.firmware import FOLDERS, MAIN, Payload, compiled, sources, version
from hingeline.bench.installing.pins import read_pins, same_output_on_rp2
from hingeline.bench.installing.procedure import Installed, install
from hingeline.bench.ports import SIMULATED, candidates, choose
from hingeline.cli import options
from hingeline.cli.console import confirmed
from hingeline.cli.output import emit, tell, wrapped
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
    is compared, and the board is started. Settings, list of pins and files of your own stay,
    except in the folders benchboard and shared_protocol: what is not of this firmware there is
    named and removed. A main.py of your own is kept as main-before.py.

    A board that runs this firmware already is greeted before you are asked: that ends its
    pulses, also those of its button. Take the arms off first: a servo may jump when its pulses
    stop or begin.

    \b
    Example:
      hingeline board install
    """
    pins = read_pins(pins_path) if pins_path else None
    files = sources()
    if folder is not None:
        payload = Payload(files, why_sources="asked for") if as_sources else compiled(files)
        written = {**({PINS: pins} if pins is not None else {}), **payload.files}
        remark = same_output_on_rp2(pins) if pins is not None else ""
        _write(folder, written)
        figures = {"folder": str(folder), **_figures(payload, written), "remark": remark or None}
        emit(figures, as_json=as_json, text=_written(folder, payload, written, remark))
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


def _write(folder: Path, files: Mapping[str, bytes]) -> None:
    try:
        folder.mkdir(parents=True)
    except FileExistsError:
        raise BenchError(
            f"{folder}: is there already; it was left as it is.", mend="Name a new folder."
        ) from None
    for path, data in files.items():
        file = folder / path
        file.parent.mkdir(exist_ok=True)
        file.write_bytes(data)


def _figures(payload: Payload, files: Mapping[str, bytes]) -> dict[str, Any]:
    return {
        "firmware": version(),
        "compiled": bool(payload.bytecode),
        "bytecode": payload.bytecode or None,
        "files": {path: len(data) for path, data in files.items()},
        "bytes": sum(map(len, files.values())),
    }


def _written(
    folder: Path, payload: Payload, files: Mapping[str, bytes], remark: str
) -> Iterator[str]:
    yield f"{folder}: firmware {version()}, {_counted(files)}"
    if PINS in files:
        yield f"{PINS} is among them."
    if payload.bytecode:
        yield wrapped(
            f"Compiled for MicroPython that takes version {payload.bytecode} of its bytecode; "
            "for others: --sources"
        )
    else:
        yield wrapped(f"Sources, with which the board starts slower: {payload.why_sources}.")
    if remark:
        yield wrapped(remark)
    yield wrapped(
        f"Copy everything to the top of the board's store, {MAIN} last. With mpremote, the board "
        "at its prompt and no other firmware in its folders "
        f"{' and '.join(sorted(FOLDERS))}:"
    )
    yield f"  mpremote fs cp -r {' '.join(_quoted(folder / name) for name in FOLDERS)} :"
    yield f"  mpremote fs cp {' '.join(_quoted(folder / n) for n in files if '/' not in n)} :"
    yield "  mpremote reset"


def _quoted(path: Path) -> str:
    return f'"{path}"' if " " in str(path) else str(path)


def _counted(files: Mapping[str, bytes]) -> str:
    return f"{len(files)} files, {sum(map(len, files.values())) / 1000:.1f} kB"


def _done_figures(done: Installed) -> dict[str, Any]:
    info = done.info
    return {
        "port": done.port,
        "board": info.board,
        "board_id": info.board_id,
        "machine": done.machine,
        "micropython": done.micropython,
        **_figures(done.payload, done.payload.files),
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
    yield f"Firmware       {info.firmware}, {_counted(done.payload.files)}" + (
        ", compiled" if done.payload.bytecode else ", sources"
    )
    yield f"Copied         {written} files; {done.plan.unchanged} were there" + (
        f"; {removed} old ones removed" if removed else ""
    )
    if done.plan.keep_main:
        yield f"Kept           the program that started before, as {done.plan.keep_main}"
    if done.plan.strays:
        yield wrapped(f"Removed        {', '.join(done.plan.strays)}")
    if info.free_bytes is not None:
        yield f"Free memory    {info.free_bytes / 1000:.0f} kB"
    if info.channels:
        yield f"Channels       {info.channels}"
    else:
        yield "Channels       none: the firmware knows no pins for this board."
        yield "Next: say which pins to use: hingeline board install --pins pins.json"
