"""What the guided run keeps in the records, and looks up there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from hingeline.bench.asking import Answer, Gauge
from hingeline.bench.boards import Boards
from hingeline.bench.choices import NOT_UNDERSTOOD, Chooser
from hingeline.bench.rigging.asbuilt import (
    AsBuilt,
    as_built,
    built_figures,
    built_of,
    still_holds,
)
from hingeline.bench.rigging.prompting import Typed
from hingeline.cli import calibrate as calibrating
from hingeline.cli.benchwork import Bench
from hingeline.cli.curves import curve_of, curve_row_of, nominal_of, unseat
from hingeline.cli.known import built_row_of
from hingeline.cli.models import ModelFile
from hingeline.cli.noting import step_note
from hingeline.errors import HingelineError, TravelError
from hingeline.kinds import BUILT, OTHER_SERVO
from hingeline.model.schema import Surface
from hingeline.records.store import RESUMED
from hingeline.rigging.naming import REOPENS
from hingeline.travel.curve import TravelCurve
from hingeline.travel.kinds import QUICK, THOROUGH, USUAL
from hingeline.travel.nominal import NominalCurve
from hingeline.travel.reading import Approach
from hingeline.travel.schedule import Step
from hingeline.travel.setting import Setting

_KINDS = {kind.name: kind for kind in (QUICK, USUAL, THOROUGH)}
#: The protractor at a bare arm.
_ARM = Gauge("arm", 0.5)


@dataclass(frozen=True)
class RecordsKeeper:
    """Keeps a sitting of a rig in the records.

    Attributes
    ----------
    bench : Bench
        Of the sitting.
    file : ModelFile
        The model.
    rig : int
        Number of the session that began the rig.
    """

    bench: Bench
    file: ModelFile
    rig: int

    def typed(self, subject: str, step: str, typed: Typed) -> None:
        """Keep what was typed at a prompt."""
        kind = "not understood" if typed.understood == NOT_UNDERSTOOD else "answered"
        figures = {
            "subject": subject,
            "step": step,
            "topic": typed.topic,
            "understood": typed.understood,
            "about": dict(typed.detail),
        }
        self.bench.records.note_remark(
            self.bench.session_id, kind, text=typed.text, figures=figures
        )

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
        at = Step(pulse_us, approach, True)
        notes = step_note(self.bench, surface.servo, gauge, surface)
        return notes.reading(at, answer, replaces, because)

    def step(
        self, subject: str, step: str, outcome: str, text: str, figures: Mapping[str, Any]
    ) -> Mapping[str, Any]:
        """Keep how a step ended, and return its row.

        What it says of the build comes first: should this be cut off, a surface is rather known
        to stop early than sent against its stop.
        """
        if any(subject == surface.name for surface in self.file.model.surfaces):
            row = {"surface": subject, "step": step, "outcome": outcome, "figures": figures}
            self._note_arm(subject, figures)
            self._note_built(subject, row)
        return self.bench.records.note_step(
            self.bench.session_id, subject, step, outcome, text, dict(figures)
        )

    def finding(self, kind: str, subject: str, figures: Mapping[str, Any]) -> None:
        """Keep a result."""
        self.bench.records.note_finding(self.bench.session_id, kind, subject, dict(figures))

    def curve(self, servo: str) -> TravelCurve | None:
        """Return a servo's travel curve, with its arm as it sits now; None without one."""
        return curve_of(self.bench.records, servo, simulated=self._simulated)

    def curve_number(self, servo: str) -> int | None:
        """Return the session of a servo's newest curve; None without one."""
        row = curve_row_of(self.bench.records, servo, simulated=self._simulated)
        return None if row is None else row.session_id

    def curve_from(self, servo: str) -> str:
        """Say when, on which model and in which session a servo's newest curve was measured."""
        row = curve_row_of(self.bench.records, servo, simulated=self._simulated)
        if row is None:
            return "no curve"
        model = self.bench.records.header(row.session_id)["model"] or "no model"
        return f"{row.noted[:10]} on {model}, session {row.session_id}"

    def nominal(self, servo: str) -> NominalCurve:
        """Return the maker's rate of a servo, with its arm as it sits now."""
        return nominal_of(
            self.bench.records, servo, self.file.model.servos[servo], simulated=self._simulated
        )

    def free_deg(self, surface: str) -> Mapping[str, float]:
        """Return the free travel that an earlier rig measured and the file does not gainsay."""
        before = self._before(surface)
        return {} if before is None else still_holds(before, self.file.model, surface)[0].free_deg

    @property
    def _simulated(self) -> bool:
        return self.bench.board.simulated

    def _before(self, surface: str) -> AsBuilt | None:
        """Return how a surface was known to be built when this rig began."""
        row = built_row_of(
            self.bench.records,
            self.file.model.name,
            surface,
            simulated=self._simulated,
            but_rig=self.rig,
        )
        return None if row is None else built_of(row["figures"])

    def _note_arm(self, subject: str, figures: Mapping[str, Any]) -> None:
        """Keep that nobody has read how an arm sits, once it or its servo was changed."""
        mend = figures.get("mend", {}).get("name")
        if mend == OTHER_SERVO or "seat" in REOPENS.get(mend, ()):
            servo = self.file.model.surface(subject).servo
            number = self.curve_number(servo)
            unseat(self.bench.records, self.bench.session_id, servo, mend, curve=number)

    def _note_built(self, subject: str, row: Mapping[str, Any]) -> None:
        """Keep how a surface is built by now, when that is news."""
        rows = [*self.bench.records.rig_steps(self.rig), row]
        built = built_figures(as_built(subject, rows, self._before(subject)))
        newest = built_row_of(
            self.bench.records, self.file.model.name, subject, simulated=self._simulated
        )
        figures = {**built, "rig": self.rig}
        if newest is None or newest["figures"] != figures:
            self.finding(BUILT, subject, figures)

    def calibrate(
        self, board: Boards, asker: Chooser, setting: Setting, kind: str
    ) -> tuple[str, ...]:
        """Measure a servo whose rod is off, or go on with that, in a session of its own.

        Returns
        -------
        tuple of str
            Why it is unfit for a control surface; empty when it is fit.
        """
        plan = calibrating.bench_calibration(setting, _ARM, kind=_KINDS[kind], rod_off=True)
        within = replace(self.bench, board=board, asker=asker)
        earlier, left_out = calibrating.earlier(within, setting, _ARM, rig=self.rig)
        plan = replace(plan, earlier=earlier, left_out=left_out)
        records = self.bench.records
        number = records.start_session(
            RESUMED if earlier else "calibrate",
            model_name=self.file.model.name,
            model_text=self.file.text,
            bench="simulated" if board.simulated else "board",
            board=board.info.board_id,
            firmware=board.info.firmware,
            rig=self.rig,
        )
        try:
            found = calibrating.measured(replace(within, session_id=number), plan, setting)
        except BaseException as error:
            records.end_session(number, _outcome(error))
            raise
        records.end_session(number, "done")
        return found.verdict.unfit


def _outcome(error: BaseException) -> str:
    if isinstance(error, TravelError):
        return f"{calibrating.NO_CURVE}: {error.message}"
    if isinstance(error, HingelineError):
        return f"failed: {error.message}"
    return "stopped by the user" if isinstance(error, KeyboardInterrupt) else f"failed: {error!r}"
