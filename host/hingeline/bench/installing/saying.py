"""What a person is told before a board gets the firmware, and asked to agree to."""

from __future__ import annotations

from hingeline.bench.identifying import Answer, summary
from hingeline.bench.installing.firmware import MAIN, version
from hingeline.bench.installing.plan import Plan


def intention(port: str, answer: Answer) -> str:
    """Say what is there, what asking has done to it already, and what will be done."""
    what = f"{port}: {summary(answer)}."
    if answer.kind == "firmware":
        return (
            f"{what} Asking has ended its pulses, also those of its button. Its program is ended "
            f"and firmware {version()} takes its place."
        )
    if answer.wire:
        return f"{what} It is ended, its pulses stop, and firmware {version()} takes its place."
    if answer.kind == "micropython":
        return f"{what} Firmware {version()} is put on it."
    return (
        f"{what} If this is a board with MicroPython, its program is interrupted and firmware "
        f"{version()} put on it."
    )


def losses(plan: Plan) -> str:
    """Say what of somebody's own is moved or removed; empty when nothing is."""
    parts = []
    if plan.keep_main:
        parts.append(
            f"The board starts another program ({MAIN}). It is kept there as {plan.keep_main} "
            "and not started any more."
        )
    if plan.strays:
        parts.append(
            "These lie in the firmware's folders, do not belong to it and are removed: "
            f"{', '.join(plan.strays)}."
        )
    return " ".join(parts)
