"""Whether a rod is on while its servo is stepped: asked for where it is not known to be off."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from hingeline.bench.choices import Choice
from hingeline.bench.rigging.context import Rig

#: Stands in the figures of a step before which the rod was said to be off.
ROD_OFF = "rod_off"


def take_off(rig: Rig, name: str) -> tuple[dict[str, Any], tuple[tuple[str, str], ...]]:
    """Have a rod taken off before its servo gets pulses, where it may be on.

    Returns
    -------
    figures : dict
        To be kept with the step.
    reopens : tuple of (str, str)
        The rod's own step where it was done, so that the rod is put on again by a question.
    """
    if known_off(rig.rows, name):
        return {}, ()
    surface = rig.planned(name)
    rig.prompter.pick(
        Choice(
            f"{name}: take the rod off the arm of {surface.servo}; with it on, the surface may be "
            "driven against its stops. No servo has pulses now. When it is off, type off",
            surface.channel,
            ("off",),
            topic="rod off",
            detail={"surface": name},
        )
    )
    return {ROD_OFF: True}, on_again(rig, name)


def on_again(rig: Rig, name: str) -> tuple[tuple[str, str], ...]:
    """Return what is to be done again where a rod's step was dealt with, and it is off now."""
    own = [row for row in rig.rows if (row["surface"], row["step"]) == (name, "rod")]
    return ((name, "rod"),) if any(row["outcome"] != "reopened" for row in own) else ()


def known_off(rows: list[Mapping[str, Any]], name: str) -> bool:
    """Tell whether a rod cannot have been put on since it, or its arm, was last said to be off.

    What was opened again may have been begun, and a mend put hands on it: then it is not known.
    """
    for row in reversed([one for one in rows if one["surface"] == name]):
        step, outcome = row["step"], row["outcome"]
        if (step, outcome) == ("centre", "done"):
            return True  # the arms were off
        ended = outcome == "done" or (step == "seat" and outcome == "failed")
        if step not in ("seat", "travel") or not ended:
            return False
        if row["figures"].get(ROD_OFF):
            return True
    return False
