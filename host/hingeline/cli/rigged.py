"""A rig's checklist and its results, as figures and as lines."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from hingeline import units
from hingeline.bench.rigging.context import Rig, about
from hingeline.cli.output import quoted, table, wrapped
from hingeline.model.schema import Model
from hingeline.rigging.progress import Progress


def list_figures(progress: Progress) -> dict[str, Any]:
    """Return the checklist as plain figures."""
    return {
        "done": progress.done_count,
        "steps": [
            {
                "step": item.step.name,
                "subject": item.subject,
                "title": item.step.title,
                "state": progress.state(item),
                "why_again": progress.why_again(item),
            }
            for item in progress.items
        ],
    }


def list_text(progress: Progress) -> Iterator[str]:
    """Lay the checklist out for people."""
    yield f"{progress.done_count} of {progress.count} steps are dealt with"
    for place, item in enumerate(progress.items, 1):
        again = progress.why_again(item)
        line = f"  {place:3} {progress.state(item):8} {item.step.name:10} {about(item)}"
        yield wrapped(f"{line}  ({again})" if again else line)


def figures(model: Model, rig: Rig, number: int) -> dict[str, Any]:
    """Return what came of a rig that has ended."""
    progress = rig.progress
    states = {item.key: progress.state(item) for item in progress.items}
    remaining = [
        {"step": item.step.name, "subject": item.subject, "state": states[item.key]}
        for item in progress.items
        if states[item.key] != "done"
    ]
    surfaces = []
    for surface in rig.surfaces:
        limits, throws = rig.found("limits", surface.name), rig.found("throws", surface.name)
        surfaces.append(
            {
                "surface": surface.name,
                "servo": surface.servo,
                "centre_us": limits["figures"].get("centre_us") if limits else None,
                "ends_us": limits["figures"].get("ends_us") if limits else None,
                "worst_deg": throws["figures"].get("worst_deg") if throws else None,
                "pass": bool(throws and throws["figures"].get("pass")),
            }
        )
    return {
        "model": model.name,
        "rig": number,
        "signed": _signed(rig),
        "surfaces": surfaces,
        "remaining": remaining,
        "pass": not remaining,
    }


def _signed(rig: Rig) -> str | None:
    for row in reversed(rig.rows):
        if row["step"] == "signoff":
            return str(row["figures"]["name"]) if row["outcome"] == "done" else None
    return None


def text(found: dict[str, Any], file: Path) -> Iterator[str]:
    """Lay the results of a rig, by its model file, out for people."""
    rows = []
    for surface in found["surfaces"]:
        ends = surface["ends_us"] or {}
        centre, worst = surface["centre_us"], surface["worst_deg"]
        rows.append(
            (
                surface["surface"],
                "-" if centre is None else units.us(centre),
                ", ".join(f"{word} {units.us(us)}" for word, us in ends.items()) or "-",
                "-" if worst is None else units.deg(worst),
                "pass" if surface["pass"] else "FAILED",
            )
        )
    yield f"{found['model']}, signed by {found['signed']}"
    yield from table(["surface", ">centre", "ends", ">worst miss", ""], rows).splitlines()
    for left in found["remaining"]:
        subject = f"{left['subject']}: " if left["subject"] else ""
        yield f"{left['state']}: {subject}{left['step']}"
    path = quoted(str(file))
    yield f"The figures for the radio: hingeline handover {path}"
    yield f"Before flying, and after a hard landing: hingeline check {path}"
