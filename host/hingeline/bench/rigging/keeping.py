"""What the guided run needs kept, and what it looks up; whoever runs it brings the records."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Protocol

from hingeline.bench.asking import Answer, Gauge
from hingeline.bench.boards import Boards
from hingeline.bench.choices import Chooser
from hingeline.bench.rigging.prompting import Typed
from hingeline.model.schema import Surface
from hingeline.travel.curve import TravelCurve
from hingeline.travel.nominal import NominalCurve
from hingeline.travel.reading import Approach
from hingeline.travel.setting import Setting

#: A row of a step, as the records give it: id, noted, surface, step, outcome, text, figures.
Row = Mapping[str, Any]


class Keeper(Protocol):
    """Keeps everything the moment it is there; each call returns when it is on the disk."""

    def typed(self, subject: str, step: str, typed: Typed) -> None:
        """Keep what was typed at a prompt."""

    def reading(
        self,
        surface: Surface,
        pulse_us: int,
        approach: Approach,
        gauge: Gauge,
        answer: Answer,
        replaces: int | None = None,
        because: str = "",
    ) -> int:
        """Keep a reading, and that another no longer counts because of it; return its number."""

    def step(
        self, subject: str, step: str, outcome: str, text: str, figures: Mapping[str, Any]
    ) -> Row:
        """Keep how a step ended, and return its row."""

    def finding(self, kind: str, subject: str, figures: Mapping[str, Any]) -> None:
        """Keep a result."""

    def curve(self, servo: str) -> TravelCurve | None:
        """Return a servo's travel curve, with its arm as it sits now; None without one."""

    def curve_number(self, servo: str) -> int | None:
        """Return what tells a servo's newest curve from its others; None without one."""

    def nominal(self, servo: str) -> NominalCurve:
        """Return the maker's rate of a servo, with its arm as it sits now."""

    def free_deg(self, surface: str) -> Mapping[str, float]:
        """Return the free travel that an earlier rig measured and the file does not gainsay."""

    def curve_from(self, servo: str) -> str:
        """Say when, on which model and in which session a servo's newest curve was measured."""

    def calibrate(
        self, board: Boards, asker: Chooser, setting: Setting, kind: str
    ) -> tuple[str, ...]:
        """Measure a servo whose rod is off, or go on with that, and keep its curve.

        Parameters
        ----------
        kind : {"quick", "usual", "thorough"}
            How thorough.

        Returns
        -------
        tuple of str
            Why it is unfit for a control surface; empty when it is fit.

        Raises
        ------
        TravelError
            When the readings make no curve.
        """
