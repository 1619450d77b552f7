"""Readings that were noted on paper: fitted and kept without a bench."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from pathlib import Path

from hingeline import units
from hingeline.bench.asking import (
    TURNING,
    Answer,
    Gauge,
    Question,
    arm_question,
    surface_question,
    understand,
)
from hingeline.bench.doubting import figures_of, said
from hingeline.bench.readings import Making, at_arm, making, retyped
from hingeline.cli import models, noting
from hingeline.cli.benchwork import default_records
from hingeline.cli.calibrated import Calibrated, calibrated, keep
from hingeline.cli.output import tell
from hingeline.cli.verdicts import keep_verdict
from hingeline.errors import TravelError, UnfitError
from hingeline.linkage.closure import Linkage
from hingeline.model.schema import Surface
from hingeline.model.words import split_direction
from hingeline.records.store import Records
from hingeline.travel.curve import TravelCurve
from hingeline.travel.fit import fit
from hingeline.travel.indirect import moved_by_linkage
from hingeline.travel.judging import Doubt, doubt_among
from hingeline.travel.paper import Line, read_table, readings_of
from hingeline.travel.reading import Reading
from hingeline.travel.setting import setting_of
from hingeline.travel.verdict import unfit_by

USUAL_CENTRE_US = 1500


def fit_table(
    table: Path, model: Path | None, servo: str | None, gauge: Gauge, records_path: Path | None
) -> Calibrated:
    """Fit a table of readings; with a MODEL and SERVO, keep it in the records.

    Raises
    ------
    TravelError
        For a table that cannot be read, or readings that make no curve.
    """
    if model is None or servo is None:
        if gauge.at_surface:
            raise TravelError(
                "readings at the surface need the linkage.",
                mend="Name the MODEL file and the SERVO as well.",
            )
        bare = _Table(table, gauge, None, at_arm(gauge))
        curve = bare.fit(USUAL_CENTRE_US)
        bare.tell_doubts(curve)
        return calibrated(servo, curve)
    file = models.load(model)
    surface = models.surface_of_servo(file, servo)
    of_model = file.model.servo_of(surface)
    setting = setting_of(surface, of_model, None)
    linkage = setting.linkage if gauge.at_surface else None
    noted = _Table(table, gauge, surface, making(gauge, setting), linkage)
    try:
        curve = noted.fit(of_model.centre_us)
    except UnfitError as error:
        with Records(records_path or default_records()) as records:
            session = _session(records, file)
            keep_verdict(records, session, servo, unfit_by(error))
            records.end_session(session, "unfit")
        raise
    noted.tell_doubts(curve)
    with Records(records_path or default_records()) as records:
        session = _session(records, file)
        doubts = noted.doubts(curve)
        notes = noting.StepNotes(records, session, servo, gauge, surface)
        for place, (line, answer) in enumerate(noted.answers):
            row = notes.reading(line.step, answer)
            if place in doubts:
                notes.remark("questioned", row, said(doubts[place]), figures_of(doubts[place]))
        found = keep(records, session, servo, curve, simulated=False, teeth=of_model.spline_teeth)
        records.end_session(session, "done")
    return found


def _session(records: Records, file: models.ModelFile) -> int:
    return records.start_session("calibrate", model_name=file.model.name, model_text=file.text)


@dataclass
class _Table:
    """A table of readings, and how it is understood."""

    path: Path
    gauge: Gauge
    surface: Surface | None
    make: Making
    linkage: Linkage | None = None
    answers: list[tuple[Line, Answer]] = field(default_factory=list)

    def fit(self, centre_us: float) -> TravelCurve:
        """Read and fit; errors name the file."""
        lines = read_table(_text(self.path), source=str(self.path))
        readings = readings_of(lines, self._reading, source=str(self.path))
        try:
            return fit(
                readings,
                nominal_centre_us=centre_us,
                together_deg=moved_by_linkage(readings, self.linkage) if self.linkage else (),
            )
        except TravelError as error:
            raise type(error)(
                f"{self.path}: {error.message}", cause=error.cause, mend=error.mend
            ) from None

    def doubts(self, curve: TravelCurve) -> dict[int, Doubt]:
        """Judge the curve's suspects by all other readings; by their place in the table."""
        suspects = {suspect.index for suspect in curve.suspects}
        found = {}
        for place in sorted(suspects):
            line, _ = self.answers[place]
            before, behind = (
                [curve.readings[one] for one in places if one not in suspects]
                for places in (range(place), range(place + 1, len(curve.readings)))
            )
            again = retyped(self._question(line), line.typed, line.step, self.make)
            doubt = doubt_among(before, behind, curve.readings[place], again)
            if doubt is not None:
                found[place] = doubt
        return found

    def tell_doubts(self, curve: TravelCurve) -> None:
        """Say of the curve's suspects in which line they stand, and what was probably meant."""
        for place, doubt in self.doubts(curve).items():
            tell(f"{self.path}, line {self.answers[place][0].number}: {said(doubt)}")

    def _reading(self, line: Line) -> Reading:
        question = self._question(line)
        _, value = split_direction(line.typed, tuple(question.signs))
        if value.lower() not in (TURNING, "neutral"):
            units.parse(value, self.gauge.quantity)  # in a file a value carries its unit
        answer = understand(question, line.typed)
        self.answers.append((line, answer))
        return self.make(line.pulse_us, line.approach, answer)

    def _question(self, line: Line) -> Question:
        if self.gauge.at_surface and self.surface is not None:
            return surface_question(self.surface, self.surface.channel, self.gauge, assumed=None)
        # Nobody can be asked again: a slip such as 270 deg is left to the fit, which names it
        # together with what was probably meant.
        return replace(arm_question("", 0, line.pulse_us, self.gauge), most=math.inf)


def _text(table: Path) -> str:
    try:
        return table.read_text("utf-8")
    except OSError as error:
        raise TravelError(
            f"{table}: cannot be read ({error.strerror}).", mend="Check the name."
        ) from None
    except UnicodeDecodeError as error:
        raise TravelError(
            f"{table}: byte {error.start} is not UTF-8 text.", mend="Save the file as UTF-8."
        ) from None
