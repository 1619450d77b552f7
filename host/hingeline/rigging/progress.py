"""Where a checklist stands: what is done, and what has to be done again because of what."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, Literal

from hingeline.rigging.steps import ALL, STEPS, Item, Step, changed_parts, step_named

#: A row of a step, as the records give it: id, noted, surface, step, outcome, text, figures.
Row = Mapping[str, Any]
State = Literal["open", "done", "failed", "skipped", "again"]

_DEALT: dict[str, State] = {"done": "done", "failed": "failed", "skipped": "skipped"}
#: After these, what rests on a step has to be done again; leaving a step out changes nothing.
_NEWS = {"done": "done", "failed": "done, and failed,", "reopened": "opened"}
#: Among the figures of a row: subject and step of each that is to be done again because of it.
REOPENS = "reopens"
#: Stands in a print before what the item covers besides its parts of the file.
COVERS = " for "


class Progress:
    """Follows a checklist through the rows that were kept of it.

    An item counts as dealt with after "done", "failed" or "skipped", until it is reopened,
    the parts of the model file change on which it rests, or any of this happens to, or
    something is done anew about, an item on which it rests, directly or through others. It is
    reopened by a row of its own, or by one whose figures name it under `REOPENS`: that is one
    row, so that nothing can come between a fault and what it opens.

    Parameters
    ----------
    items : sequence of Item
        The checklist, in its order.
    prints : mapping
        For each item's key, the digest of what it takes for granted now, as
        `hingeline.rigging.steps.print_of` makes it, with what it covers after `COVERS` if it
        covers different things at different times.
    rows : iterable of mappings
        What was done so far, oldest first; rows of other items are passed over.
    """

    def __init__(
        self, items: Sequence[Item], prints: Mapping[tuple[str, str], str], rows: Iterable[Row]
    ) -> None:
        self.items = list(items)
        self._prints = dict(prints)
        self._below = _closure(self.items)
        # For each item its newest row, and how many rows came before the newest that is news.
        self._last: dict[tuple[str, str], tuple[int, Row]] = {}
        self._news: dict[tuple[str, str], tuple[int, Row]] = {}
        self._rows = 0
        self._whys: dict[tuple[str, str], str] = {}
        for row in rows:
            self.add(row)

    def add(self, row: Row) -> None:
        """Follow one more row."""
        self._follow(row)
        for subject, step in row["figures"].get(REOPENS, ()):
            if (subject, step) in self._last:
                because = _said(Item(step_named(row["step"]), row["surface"]))
                opened = {"surface": subject, "step": step, "outcome": "reopened"}
                self._follow({**opened, "text": f"because of {because}", "figures": {}})

    def _follow(self, row: Row) -> None:
        key = (row["surface"], row["step"])
        if row["outcome"] in _NEWS and not self._only_widened(key, row):
            self._news[key] = (self._rows, row)
        self._last[key] = (self._rows, row)
        self._rows += 1
        self._whys.clear()

    def next(self) -> Item | None:
        """Return the first item that is still to be done; None when there is none."""
        for item in self.items:
            if self.state(item) in ("open", "again"):
                return item
        return None

    def state(self, item: Item) -> State:
        """Return how an item stands; "again": it was dealt with, but no longer counts."""
        last = self.last(item)
        if last is None:
            return "open"
        return "again" if self.why_again(item) else _DEALT[last["outcome"]]

    def waits_for(self, step: Step, subject: str) -> str:
        """Return the title of what must stand done before a step gives pulses; empty: it may."""
        for other in self.items:
            needed = other.step.name in step.waits_for and other.subject in ("", subject)
            enough = ("done", "failed") if other.step.may_be_left else ("done",)
            if needed and self.state(other) not in enough:
                return other.step.title
        return ""

    def why_again(self, item: Item) -> str:
        """Return in a sentence why an item has to be done again; empty when it has not."""
        if item.key not in self._last:
            return ""
        _, row = self._last[item.key]
        if self.of_itself(item) and row["outcome"] != "reopened":
            then, now = _print_in(row), self._print(item)
            return "" if then == now else "It was done for other surfaces."
        return self._unsound(item)

    def of_itself(self, item: Item) -> bool:
        """Tell whether an item that was done needs neither file nor other step to be due again.

        It was opened, or it covers other surfaces now.
        """
        found = self.last(item)
        opened = found is not None and found["outcome"] == "reopened"
        return opened or (found is not None and self._unsound(item) == "")

    def last(self, item: Item) -> Row | None:
        """Return the newest row of an item; None when nothing was done about it yet."""
        found = self._last.get(item.key)
        return None if found is None else found[1]

    @property
    def done_count(self) -> int:
        """How many items are dealt with."""
        return sum(self.state(item) not in ("open", "again") for item in self.items)

    @property
    def count(self) -> int:
        """How many items there are."""
        return len(self.items)

    # -- within ------------------------------------------------------------------------

    def _print(self, item: Item) -> str:
        return self._prints.get(item.key, "")

    def _unsound(self, item: Item) -> str:
        """Say why an item does not stand, be it for the surfaces it covered; empty: it does."""
        if item.key not in self._whys:
            self._whys[item.key] = self._found_unsound(item)
        return self._whys[item.key]

    def _found_unsound(self, item: Item) -> str:
        if item.key not in self._last:
            return "It is still to be done."
        since, row = self._last[item.key]
        if row["outcome"] == "reopened":
            return f"It was opened again{': ' if row['text'] else ''}{row['text']}."
        if parts := changed_parts(_parts(_print_in(row)), _parts(self._print(item))):
            return f"The model file has changed in {', '.join(parts)} since."
        for other in self._below[item.key]:
            at, news = self._news.get(other.key, (-1, row))
            if at > since:
                return (
                    f"It rests on {_said(other)}, which was {_NEWS[news['outcome']]} again since."
                )
            if self._unsound(other):
                return f"It rests on {_said(other)}, which no longer stands."
        return ""

    def _only_widened(self, key: tuple[str, str], row: Row) -> bool:
        """Tell whether a step about the whole model was done again only for further surfaces.

        What rests on it for the surfaces that it had covered before goes on to stand.
        """
        if key not in self._last or row["outcome"] != "done":
            return False
        earlier = self._last[key][1]
        before, now = _print_in(earlier), _print_in(row)
        same = earlier["outcome"] == "done" and _parts(before) == _parts(now)
        return same and COVERS in before and before != now


def _print_in(row: Row) -> str:
    return str(row["figures"].get("print", ""))


def _parts(text: str) -> str:
    return text.partition(COVERS)[0]


def _said(item: Item) -> str:
    return f"{item.step.title} ({item.subject})" if item.subject else item.step.title


def _closure(items: Sequence[Item]) -> dict[tuple[str, str], list[Item]]:
    """Return for each item those on which it rests, directly or through others, in order."""
    direct = {item.key: list(_direct(item, items)) for item in items}
    found: dict[tuple[str, str], list[Item]] = {}
    for item in items:
        seen: dict[tuple[str, str], Item] = {}
        ahead = direct[item.key]
        while ahead:
            fresh = [one for one in ahead if one.key not in seen]
            seen.update((one.key, one) for one in fresh)
            ahead = [below for one in fresh for below in direct[one.key]]
        found[item.key] = [one for one in items if one.key in seen]
    return found


def _direct(item: Item, items: Sequence[Item]) -> Iterator[Item]:
    named = item.step.rests_on
    if named == ALL:
        named = tuple(step.name for step in STEPS if step != item.step)
    for name in named:
        step_named(name)  # a name that is none is an error in the table
        for other in items:
            if other.step.name == name and _concerns(other, item):
                yield other


def _concerns(other: Item, item: Item) -> bool:
    """Tell whether a step's item is one of those on which another step's item rests."""
    if item.step.scope == "model" or other.step.scope == "model":
        return True
    if item.step.scope == "pair":
        # A name may itself hold the mark between the two.
        left, right = f"{other.subject} / ", f" / {other.subject}"
        return item.subject.startswith(left) or item.subject.endswith(right)
    return item.subject == other.subject
