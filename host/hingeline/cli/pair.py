"""``hingeline pair``."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from hingeline import kinds, units
from hingeline.bench.asking import Gauge
from hingeline.bench.procedures.channels import in_use
from hingeline.bench.procedures.pairing import (
    NEUTRAL_DEG,
    PairCheck,
    Side,
    check_pair,
)
from hingeline.cli import models, noting, options
from hingeline.cli.benchwork import at_bench, channels_of
from hingeline.cli.output import FAILED, emit, table, wrapped
from hingeline.errors import ModelError
from hingeline.model.schema import Model, Pair, Surface
from hingeline.model.words import directions
from hingeline.travel.matching import LEAST_POINTS, TOLERANCE_DEG, points_of


@click.command("pair", short_help="Check that two surfaces match, point by point.")
@options.model_argument
@click.argument("surface", required=False, metavar="[SURFACE]")
@options.points_option(LEAST_POINTS, LEAST_POINTS)
@click.option(
    "--tolerance",
    type=options.Quantity(units.ANGLE, 0.1, 45.0),
    default=f"{TOLERANCE_DEG:g} deg",
    show_default=True,
    help="Mismatch that may remain.",
)
@options.gauge_options("deg", "drop", "straight")
@options.moving_options
@options.json_option
def command(
    model: Path,
    surface: str | None,
    points: int,
    tolerance: float,
    gauge: Gauge,
    choices: options.Choices,
    as_json: bool,
) -> int:
    """Check that two surfaces match, point by point.

    Both sides of a pair are moved as a radio moves them, and measured at five points or
    more. Type which way each side really went: moving opposite ways is not enough.
    SURFACE is either side of the pair; it may be left out when there is one pair. The
    exit code is 1 when the pair does not match.

    \b
    Example:
      hingeline pair millrace.toml
    """
    file = models.load(model)
    pair = pair_of(file.model, surface, str(model))
    left, right = file.model.surface(pair.left), file.model.surface(pair.right)
    points_of(points)  # an even number is refused before anyone is asked
    channels = channels_of(file, [left, right])
    doing = f"move {'opposite ways' if pair.moves == 'opposite' else 'together'}"
    with at_bench(choices, "pair", channels, file, doing=doing) as bench:
        settings = [bench.setting(file, side) for side in (left, right)]
        with in_use(bench.board, channels):
            check = check_pair(
                bench.board,
                settings[0],
                settings[1],
                pair.moves,
                gauge,
                bench.asker,
                noting.surface_note(bench, gauge),
                points=points,
                tolerance_deg=tolerance,
            )
        figures = pair_figures(left, right, check)
        bench.records.note_finding(
            bench.session_id, kinds.PAIR, f"{left.name} / {right.name}", figures
        )
    emit(figures, as_json=as_json, text=pair_text(left, right, check))
    return 0 if check.passed else FAILED


def pair_of(model: Model, surface: str | None, source: str) -> Pair:
    """Return the pair that a surface belongs to, or the only one when none is named.

    Raises
    ------
    ModelError
        When there is no such pair, or it is not clear which.
    """
    found = [pair for pair in model.pairs if surface in (None, pair.left, pair.right)]
    if len(found) == 1:
        return found[0]
    known = "; ".join(f"{pair.left} / {pair.right}" for pair in model.pairs) or "none"
    if not found:
        named = f" with {surface!r}" if surface else ""
        raise ModelError(
            f"{source}: there is no pair{named}.",
            mend=f"Add a [[pairs]] table. Known pairs: {known}.",
        )
    raise ModelError(
        f"{source}: there are {len(found)} pairs.", mend=f"Name a side of one of: {known}."
    )


def pair_figures(left: Surface, right: Surface, check: PairCheck) -> dict[str, Any]:
    """Return a pair's check as plain figures, positive in the first direction."""
    worst = check.worst
    return {
        "left": left.name,
        "right": right.name,
        "moves": check.moves,
        "positive": directions(left)[0],
        "points": [
            {
                "stick": point.stick,
                "left": _side_figures(point.left),
                "right": _side_figures(point.right),
            }
            for point in check.points
        ],
        "mismatch_deg": [
            {"stick": item.stick, "left_less_right_deg": item.difference_deg}
            for item in check.mismatches
        ],
        "worst_mismatch_deg": abs(worst.difference_deg),
        "worst_at_stick": worst.stick,
        "wrong_way": [{"stick": stick, "side": side} for stick, side in check.wrong_way],
        "tolerance_deg": check.tolerance_deg,
        "pass": check.passed,
    }


def _side_figures(side: Side) -> dict[str, Any]:
    return {
        "pulse_us": side.pulse_us,
        "predicted_deg": side.predicted_deg,
        "measured_deg": side.measured_deg,
        "right_way": side.right_way,
    }


def pair_text(left: Surface, right: Surface, check: PairCheck) -> Iterator[str]:
    """Lay a pair's check out for people."""
    rows = [
        (
            _stick(point.stick),
            _way(left, point.left),
            _way(right, point.right),
            f"{mismatch.difference_deg:+.1f} deg",
        )
        for point, mismatch in zip(check.points, check.mismatches, strict=True)
    ]
    headings = [">stick", f">{left.name}", f">{right.name}", ">mismatch"]
    yield from table(headings, rows).splitlines()
    against = "at the opposite stick" if check.moves == "opposite" else "at the same stick"
    first = directions(left)[0]
    yield wrapped(
        f"Mismatch: how much further {first} {left.name} stands {against} than {right.name} here."
    )
    for stick, name in check.wrong_way:
        side = left if name == "left" else right
        point = next(point for point in check.points if point.stick == stick)
        seen = point.left if name == "left" else point.right
        if abs(seen.measured_deg) <= NEUTRAL_DEG:
            yield wrapped(
                f"NOT MOVED: {side.name} at {_stick(stick)} stick. Look at rod, arm screw, lead "
                "and channel."
            )
            continue
        yield wrapped(
            f"WRONG WAY: {side.name} at {_stick(stick)} stick. Put the rod on the other side "
            "of the arm, or reverse the channel in the radio; never swap the servo's wires."
        )
    worst = check.worst
    yield wrapped(
        f"{'PASS' if check.passed else 'FAIL'}: the worst mismatch is "
        f"{abs(worst.difference_deg):.1f} deg at {_stick(worst.stick)} stick; "
        f"{check.tolerance_deg:.1f} deg may remain."
    )


def _stick(stick: float) -> str:
    return f"{100 * stick:+.0f} %" if stick else "neutral"


def _way(surface: Surface, side: Side) -> str:
    first, second = directions(surface)
    size = round(abs(side.measured_deg), 1)
    if size == 0:
        return "neutral"
    return f"{first if side.measured_deg > 0 else second} {size:.1f} deg"
