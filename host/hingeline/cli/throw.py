"""``hingeline throw``."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from hingeline import units
from hingeline.bench.asking import Gauge
from hingeline.bench.procedures.channels import in_use
from hingeline.bench.procedures.throwing import Throw, send_throws
from hingeline.cli import models, noting, options
from hingeline.cli.benchwork import at_bench, channels_of
from hingeline.cli.output import emit, table, wrapped
from hingeline.errors import UnitError
from hingeline.model.schema import Surface
from hingeline.model.throws import in_deg, throw_deg
from hingeline.model.values import decode_throw
from hingeline.model.words import directions, say, split_direction


@click.command("throw", short_help="Send the throws that a model asks for, and measure them.")
@options.model_argument
@click.argument("surfaces", nargs=-1, metavar="[SURFACE]...")
@click.option(
    "--throw",
    "asked",
    multiple=True,
    metavar="'WORD VALUE'",
    help="A throw to send instead of the file's, such as 'up 10 deg'; may be repeated.",
)
@options.gauge_options("deg", "drop", "straight")
@options.moving_options
@options.json_option
def command(
    model: Path,
    surfaces: tuple[str, ...],
    asked: tuple[str, ...],
    gauge: Gauge,
    choices: options.Choices,
    as_json: bool,
) -> None:
    """Send the throws that a model asks for, and measure them.

    Each throw is sent from neutral, worked out through the linkage and the servo's own
    travel curve; you measure where the surface really stands.

    \b
    Examples:
      hingeline throw millrace.toml "left aileron"
      hingeline throw millrace.toml rudder --throw "left 10 deg" --gauge drop
    """
    file = models.load(model)
    chosen = models.surfaces_named(file, surfaces)
    wanted = {surface.name: _wanted(surface, asked) for surface in chosen}
    channels = channels_of(file, chosen)
    results: list[tuple[Surface, bool, list[Throw]]] = []
    with at_bench(choices, "throw", channels, file, doing="go to the throws wanted") as bench:
        settings = [bench.setting(file, surface) for surface in chosen]
        with in_use(bench.board, channels):
            for setting in settings:
                throws = send_throws(
                    bench.board,
                    setting,
                    wanted[setting.surface.name],
                    gauge,
                    bench.asker,
                    noting.surface_note(bench, gauge),
                )
                results.append((setting.surface, setting.measured, throws))
                figures = throw_figures(setting.surface, setting.measured, throws)
                bench.records.note_finding(
                    bench.session_id, "throw", setting.surface.name, figures
                )
    emit(
        {"model": file.model.name, "surfaces": [throw_figures(*result) for result in results]},
        as_json=as_json,
        text=_text(results),
    )


def _wanted(surface: Surface, asked: tuple[str, ...]) -> list[tuple[str, float]]:
    """Return direction words and degrees: those asked for, or else the file's."""
    words = directions(surface)
    if not asked:
        return [(word, throw_deg(surface, word)) for word in words]
    wanted = []
    for text in asked:
        word, value = split_direction(text, words)
        if word is None:
            raise UnitError(
                f"{text!r} does not say which way the {surface.name} should go.",
                mend=f"Write it like '{words[0]} 10 deg'.",
            )
        wanted.append((word, in_deg(surface, decode_throw(value))))
    return wanted


def throw_figures(surface: Surface, measured: bool, throws: list[Throw]) -> dict[str, Any]:
    """Return the throws of a surface as plain figures; sizes in the word's direction."""
    rows = []
    for throw in throws:
        way = 1 if throw.wanted_deg >= 0 else -1
        rows.append(
            {
                "direction": throw.word,
                "pulse_us": throw.pulse_us,
                "wanted_deg": way * throw.wanted_deg,
                "predicted_deg": way * throw.predicted_deg,
                "predicted_deg_u": throw.predicted_u_deg,
                "measured_deg": way * throw.measured_deg,
                "right_way": throw.right_way,
            }
        )
    return {
        "name": surface.name,
        "servo": surface.servo,
        "calibrated": measured,
        "throws": rows,
    }


def _text(results: list[tuple[Surface, bool, list[Throw]]]) -> Iterator[str]:
    rows = []
    wrong = []
    for surface, _, throws in results:
        for throw in throws:
            rows.append(
                (
                    surface.name,
                    throw.word,
                    units.us(throw.pulse_us),
                    units.deg(abs(throw.wanted_deg)),
                    say(surface, throw.predicted_deg),
                    say(surface, throw.measured_deg),
                    f"{_miss(throw):+.1f} deg",
                )
            )
            if not throw.right_way:
                wrong.append(
                    f"WRONG WAY: {surface.name} was sent {throw.word} and went "
                    f"{say(surface, throw.measured_deg)}. Put the rod on the other side of the "
                    "arm, or reverse the channel in the radio; never swap the servo's wires."
                )
    headings = ["surface", "", ">pulse", ">wanted", ">predicted", ">measured", ">off by"]
    yield from table(headings, rows).splitlines()
    yield from map(wrapped, wrong)


def _miss(throw: Throw) -> float:
    """Return how far beyond (positive) or short of what was wanted the surface went."""
    way = 1 if throw.wanted_deg >= 0 else -1
    return way * (throw.measured_deg - throw.wanted_deg) + 0.0
