"""A chosen build put into the text of a model file; its remarks and layout stay."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import tomlkit
from tomlkit.items import InlineTable

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
        arm = {"hole": build.arm_hole, "teeth_lean": build.teeth_lean, "part_arm": build.part_arm}
        horn = {"hole": build.horn_hole, "set_back": f"{build.set_back_mm:g} mm"}
        _put(surface, "arm", arm, {"teeth_lean": 0, "part_arm": 1})
        _put(surface, "horn", horn, {"set_back": "0 mm"})
    return tomlkit.dumps(document)


def _put(surface: Any, name: str, changes: dict[str, Any], usual: dict[str, Any]) -> None:
    """Set keys of a table; one that has its usual value is not added where it was left out."""
    table = surface[name]
    added = [key for key, value in changes.items() if key not in table and value != usual.get(key)]
    table.update({key: value for key, value in changes.items() if key in table})
    if not added:
        return
    if isinstance(table, InlineTable):
        # A key appended to an inline table stands there without a space: make it anew.
        whole = tomlkit.inline_table()
        whole.update(table.unwrap())
        surface[name] = table = whole
    table.update({key: changes[key] for key in added})
