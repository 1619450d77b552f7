"""How the rig of a model stands by its records: what is left of it, and whether it was signed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from hingeline.bench.rigging.covering import prints_of
from hingeline.model.schema import Model, Surface
from hingeline.records.store import Records, Row
from hingeline.rigging.progress import Progress
from hingeline.rigging.remaining import SIGNOFF, Left, changed_since, left_of
from hingeline.rigging.steps import Item, checklist, pair_name


@dataclass(frozen=True)
class RigState:
    """A rig, held against the model file as it is now.

    Attributes
    ----------
    model : Model
    number : int
        The session that began it.
    begun : str
        When that was.
    rows : sequence
        Its steps, oldest first.
    """

    model: Model
    number: int
    begun: str
    rows: Sequence[Row]

    def touched(self, surface: Surface) -> bool:
        """Tell whether anything was done in it about a surface."""
        return any(row["surface"] == surface.name for row in self.rows)

    def left(self, surface: Surface) -> list[Left]:
        """Return what is left to do about a surface and its pair."""
        return left_of(self._progress, self._about(surface))

    def changed(self, surface: Surface) -> list[str]:
        """Return in what the model file has changed for a surface and its pair since."""
        return changed_since(self.model, self._progress, self._about(surface))

    @property
    def left_of_model(self) -> list[Left]:
        """What is left to do about the whole model, signing apart."""
        return left_of(self._progress, self._of_model)

    @property
    def changed_of_model(self) -> list[str]:
        """In what the model file has changed for the whole model since."""
        return changed_since(self.model, self._progress, self._of_model)

    @property
    def signed(self) -> str | None:
        """Who signed it; None: nobody did."""
        row = self._progress.last(self._signing)
        if row is None or row["outcome"] != "done":
            return None
        return str(row["figures"]["name"])

    @property
    def stands(self) -> bool:
        """Whether it was signed, and nothing was changed or done after that."""
        return self._progress.state(self._signing) == "done"

    @property
    def unsigned(self) -> str:
        """Why its signing does not stand, as the end of a sentence; empty: it stands."""
        if self.signed is None:
            return "was signed by nobody."
        if not self.stands:
            return f"was signed by {self.signed}, before something was changed or done again."
        return ""

    @property
    def _of_model(self) -> list[Item]:
        return [item for item in self._progress.items if item.step.scope == "model"]

    @property
    def _signing(self) -> Item:
        return next(item for item in self._of_model if item.step.name == SIGNOFF)

    def _about(self, surface: Surface) -> list[Item]:
        name = surface.name
        subjects = {name} | {
            pair_name(pair) for pair in self.model.pairs if name in (pair.left, pair.right)
        }
        return [item for item in self._progress.items if item.subject in subjects]

    @cached_property
    def _progress(self) -> Progress:
        covered = [surface for surface in self.model.surfaces if self.touched(surface)]
        items = checklist(self.model, covered)
        return Progress(items, prints_of(self.model, items, covered, self.rows), self.rows)


def newest_of(model: Model, records: Records, *, simulated: bool) -> RigState | None:
    """Return how a model's newest rig stands; None when there is none."""
    newest = records.newest_rig(model.name, simulated=simulated)
    return None if newest is None else rig_of(model, records, int(newest["id"]))


def rig_of(model: Model, records: Records, session_id: int) -> RigState:
    """Return how the rig stands to which a session belongs."""
    number = int(records.header(session_id)["rig"] or session_id)
    begun = str(records.header(number)["started"])
    return RigState(model, number, begun, records.rig_steps(number))
