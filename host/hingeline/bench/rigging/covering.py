"""What tells of each item of a checklist whether it has to be done again for the file's sake."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from hingeline.model.schema import Model, Surface
from hingeline.rigging.progress import COVERS
from hingeline.rigging.steps import Item, print_of


def prints_of(
    model: Model,
    items: Sequence[Item],
    surfaces: Sequence[Surface],
    rows: Sequence[Mapping[str, Any]],
) -> dict[tuple[str, str], str]:
    """Return the print of each item; of one about the whole model with the surfaces it covers.

    What was done for one surface alone is so to be done again for others, and what was done
    for all of them holds for each.

    Parameters
    ----------
    model : Model
    items : sequence of Item
        The checklist.
    surfaces : sequence of Surface
        Those that are rigged now.
    rows : sequence of mappings
        The rows of the rig so far.
    """
    now = {surface.name for surface in surfaces}
    found = {}
    for item in items:
        found[item.key] = print_of(model, item)
        if item.step.scope == "model":
            names = sorted(now | _covered(item, rows))
            found[item.key] += COVERS + "; ".join(names)
    return found


def _covered(item: Item, rows: Sequence[Mapping[str, Any]]) -> set[str]:
    """Return the surfaces for which a step was done the last time."""
    for row in reversed(rows):
        if (row["surface"], row["step"]) == item.key:
            _, _, names = str(row["figures"].get("print", "")).partition(COVERS)
            return set(filter(None, names.split("; ")))
    return set()
