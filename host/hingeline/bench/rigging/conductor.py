"""The guided run: one step after the other, each kept as soon as it ends."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from hingeline.bench.rigging import (
    before,
    centring,
    closing,
    directing,
    linking,
    loosening,
    throwing,
    travelling,
)
from hingeline.bench.rigging.context import Result, Rig, about
from hingeline.bench.rigging.mending import settle
from hingeline.bench.rigging.orders import Order
from hingeline.bench.rigging.prompting import Ordered, Typed
from hingeline.errors import LinkageError, Stopped, TravelError
from hingeline.rigging.naming import Mend, Named, mend
from hingeline.rigging.steps import STEPS, Item

#: What does each step.
DOES: Mapping[str, Callable[[Rig, Item], Result]] = {
    "leads": before.leads,
    "bare": before.bare,
    "class": before.pulse_class,
    "centre": centring.centre,
    "seat": centring.seat,
    "travel": travelling.travel,
    "rod": linking.rod,
    "neutral": linking.neutral,
    "direction": directing.direction,
    "throws": throwing.throws,
    "slop": loosening.slop,
    "binding": loosening.binding,
    "pair": closing.pair,
    "limits": closing.limits,
    "screws": closing.screws,
    "signoff": closing.signoff,
}
SIGNOFF = "signoff"


class Conductor:
    """Takes a rig from where it stands to its end.

    Parameters
    ----------
    rig : Rig
        Its prompter must give orders and typed texts to `obey` and `keep` of this conductor.
    """

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self._at: Item | None = None

    def run(self) -> None:
        """Do what is still to be done.

        Raises
        ------
        Stopped
            When the person wants to stop; everything is kept.
        HingelineError
            As the bench raises it.
        """
        progress = self.rig.progress
        while (item := progress.next()) is not None:
            self._at = item
            self._head(item)
            try:
                result = self._done(item)
            except Ordered as ordered:
                self._leave(item, ordered.order)
                continue
            self._note(item, result.outcome, result.text, result.figures)
            for subject, step in result.reopens:
                self._reopen(subject, step, f"because of {about(item)}")
        self._at = None

    def keep(self, typed: Typed) -> None:
        """Keep what was typed at a prompt."""
        at = self._at
        self.rig.keeper.typed(at.subject if at else "", at.step.name if at else "", typed)

    def obey(self, order: Order) -> None:
        """Do what an order asks that leaves the step where it is."""
        if order.what == "list":
            for line in listed(self.rig):
                self.rig.prompter.tell(line)
        elif self._at is not None:
            self.rig.prompter.tell(f"{about(self._at)}: {self._at.step.why}")

    # -- within ------------------------------------------------------------------------

    def _done(self, item: Item) -> Result:
        try:
            return DOES[item.step.name](self.rig, item)
        except (TravelError, LinkageError) as error:
            # What linkage or servo cannot do ends the step, not the run; the outputs are off.
            return settle(self.rig, item, Named("short travel", str(error), _cannot(item)), {})

    def _head(self, item: Item) -> None:
        progress = self.rig.progress
        tell = self.rig.prompter.tell
        tell("")
        tell(f"[{progress.done_count + 1}/{progress.count}] {about(item)}")
        tell(item.step.why)
        if again := progress.why_again(item):
            tell(again)

    def _note(self, item: Item, outcome: str, text: str, figures: Mapping[str, Any]) -> None:
        whole = {**figures, "print": self.rig.prints[item.key]}
        row = self.rig.keeper.step(item.subject, item.step.name, outcome, text, whole)
        self.rig.rows.append(row)
        self.rig.progress.add(row)
        if text:
            self.rig.prompter.tell(f"{outcome}: {text}")

    def _reopen(self, subject: str, step: str, text: str) -> None:
        for item in self.rig.progress.items:
            own = item.subject == subject or item.step.scope == "model"
            if item.step.name == step and own:
                self._note(item, "reopened", text, {})
                return

    def _leave(self, item: Item, order: Order) -> None:
        """Do what an order asks that ends the step under way."""
        if order.what == "stop":
            raise Stopped("stopped; the outputs are off, and what was typed is kept.")
        if order.what == "skip":
            if item.step.name == SIGNOFF:
                self.rig.prompter.tell("Signing cannot be left out; stop ends here unsigned.")
                return
            self._note(item, "skipped", order.text, {})
        elif order.what == "redo" and order.text:
            self._redo(item, order.text)

    def _redo(self, item: Item, text: str) -> None:
        """Open an earlier step again; by itself the step under way starts again."""
        step, _, subject = text.partition(" ")
        step, subject = step.lower(), subject.strip() or item.subject
        known = [one for one in self.rig.progress.items if one.step.name == step]
        wanted = [one for one in known if one.subject == subject] or (
            known if len(known) == 1 else []
        )
        if not wanted:
            steps = ", ".join(one.name for one in STEPS)
            which = ", ".join(one.subject for one in known) if known else steps
            what = "of which: " if known else "which step: "
            self.rig.prompter.tell(f"redo {text}: {what}{which}.")
            return
        if self.rig.progress.state(wanted[0]) == "open":
            self.rig.prompter.tell(f"{about(wanted[0])} is still to come.")
            return
        self._note(wanted[0], "reopened", travelling.REDO, {})


def _cannot(item: Item) -> tuple[Mend, ...]:
    """Return what helps where a servo or its linkage cannot do what a step needs."""
    if item.step.scope != "surface":
        return ()
    return (
        mend("refit", "fit the arm anew, nearer to its place", teeth=0, part_arm=None),
        mend("servo", "fit another servo, which turns further"),
    )


def listed(rig: Rig) -> list[str]:
    """Return the checklist with its state, a line for each item."""
    return [
        f"{rig.progress.state(item):8} {item.step.name:10} {about(item)}"
        for item in rig.progress.items
    ]
