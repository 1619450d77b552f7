"""What the guided run keeps in the records, and looks up there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from hingeline.bench.asking import Answer, Gauge
from hingeline.bench.boards import Boards
from hingeline.bench.choices import NOT_UNDERSTOOD, Chooser
from hingeline.bench.rigging.prompting import Typed
from hingeline.cli import calibrate as calibrating
from hingeline.cli.benchwork import Bench
from hingeline.cli.curves import curve_of
from hingeline.cli.models import ModelFile
from hingeline.errors import HingelineError, TravelError
from hingeline.model.schema import Surface
from hingeline.records.store import RESUMED
from hingeline.travel.curve import TravelCurve
from hingeline.travel.kinds import QUICK, THOROUGH, USUAL
from hingeline.travel.reading import Approach
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
        return self.bench.records.note_reading(
            self.bench.session_id,
            servo=surface.servo,
            surface=surface.name,
            pulse_us=pulse_us,
            approach=approach,
            gauge=gauge.kind,
            resolution=gauge.resolution,
            typed=answer.typed,
            value=answer.value,
            unit=answer.unit,
            replaces=replaces,
            because=because,
        )

    def step(
        self, subject: str, step: str, outcome: str, text: str, figures: Mapping[str, Any]
    ) -> Mapping[str, Any]:
        """Keep how a step ended, and return its row."""
        return self.bench.records.note_step(
            self.bench.session_id, subject, step, outcome, text, dict(figures)
        )

    def finding(self, kind: str, subject: str, figures: Mapping[str, Any]) -> None:
        """Keep a result."""
        self.bench.records.note_finding(self.bench.session_id, kind, subject, dict(figures))

    def curve(self, servo: str) -> TravelCurve | None:
        """Return a servo's travel curve, with its arm as it sits now; None without one."""
        return curve_of(self.bench.records, servo, simulated=self.bench.board.simulated)

    def curve_number(self, servo: str) -> int | None:
        """Return the session of a servo's newest curve; None without one."""
        row = self.bench.records.latest_curve(servo, simulated=self.bench.board.simulated)
        return None if row is None else int(row["session_id"])

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
