"""Readings on record in words: which way a surface stood, by the model file of that time."""

from __future__ import annotations

from collections.abc import Callable

from hingeline.errors import ModelError
from hingeline.model.reading import parse_model
from hingeline.model.schema import Model
from hingeline.model.words import word_of
from hingeline.records.store import Row

#: Gauges whose readings have the sign of the surface's direction; others have their own.
_DIRECTED = ("deg", "drop", "straight")


def model_of(session: Row) -> Model | None:
    """Return the model of a session as its file was then; None where that cannot be read."""
    try:
        return parse_model(session["model_text"] or "", source="the model file on record")
    except ModelError:
        return None


def understood_in(session: Row) -> Callable[[Row], str]:
    """Return what says how a reading of a session was understood: "up 13.0 deg".

    Where the direction's word cannot be had, the figure stands with its sign.
    """
    model = model_of(session)
    surfaces = {} if model is None else {one.name: one for one in model.surfaces}

    def understood(row: Row) -> str:
        value, surface = row["value"], surfaces.get(row["surface"])
        if surface is None or row["gauge"] not in _DIRECTED:
            return f"{value:g} {row['unit']}"
        if not value:
            return "neutral"
        size = f"{abs(value):g}"
        whole = ".0" if size.isdecimal() else ""
        return f"{word_of(surface, value)} {size}{whole} {row['unit']}"

    return understood
