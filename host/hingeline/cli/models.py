"""Finding what a command names in a model file."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from hingeline.errors import ModelError
from hingeline.model.reading import parse_model, read_text
from hingeline.model.schema import Model, Surface


@dataclass(frozen=True)
class ModelFile:
    """A model file as read: its text is kept in the records with what was measured."""

    path: Path
    text: str
    model: Model


def load(path: Path) -> ModelFile:
    """Read a model file.

    Raises
    ------
    ModelError
        As for :func:`hingeline.model.reading.read_model`.
    """
    text = read_text(path)
    return ModelFile(path, text, parse_model(text, source=str(path)))


def surfaces_named(file: ModelFile, names: Sequence[str]) -> list[Surface]:
    """Return the surfaces called by these names; all of them when none is named.

    Raises
    ------
    ModelError
        For a name that the model does not have.
    """
    if not names:
        return list(file.model.surfaces)
    known = [surface.name for surface in file.model.surfaces]
    return [file.model.surface(_known(file, name, known, "surface")) for name in names]


def surface_of_servo(file: ModelFile, label: str) -> Surface:
    """Return the surface that a servo drives.

    Raises
    ------
    ModelError
        For a label that the model does not have, or a servo that drives nothing.
    """
    label = _known(file, label, file.model.servos, "servo")
    for surface in file.model.surfaces:
        if surface.servo == label:
            return surface
    raise ModelError(
        f"{file.path}: servo {label!r} drives no surface.",
        mend="Name it in the servo key of its surface.",
    )


def _known(file: ModelFile, name: str, known: Iterable[str], what: str) -> str:
    names = list(known)
    if name in names:
        return name
    close = difflib.get_close_matches(name, names, n=1)
    hint = f"Did you mean {close[0]!r}?" if close else ""
    raise ModelError(
        f"{file.path}: there is no {what} {name!r}.",
        mend=f"{hint} Known: {', '.join(names)}.".strip(),
    )
