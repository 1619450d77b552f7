"""``hingeline board selftest``."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import click

from hingeline.bench.client import Board
from hingeline.bench.procedures.selftest import (
    PULSES_US,
    USUAL_PINS,
    LoopBack,
    loop_back,
    wire,
    without_servo,
)
from hingeline.cli import options
from hingeline.cli.benchwork import ask_leave, open_board, told_first
from hingeline.cli.console import Keyboard
from hingeline.cli.output import FAILED, emit, table, tell, wrapped
from hingeline.model.checks import CHANNELS


@click.command("selftest", short_help="Let a board measure its own pulses.")
@click.option(
    "--channel",
    "numbers",
    type=click.IntRange(1, CHANNELS),
    multiple=True,
    metavar="N",
    help="Channel to be measured; may be repeated. Default: 1.",
)
@click.option("--all", "every", is_flag=True, help="Every channel, one after the other.")
@options.port_option
@options.yes_option
@options.json_option
def command(
    numbers: tuple[int, ...], every: bool, port: str | None, yes: bool, as_json: bool
) -> int:
    """Let a board measure its own pulses.

    A wire leads from the servo pin of the channel to the board's measuring pin, and no
    servo hangs on the channel: it gets pulses of 500 to 2500 us, which may ruin one. The
    exit code is 1 when a pulse does not come or is not as it was asked for.

    \b
    Examples:
      hingeline board selftest
      hingeline board selftest --channel 3 --json
    """
    if numbers and every:
        raise click.UsageError("Name --channel or --all, not both.")
    with open_board(port) as board:
        chosen = sorted(set(numbers)) or [1]
        if every:
            chosen = list(range(1, max(1, board.info.channels) + 1))
        told_first(board, [without_servo(number) for number in chosen])
        _say(board, chosen)
        with board.attended():
            ask_leave("was sent", "no servo hangs on these channels", yes=yes)
        results = [_measured(board, number, len(chosen) > 1) for number in chosen]
        name, kind, simulated = board.port, board.info.board, board.simulated
    passed = all(result.passed for result in results)
    figures = {
        "port": name,
        "board": kind,
        "simulated": simulated,
        "pass": passed,
        "channels": [_figures(result) for result in results],
    }
    emit(figures, as_json=as_json, text=_text(kind, results, simulated=simulated))
    return 0 if passed else FAILED


def _say(board: Board, chosen: list[int]) -> None:
    listed = ", ".join(map(str, chosen))
    many = "channels" if len(chosen) > 1 else "channel"
    tell(
        f"On {board.port}, {many} {listed} will give pulses of {PULSES_US[0]} to "
        f"{PULSES_US[-1]} us. Pull the servo off first: such pulses may ruin it."
    )
    if len(chosen) == 1 and not board.simulated:
        tell(_join(board.info.board, chosen[0]))


def _join(kind: str, number: int) -> str:
    first, second = wire(kind, number)
    unless = "; a list of pins of your own counts instead" if kind in USUAL_PINS else ""
    return f"Join {first} and {second} by a wire{unless}."


def _measured(board: Board, number: int, one_of_many: bool) -> LoopBack:
    if one_of_many and not board.simulated:
        with board.attended():
            Keyboard().pause(_join(board.info.board, number))
    return loop_back(board, number)


def _figures(result: LoopBack) -> dict[str, Any]:
    return {
        "channel": result.channel,
        "pass": result.passed,
        "seen": result.seen,
        "allowed_us": result.allowed_us,
        "tick_us": result.tick_us,
        "measuring_step_us": result.step_us,
        "widths": [
            {
                "pulse_us": width.pulse_us,
                "error_us": width.error_us,
                "worst_us": width.worst_us,
                "jitter_us": width.jitter_us,
                "readings": len(width.measured_us),
            }
            for width in result.widths
        ],
    }


def _text(kind: str, results: list[LoopBack], *, simulated: bool) -> Iterator[str]:
    rows = [
        (
            str(result.channel),
            f"{width.pulse_us} us",
            f"{width.error_us:+.3f} us",
            f"{width.worst_us:+.3f} us",
            f"{width.jitter_us:.3f} us",
        )
        for result in results
        for width in result.widths
    ]
    headings = [">channel", ">pulse", ">mean error", ">worst", ">jitter"]
    if rows:
        yield from table(headings, rows).splitlines()
    for result in results:
        if result.seen:
            worst = max(abs(width.worst_us) for width in result.widths)
            verdict = "PASS" if result.passed else "FAIL"
            yield wrapped(
                f"{verdict}: channel {result.channel} is at most {worst:.3f} us off; "
                f"{result.allowed_us:.3f} us may be (half a step of the pulse, and a step of "
                "the measuring pin)."
            )
        else:
            sent = PULSES_US[len(result.widths)]
            yield wrapped(
                f"FAIL: channel {result.channel}: no pulse of {sent} us was seen at the measuring "
                f"pin. {_join(kind, result.channel)} If it is there, the board has another list "
                "of pins, or the pin is dead."
            )
    if simulated:
        yield "The bench is simulated: nothing real was measured."
    else:
        yield "Take the wire off before a servo is plugged in again."
