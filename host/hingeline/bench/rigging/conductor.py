"""The guided run: one step after the other, each kept as soon as it ends."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import replace
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
from hingeline.errors import HingelineError, LinkageError, Stopped, TravelError
from hingeline.rigging.mends import bare_named, travel_named
from hingeline.rigging.naming import Named, mend
from hingeline.rigging.progress import REOPENS
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
_GOES_ON = "stop ends here, and the next run goes on from here."
#: What cannot be left out, and why.
_NEVER_SKIPPED: Mapping[str, str] = {
    "class": f"Nothing may move before the pulse classes are known; {_GOES_ON}",
    "centre": "Nothing else of this surface may move before it is known, with the arms off, which "
    f"servo does; {_GOES_ON}",
    "signoff": "Signing cannot be left out; stop ends here unsigned.",
}
#: Parts what was found wrong from why it was not looked at again.
_LEFT_OUT = " Not looked at again: "


class Conductor:
    """Takes a rig from where it stands to its end.

    Parameters
    ----------
    rig : Rig
        Its prompter must give orders and typed texts to `obey`, `refused` and `keep` of this
        conductor.
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
            if waits := progress.waits_for(item.step, item.subject):
                self._left_out(item, f"waits for {waits}")
                continue
            try:
                result = self._done(item)
            except Ordered as ordered:
                self._leave(item, ordered.order)
                continue
            opened = {REOPENS: [list(one) for one in result.reopens]} if result.reopens else {}
            self._note(item, result.outcome, result.text, {**result.figures, **opened})
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

    def refused(self, order: Order) -> str:
        """Say why an order cannot be followed; empty when it can.

        The question is then put again, and nothing moves once more for it.
        """
        if self._at is None:
            return ""
        if order.what == "skip":
            return _NEVER_SKIPPED.get(self._at.step.name, "")
        if order.what != "redo" or not order.text:
            return ""
        found = self._meant(order.text, self._at)
        if isinstance(found, str):
            return found
        to_come = found is not self._at and self.rig.progress.state(found) == "open"
        return f"{about(found)} is still to come." if to_come else ""

    # -- within ------------------------------------------------------------------------

    def _done(self, item: Item) -> Result:
        try:
            return DOES[item.step.name](self.rig, item)
        except (TravelError, LinkageError) as error:
            # What linkage or servo cannot do ends the step, not the run; the outputs are off.
            return settle(self.rig, item, cannot(self.rig, item, error), {})

    def _head(self, item: Item) -> None:
        progress = self.rig.progress
        tell = self.rig.prompter.tell
        tell("")
        tell(f"[{progress.items.index(item) + 1}/{progress.count}] {about(item)}")
        tell(item.step.why)
        if again := progress.why_again(item):
            tell(again)

    def _note(self, item: Item, outcome: str, text: str, figures: Mapping[str, Any]) -> None:
        whole = {**figures, "print": self.rig.prints[item.key]}
        row = self.rig.keeper.step(item.subject, item.step.name, outcome, text, whole)
        self.rig.rows.append(row)
        self.rig.progress.add(row)
        if text and outcome != "reopened":  # the step itself says why it is there again
            self.rig.prompter.tell(f"{outcome}: {text}")

    def _left_out(self, item: Item, reason: str) -> None:
        """Leave a step out; what it found to be wrong stays so, with what was read then."""
        before = self.rig.found(item.step.name, item.subject)
        if before is None or before["outcome"] != "failed":
            self._note(item, "skipped", reason, {})
            return
        earlier = before["figures"]
        text = before["text"].partition(_LEFT_OUT)[0]
        figures = {
            "cause": earlier.get("cause", "unknown"),
            "left": reason,
            # Apart: what stood then is on record, and nobody takes it for what stands now.
            "before": earlier.get("before", dict(earlier)),
        }
        self._note(item, "failed", f"{text}{_LEFT_OUT}{reason}", figures)

    def _leave(self, item: Item, order: Order) -> None:
        """Do what an order asks that ends the step under way."""
        if order.what == "stop":
            raise Stopped("stopped; the outputs are off, and what was typed is kept.")
        if order.what == "skip":
            self._left_out(item, order.text)
        elif order.what == "redo" and order.text:
            # By itself the step under way starts again.
            found = self._meant(order.text, item)
            if isinstance(found, Item) and found is not item:
                self._note(found, "reopened", travelling.REDO, {})

    def _meant(self, text: str, item: Item) -> Item | str:
        """Return the item that a redo names; a sentence that says what there is, if none."""
        step, _, subject = text.partition(" ")
        step, subject = step.lower(), subject.strip() or item.subject
        known = [one for one in self.rig.progress.items if one.step.name == step]
        wanted = [one for one in known if one.subject == subject] or (
            known if len(known) == 1 else []
        )
        if wanted:
            return wanted[0]
        steps = ", ".join(one.name for one in STEPS)
        which = ", ".join(one.subject for one in known) if known else steps
        return f"redo {text}: {'of which: ' if known else 'which step: '}{which}."


def cannot(rig: Rig, item: Item, error: HingelineError) -> Named:
    """Name why a servo or its linkage cannot do what a step needs, with what would help."""
    if item.step.scope != "surface":
        return Named("unknown", str(error), ())
    free = rig.built(item.subject).free_deg
    named = bare_named(rig.planned(item.subject), free)
    with suppress(HingelineError):
        named = travel_named(rig.setting(item.subject), free) or named
    if named is not None:
        return replace(named, text=f"{error.message} {named.text}")
    mends = (
        mend("refit", "fit the arm anew, where it is planned", teeth=0, part_arm=None),
        mend("servo", "fit another servo, if it is the servo that does not turn as it should"),
    )
    return Named("unknown", str(error), mends)


def listed(rig: Rig) -> list[str]:
    """Return the checklist with its state, a line for each item."""
    return [
        f"{rig.progress.state(item):8} {item.step.name:10} {about(item)}"
        for item in rig.progress.items
    ]
