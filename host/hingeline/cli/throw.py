"""``hingeline throw``."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from hingeline import kinds, units
from hingeline.bench.asking import Gauge
from hingeline.bench.procedures.channels import in_use
from hingeline.bench.procedures.throwing import Throw, send_throws
from hingeline.bench.readings import reading_u_deg
from hingeline.cli import models, noting, options
from hingeline.cli.benchwork import at_bench, channels_of
from hingeline.cli.output import FAILED, emit, table, wrapped
from hingeline.errors import UnitError
from hingeline.linkage.estimate import Diagnosis
from hingeline.model.schema import Surface
from hingeline.model.throws import in_deg, throw_deg
from hingeline.model.values import decode_throw
from hingeline.model.words import directions, say, split_direction, word_of
from hingeline.travel.setting import Setting
from hingeline.travel.unevenness import Seen, Unevenness, built_otherwise, unevenness

#: Less than this is no movement that a gauge would show.
STILL_DEG = 0.5
_NAMES = {
    "lean": "the lean of the arm",
    "set-back": "the horn's set-back",
    "rod": "the rod's length",
}


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
) -> int:
    """Send the throws that a model asks for, and measure them.

    Each throw is sent from neutral, worked out through the linkage and the servo's own
    travel curve; you measure where the surface really stands. The exit code is 1 when a
    surface went the wrong way, or did not move.

    \b
    Examples:
      hingeline throw millrace.toml "left aileron"
      hingeline throw millrace.toml rudder --throw "left 10 deg" --gauge drop
    """
    file = models.load(model)
    chosen = models.surfaces_named(file, surfaces)
    wanted = {surface.name: _wanted(surface, asked) for surface in chosen}
    channels = channels_of(file, chosen)
    results: list[tuple[Setting, list[Throw]]] = []
    rows: list[dict[str, Any]] = []
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
                results.append((setting, throws))
                rows.append(throw_figures(setting, throws, gauge))
                bench.records.note_finding(
                    bench.session_id, kinds.THROW, setting.surface.name, rows[-1]
                )
    emit(
        {"model": file.model.name, "surfaces": rows},
        as_json=as_json,
        text=_text(results, gauge),
    )
    right = all(throw.right_way for _, throws in results for throw in throws)
    return 0 if right else FAILED


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


def throw_figures(setting: Setting, throws: list[Throw], gauge: Gauge) -> dict[str, Any]:
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
    uneven, whole = _unevenness(setting, throws), _diagnosis(setting, throws, gauge)
    return {
        "name": setting.surface.name,
        "servo": setting.surface.servo,
        "calibrated": setting.measured,
        "throws": rows,
        "diagnosis": None if whole is None else asdict(whole),
        "uneven": None
        if uneven is None
        else {
            "further_deg": abs(uneven.more_pushed_deg),
            "further": word_of(setting.surface, uneven.more_pushed_deg),
            "alone_would_explain": {
                "lean_deg": uneven.causes.lean_deg,
                "teeth": uneven.causes.teeth,
                "set_back_mm": uneven.causes.set_back_mm,
                "rod_mm": uneven.causes.rod_mm,
            },
        },
    }


def _text(results: list[tuple[Setting, list[Throw]]], gauge: Gauge) -> Iterator[str]:
    rows = []
    wrong = []
    for setting, throws in results:
        surface = setting.surface
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
                wrong.append(_wrong_text(surface, throw))
    headings = ["surface", "", ">pulse", ">wanted", ">predicted", ">measured", ">off by"]
    yield from table(headings, rows).splitlines()
    yield from map(wrapped, wrong)
    for setting, throws in results:
        yield from map(wrapped, _uneven_text(setting, throws, gauge))


def _wrong_text(surface: Surface, throw: Throw) -> str:
    if abs(throw.measured_deg) <= STILL_DEG:
        return (
            f"NOT MOVED: {surface.name} was sent {throw.word} and stayed at neutral. Look at rod, "
            "arm screw, lead and channel."
        )
    return (
        f"WRONG WAY: {surface.name} was sent {throw.word} and went "
        f"{say(surface, throw.measured_deg)}. Put the rod on the other side of the "
        "arm, or reverse the channel in the radio; never swap the servo's wires."
    )


def _seen(throws: list[Throw]) -> list[Seen]:
    return [Seen(throw.pulse_us, throw.predicted_deg, throw.measured_deg) for throw in throws]


def _unevenness(setting: Setting, throws: list[Throw]) -> Unevenness | None:
    return unevenness(setting, _seen(throws))


def _uneven_text(setting: Setting, throws: list[Throw], gauge: Gauge) -> Iterator[str]:
    """Say what would explain throws that differ more than planned, with sizes."""
    whole = _diagnosis(setting, throws, gauge)
    if whole is not None:
        yield from _diagnosis_text(setting, whole)
        return
    found = _unevenness(setting, throws)
    if found is None:
        return
    surface = setting.surface
    further = word_of(surface, found.more_pushed_deg)
    causes = found.causes
    way, aft = _ways(causes.lean_deg, "away from", "towards"), causes.set_back_mm
    yield (
        f"UNEVEN: compared with the other way, {surface.name} goes "
        f"{abs(found.more_pushed_deg):.1f} deg further {further} than planned. Each of these "
        "alone would explain it; look which it is:"
    )
    centred = "; was the servo centred when it was fitted?" if abs(causes.teeth) >= 0.5 else ""
    yield (
        f"  - the arm leans {abs(causes.lean_deg):.0f} deg ({abs(causes.teeth):.1f} teeth) more "
        f"{way} the hinge line than planned{centred}"
    )
    if aft is not None:
        yield (
            f"  - the horn's hole stands {abs(aft):.1f} mm further "
            f"{_ways(aft, 'aft', 'ahead')} than planned"
        )
    yield (
        f"  - the rod is {abs(causes.rod_mm):.1f} mm too {_ways(causes.rod_mm, 'long', 'short')}, "
        "so that the surface did not start from neutral"
    )


def _diagnosis(setting: Setting, throws: list[Throw], gauge: Gauge) -> Diagnosis | None:
    return built_otherwise(setting, _seen(throws), reading_u_deg(gauge, setting.surface))


def _diagnosis_text(setting: Setting, found: Diagnosis) -> Iterator[str]:
    yield (
        f"NOT AS PLANNED: {setting.surface.name} stands {found.before_deg:.1f} deg from the plan "
        "on average. What these throws point to, the likeliest first:"
    )
    for cause in found.causes:
        if cause.matters:
            yield f"  - {cause.text} (+/- {2.0 * cause.u:.1f})"
        else:
            yield f"  - {_NAMES[cause.name]} does not matter"
    if not found.explained:
        yield "  Something else is at work too: look for slop, bending, or a slip in the readings."


def _ways(size: float, positive: str, negative: str) -> str:
    return positive if size > 0 else negative


def _miss(throw: Throw) -> float:
    """Return how far beyond (positive) or short of what was wanted the surface went."""
    way = 1 if throw.wanted_deg >= 0 else -1
    return way * (throw.measured_deg - throw.wanted_deg) + 0.0
