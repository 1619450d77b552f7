"""How far a rig has come, worked out from the rows that were kept of it and from nothing else.

So a run that was killed goes on where it was: there is no state beside the records.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Literal

from hingeline.rigging.steps import Item

#: Outcomes by which a step is dealt with.
DEALT_WITH = ("done", "failed", "skipped")
#: Outcomes that make what rests on a step due again; what was left out has changed nothing.
CHANGES = ("done", "failed", "reopened")

Key = tuple[str, str]
Row = Mapping[str, Any]
State = Literal["open", "done", "failed", "skipped", "again"]


class Progress:
    """Where the checklist stands.

    Parameters
    ----------
    items : sequence of Item
        The checklist.
    prints : mapping of (str, str) to str
        For each item's key, the print of the model file as it is now.
    rows : sequence of mappings
        What was kept, oldest first: keys ``id``, ``surface`` (the subject), ``step``,
        ``outcome``, ``text``, ``figures`` (with the ``print`` of that time).
    """

    def __init__(
        self, items: Sequence[Item], prints: Mapping[Key, str], rows: Sequence[Row]
    ) -> None:
        self.items = tuple(items)
        self._prints = prints
        self._last: dict[Key, Row] = {}
        self._known: dict[Key, tuple[State, str]] = {}
        for row in rows:
            self._last[row["surface"], row["step"]] = row

    def add(self, row: Row) -> None:
        """Take in a row that was just kept."""
        self._last[row["surface"], row["step"]] = row
        self._known.clear()

    def last(self, item: Item) -> Row | None:
        """Return the newest row of an item; None when there is none."""
        return self._last.get(item.key)

    def next(self) -> Item | None:
        """Return the first item that is due; None when all is dealt with."""
        return next((item for item in self.items if self._due(item)), None)

    def state(self, item: Item) -> State:
        """Tell how an item stands: never done, done, failed, left out, or due again."""
        return self._judged(item)[0]

    def why_again(self, item: Item) -> str:
        """Return why an item is due again, in a sentence; "" when it is not."""
        return self._judged(item)[1]

    @property
    def count(self) -> int:
        """How many items there are."""
        return len(self.items)

    @property
    def done_count(self) -> int:
        """How many are dealt with."""
        return sum(not self._due(item) for item in self.items)

    # -- within ------------------------------------------------------------------------

    def _due(self, item: Item) -> bool:
        return self.state(item) in ("open", "again")

    def _judged(self, item: Item) -> tuple[State, str]:
        if item.key not in self._known:
            self._known[item.key] = self._judge(item)
        return self._known[item.key]

    def _judge(self, item: Item) -> tuple[State, str]:
        row = self.last(item)
        if row is None:
            return "open", ""
        if row["outcome"] == "reopened":
            return "again", f"Due again: {row['text']}." if row["text"] else "Due again."
        if changed := _changed(str(row["figures"].get("print", "")), self._prints[item.key]):
            return "again", f"Due again: the model file has changed ({changed})."
        for base in self._bases(item):
            state, last = self.state(base), self.last(base)
            later = last is not None and last["id"] > row["id"] and last["outcome"] in CHANGES
            if state == "again" or later:
                # One that was reopened has not been done again yet.
                was = "is due again" if state == "again" else "was done again"
                about = f"{base.subject}: " if base.subject not in ("", item.subject) else ""
                return "again", f"Due again: {about}{base.step.title} {was}."
        outcome: State = row["outcome"]
        return outcome, ""

    def _bases(self, item: Item) -> Iterator[Item]:
        """Yield the items on which one rests: of the same surfaces, and those of the model."""
        for other in self.items:
            if other.step.name not in item.step.rests_on:
                continue
            if not item.names or not other.names or set(other.names) & set(item.names):
                yield other


def _changed(then: str, now: str) -> str:
    """Name the parts in which two prints differ; "" when they are the same."""
    if then == now:
        return ""
    before, after = _parts(then), _parts(now)
    parts = [part for part in after if part in before and before[part] != after[part]]
    return ", ".join(parts) or "its surfaces"


def _parts(text: str) -> dict[str, str]:
    words = (word.partition("=") for word in text.split() if "=" in word)
    return {part: digest for part, _, digest in words}
