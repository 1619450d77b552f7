"""``hingeline convert``."""

from __future__ import annotations

from collections.abc import Iterator

import click

from hingeline import chord, units
from hingeline.cli import options
from hingeline.cli.output import emit
from hingeline.errors import UnitError

MEASURES: tuple[chord.Measure, ...] = ("drop", "straight")


@click.command("convert", short_help="Turn degrees of throw into mm at a chord, and back.")
@click.argument("throw")
@click.option(
    "--chord",
    "chord_mm",
    type=options.LENGTH,
    required=True,
    help="From hinge line to trailing edge, where the throw is measured.",
)
@options.json_option
def command(throw: str, chord_mm: float, as_json: bool) -> None:
    """Turn degrees of throw into mm at a chord, and back.

    THROW is an angle ("15 deg"), or a distance with the way in which it is measured:
    "12 mm drop" is square to the neutral plane, "12 mm straight" is a ruler laid from the
    neutral to the deflected trailing edge.

    \b
    Examples:
      hingeline convert "15 deg" --chord "45 mm"
      hingeline convert "0.5 in drop" --chord "1.75 in"
    """
    *value, last = throw.split() or [""]
    if last in MEASURES:
        distance_mm = units.parse(" ".join(value), units.LENGTH)
        angle_deg = chord.throw_deg(
            distance_mm, chord_mm, "drop" if last == "drop" else "straight"
        )
    elif units.split_unit(throw)[1] in units.LENGTH.factors:
        raise UnitError(
            f"{throw!r} does not say how the distance is measured.",
            mend=f'Write "{throw} drop" or "{throw} straight".',
        )
    else:
        angle_deg = units.parse(throw, units.ANGLE)
    distances = {measure: chord.throw_mm(angle_deg, chord_mm, measure) for measure in MEASURES}
    figures = {
        "angle_deg": angle_deg,
        "chord_mm": chord_mm,
        **{f"{measure}_mm": distance for measure, distance in distances.items()},
    }
    emit(figures, as_json=as_json, text=_text(angle_deg, chord_mm, distances))


def _text(
    angle_deg: float, chord_mm: float, distances: dict[chord.Measure, float]
) -> Iterator[str]:
    yield f"{units.deg(angle_deg)} at a chord of {units.mm(chord_mm)}:"
    yield f"  {units.mm(distances['drop'])} drop, square to the neutral plane"
    yield f"  {units.mm(distances['straight'])} straight, from the neutral to the deflected edge"
