"""What of a rig is not done, or no longer stands, in sentences."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hingeline.model.schema import Model
from hingeline.rigging.progress import COVERS, Progress, State
from hingeline.rigging.steps import Item, changed_parts, print_of

SIGNOFF = "signoff"


@dataclass(frozen=True)
class Left:
    """A step that does not stand as done.

    Attributes
    ----------
    item : Item
    state : {"open", "failed", "skipped", "again"}
    why : str
        What was found, why it was left out, or why it is to be done again; may be empty.
    follows : bool
        It is to be done again only because of the model file, or of what it rests on.
    """

    item: Item
    state: State
    why: str
    follows: bool = False


def left_of(progress: Progress, items: Sequence[Item]) -> list[Left]:
    """Return those of some items of a checklist that do not stand as done, signing apart."""
    found = []
    for item in items:
        state, last = progress.state(item), progress.last(item)
        if state == "done" or item.step.name == SIGNOFF:
            continue
        if state == "again":
            why, follows = progress.why_again(item), not progress.of_itself(item)
        else:
            why, follows = str(last["text"]) if last is not None else "", False
        found.append(Left(item, state, why, follows))
    return found


def changed_since(model: Model, progress: Progress, items: Sequence[Item]) -> list[str]:
    """Return the parts of the model file that have changed since items rested on them."""
    parts: list[str] = []
    for item in items:
        last = progress.last(item)
        if last is None or "print" not in last["figures"]:
            continue
        then = str(last["figures"]["print"]).partition(COVERS)[0]
        parts += changed_parts(then, print_of(model, item))
    return list(dict.fromkeys(parts))


def sentences(left: Sequence[Left], changed: Sequence[str]) -> list[str]:
    """Say what is left, the failures one by one."""
    said = []
    if changed:
        said.append(f"measured, but the model file has changed in {', '.join(changed)} since.")
    for one in left:
        if one.state == "failed":
            said.append(f"{_title(one)} failed{f': {one.why}' if one.why else '.'}")
        elif one.state == "again" and not one.follows:
            said.append(f"{_title(one)} is to be done again: {one.why}")
    if skipped := [
        f"{_title(one)}{f' ({one.why})' if one.why else ''}"
        for one in left
        if one.state == "skipped"
    ]:
        said.append(f"left out: {', '.join(skipped)}.")
    if waiting := [_title(one) for one in left if one.follows]:
        said.append(f"to be done again after what was changed or done since: {_list(waiting)}.")
    if still := [_title(one) for one in left if one.state == "open"]:
        said.append(f"still to be done: {_list(still)}.")
    return said


def _title(left: Left) -> str:
    item = left.item
    return f"{item.step.title} ({item.subject})" if item.step.scope == "pair" else item.step.title


def _list(titles: Sequence[str]) -> str:
    return ", ".join(dict.fromkeys(titles))
