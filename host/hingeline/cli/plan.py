"""``hingeline plan``."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from hingeline.cli import choosing, models, options
from hingeline.cli.output import emit, tell
from hingeline.cli.planned import plan_text, planned, surface_figures, travel_of
from hingeline.errors import LinkageError, ModelError
from hingeline.model.rewriting import with_builds
from hingeline.model.schema import Surface


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
    "--why",
    "asked",
    nargs=3,
    type=(str, int, int),
    default=None,
    metavar="SURFACE ARM HORN",
    help="Explain one choice: a surface, its arm hole and its horn hole.",
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
    asked: tuple[str, int, int] | None,
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
    """
    file = models.load(model)
    if asked is not None:
        _explain(file, asked, set_backs, as_json)
        return
    chosen = models.surfaces_named(file, surfaces)
    choices = []
    if choose or target is not None:
        choices = [_choice(file, surface, set_backs) for surface in chosen]
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
    plans = [planned(surface, file.model.servo_of(surface)) for surface in chosen]
    emit(
        {"model": file.model.name, "surfaces": [surface_figures(item) for item in plans]},
        as_json=as_json,
        text=plan_text(file.model.name, plans),
    )


def _choice(
    file: models.ModelFile, surface: Surface, set_backs: tuple[float, ...]
) -> choosing.Choice:
    servo = file.model.servo_of(surface)
    return choosing.choose(surface, servo, travel_of(servo), set_backs)


def _choices_text(choices: list[choosing.Choice]) -> Iterator[str]:
    for number, choice in enumerate(choices):
        if number:
            yield ""
        yield from choosing.choice_text(choice)


def _explain(
    file: models.ModelFile,
    asked: tuple[str, int, int],
    set_backs: tuple[float, ...],
    as_json: bool,
) -> None:
    name, arm_hole, horn_hole = asked
    (surface,) = models.surfaces_named(file, [name])
    choice = _choice(file, surface, set_backs)
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
    text = with_builds(file.text, builds)
    try:
        with target.open("x", encoding="utf-8", newline="\n") as written:
            written.write(text)
    except FileExistsError:
        raise ModelError(
            f"{target}: there is such a file already; it was left as it is.",
            mend="Choose another name.",
        ) from None
    except OSError as error:
        raise ModelError(
            f"{target}: cannot be written ({error.strerror}).",
            mend="Check that the folder exists and may be written.",
        ) from None
    tell(f"Written: {target}, with the best choice for {', '.join(builds)}.")
