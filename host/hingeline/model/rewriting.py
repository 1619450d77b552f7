"""A chosen build put into the text of a model file; its remarks and layout stay."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import tomlkit

from hingeline.errors import ModelError


@dataclass(frozen=True)
class Build:
    """What was chosen for one surface.

    Attributes
    ----------
    arm_hole, horn_hole : int
        Numbers of the holes, from 1.
    teeth_lean, part_arm : int
        As in the model file.
    set_back_mm : float
        Set-back of the horn's hole.
    """

    arm_hole: int
    horn_hole: int
    teeth_lean: int
    part_arm: int
    set_back_mm: float


def with_builds(text: str, builds: dict[str, Build]) -> str:
    """Return the text of a model file with the builds of some surfaces put in.

    Parameters
    ----------
    text : str
        A model file that reads well.
    builds : dict of str to Build
        By the surface's name.

    Raises
    ------
    ModelError
        When the text has no such surface.
    """
    document = tomlkit.parse(text)
    surfaces: Any = document["surfaces"]
    by_name = {str(surface["name"]): surface for surface in surfaces}
    for name, build in builds.items():
        if name not in by_name:
            raise ModelError(f"there is no surface {name!r}.", mend="Check the name.")
        surface = by_name[name]
        _put(surface["arm"], "hole", build.arm_hole)
        _put(surface["arm"], "teeth_lean", build.teeth_lean, usual=0)
        _put(surface["arm"], "part_arm", build.part_arm, usual=1)
        _put(surface["horn"], "hole", build.horn_hole)
        if build.set_back_mm or "set_back" in surface["horn"]:
            surface["horn"]["set_back"] = f"{build.set_back_mm:g} mm"
    return tomlkit.dumps(document)


def _put(table: Any, key: str, value: int, usual: int | None = None) -> None:
    """Set a key; one that has its usual value is not added where it was left out."""
    if value != usual or key in table:
        table[key] = value
