"""``hingeline plan``."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from hingeline.cli import choosing, models, options
from hingeline.cli.deeper import (
    Details,
    details_figures,
    details_of,
    details_text,
    stock_figures,
    stock_text,
)
from hingeline.cli.output import emit, tell
from hingeline.cli.planned import (
    Planned,
    closing_text,
    planned,
    surface_figures,
    surface_text,
    travel_of,
)
from hingeline.errors import LinkageError, ModelError
from hingeline.linkage.load import air_of
from hingeline.linkage.mounting import mounted
from hingeline.model.rewriting import with_builds
from hingeline.model.schema import Surface
from hingeline.newfile import write_new


@click.command("plan", short_help="Work out throws, lean, rod length and pulses of a model.")
@options.model_argument
@click.argument("surfaces", nargs=-1, metavar="[SURFACE]...")
@click.option(
    "--choose",
    is_flag=True,
    help="Judge every choice of holes and teeth, rank them and say why.",
)
@click.option(
    "--set-back",
    "set_backs",
    type=options.LENGTH,
    multiple=True,
    help="With --choose: a set-back of the horn to try as well; may be repeated.",
)
@click.option(
    "--other-side",
    is_flag=True,
    help="With --choose or --why: the rod on the other side of the arm.",
)
@click.option(
    "--why",
    "asked",
    nargs=3,
    type=(str, int, int),
    default=None,
    metavar="SURFACE ARM HORN",
    help="Explain one choice: a surface, its arm hole and its horn hole.",
)
@click.option(
    "--details",
    is_flag=True,
    help="Add what the figures rest on: assumptions, what is not known, which error matters.",
)
@click.option(
    "--draw",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    default=None,
    help="Draw each surface's linkage and throws into this folder, as SVG and PNG.",
)
@click.option(
    "--write",
    "target",
    type=click.Path(path_type=Path, dir_okay=False),
    default=None,
    help="Write a copy of the model file with the best choices put in, remarks kept.",
)
@options.json_option
def command(
    model: Path,
    surfaces: tuple[str, ...],
    choose: bool,
    set_backs: tuple[float, ...],
    other_side: bool,
    asked: tuple[str, int, int] | None,
    details: bool,
    folder: Path | None,
    target: Path | None,
    as_json: bool,
) -> None:
    """Work out throws, lean, rod length and pulses of a model.

    For the holes, teeth and mounting in the MODEL file: how far each surface goes at the
    servo's pulse limits, what pulses its throws need, how long the rod is, and what is
    wrong. Holes that the file leaves open are chosen. Pulses are by the maker's rate
    until the servo is calibrated.

    \b
    Examples:
      hingeline plan millrace.toml "left aileron"
      hingeline plan millrace.toml elevator --choose
      hingeline plan millrace.toml --why elevator 2 3
      hingeline plan millrace.toml --write chosen.toml
      hingeline plan millrace.toml rudder --details --draw drawings
    """
    if target is not None and other_side:
        raise click.UsageError(
            "--write keeps the rod's side: turn mount.arm_points round in the file first."
        )
    file = models.load(model)
    if asked is not None:
        _explain(file, asked, set_backs, other_side, as_json)
        return
    chosen = models.surfaces_named(file, surfaces)
    choices = []
    if choose or target is not None:
        choices = [_choice(file, surface, set_backs, other_side) for surface in chosen]
    if target is not None:
        _write(file, target, choices)
    if choose:
        figures = [
            {"name": choice.surface.name, **choosing.choice_figures(choice)} for choice in choices
        ]
        emit(
            {"model": file.model.name, "surfaces": figures},
            as_json=as_json,
            text=_choices_text(choices),
        )
        return
    # What was written is what is planned.
    built = [choosing.with_option(c.surface, c.servo, c.best) for c in choices if c.best]
    plans = [planned(surface, file.model.servo_of(surface)) for surface in built or chosen]
    if folder is not None:
        _draw(folder, plans)
    found = [details_of(file.model, item) for item in plans]
    surface_rows = [
        {**surface_figures(item), **details_figures(item, one)}
        for item, one in zip(plans, found, strict=True)
    ]
    emit(
        {
            "model": file.model.name,
            "surfaces": surface_rows,
            "rods": stock_figures(plans, found),
        },
        as_json=as_json,
        text=_plan_text(file.model.name, plans, found, whole=details),
    )


def _plan_text(
    name: str, plans: list[Planned], found: list[Details | None], *, whole: bool
) -> Iterator[str]:
    yield f"Plan of {name}"
    for item, one in zip(plans, found, strict=True):
        yield ""
        yield from surface_text(item)
        yield from details_text(item, one, whole=whole)
    yield ""
    yield from stock_text(plans, found)
    yield ""
    yield from closing_text()


def _draw(folder: Path, plans: list[Planned]) -> None:
    from hingeline.sheets.files import draw_surface

    for number, item in enumerate(plans, start=1):
        tell(f"Drawing {item.surface.name} ({number} of {len(plans)})")
        linkage = mounted(item.surface, item.servo)
        travel = travel_of(item.servo)
        for path in draw_surface(folder, item.surface, item.servo, linkage, item.plan, travel):
            tell(f"  {path}")


def _choice(
    file: models.ModelFile, surface: Surface, set_backs: tuple[float, ...], other_side: bool
) -> choosing.Choice:
    servo = file.model.servo_of(surface)
    return choosing.choose(
        surface,
        servo,
        travel_of(servo),
        set_backs,
        other_side=other_side,
        air=air_of(file.model, surface),
    )


def _choices_text(choices: list[choosing.Choice]) -> Iterator[str]:
    for number, choice in enumerate(choices):
        if number:
            yield ""
        yield from choosing.choice_text(choice)


def _explain(
    file: models.ModelFile,
    asked: tuple[str, int, int],
    set_backs: tuple[float, ...],
    other_side: bool,
    as_json: bool,
) -> None:
    name, arm_hole, horn_hole = asked
    (surface,) = models.surfaces_named(file, [name])
    choice = _choice(file, surface, set_backs, other_side)
    options_found = choosing.named_holes(choice, arm_hole, horn_hole)[: choosing.SHOWN]
    figures: dict[str, Any] = {
        "name": name,
        "choices": [
            choosing.option_figures(choice, option, choice.best) for option in options_found
        ],
    }
    text = [
        f"Arm hole {arm_hole} with horn hole {horn_hole} for {name}, its leans the best first:",
        *choosing.option_rows(choice, options_found, choice.best),
    ]
    emit(figures, as_json=as_json, text=text)


def _write(file: models.ModelFile, target: Path, choices: list[choosing.Choice]) -> None:
    builds = {}
    for choice in choices:
        if choice.best is None:
            raise LinkageError(
                f"{choice.surface.name}: no choice gives the throws wanted; nothing was written.",
                mend=f"What would help: {'; or '.join(choice.advice)}.",
            )
        builds[choice.surface.name] = choosing.build_of(choice.servo, choice.best)
    write_new(target, with_builds(file.text, builds), ModelError)
    tell(f"Written: {target}, with the best choice for {', '.join(builds)}.")
