"""Readings that were noted on paper: fitted and kept without a bench."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from hingeline.bench.asking import Gauge, arm_question, surface_question, understand
from hingeline.bench.readings import Making, at_arm, at_surface
from hingeline.cli import models
from hingeline.cli.benchwork import default_records
from hingeline.errors import TravelError
from hingeline.model.schema import Servo, Surface
from hingeline.records.store import Records
from hingeline.travel.curve import TravelCurve
from hingeline.travel.fit import fit
from hingeline.travel.paper import Line, read_table, readings_of
from hingeline.travel.reading import Reading
from hingeline.travel.setting import setting_of

USUAL_CENTRE_US = 1500


def fit_table(
    table: Path, model: Path | None, servo: str | None, gauge: Gauge, records_path: Path | None
) -> tuple[str | None, TravelCurve]:
    """Fit a table of readings; with a MODEL and SERVO, keep it in the records.

    Raises
    ------
    TravelError
        For a table that cannot be read, or readings that make no curve.
    """
    text = _read(table)
    lines = read_table(text, source=str(table))
    if model is None or servo is None:
        if gauge.at_surface:
            raise TravelError(
                "readings at the surface need the linkage.",
                mend="Name the MODEL file and the SERVO as well.",
            )
        readings = readings_of(lines, _maker(gauge, at_arm(gauge), None), source=str(table))
        return servo, fit(readings, nominal_centre_us=USUAL_CENTRE_US)
    file = models.load(model)
    surface = models.surface_of_servo(file, servo)
    of_model: Servo = file.model.servo_of(surface)
    make = at_arm(gauge)
    if gauge.at_surface:
        make = at_surface(gauge, setting_of(surface, of_model, None))
    readings = readings_of(lines, _maker(gauge, make, surface), source=str(table))
    curve = fit(readings, nominal_centre_us=of_model.centre_us)
    _keep(records_path or default_records(), file, servo, surface, gauge, readings, curve)
    return servo, curve


def _read(table: Path) -> str:
    try:
        return table.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise TravelError(
            f"{table}: cannot be read ({error}).", mend="Check the name; save it as UTF-8 text."
        ) from None


def _maker(gauge: Gauge, make: Making, surface: Surface | None) -> Callable[[Line], Reading]:
    def maker(line: Line) -> Reading:
        if gauge.at_surface and surface is not None:
            question = surface_question(surface, surface.channel, gauge, assumed=None)
        else:
            question = arm_question("", 0, line.pulse_us, gauge)
        return make(line.pulse_us, line.approach, understand(question, line.typed))

    return maker


def _keep(
    path: Path,
    file: models.ModelFile,
    servo: str,
    surface: Surface,
    gauge: Gauge,
    readings: list[Reading],
    curve: TravelCurve,
) -> None:
    with Records(path) as records:
        session = records.start_session(
            "calibrate", model_name=file.model.name, model_text=file.text
        )
        for reading in readings:
            records.note_reading(
                session,
                servo=servo,
                surface=surface.name,
                pulse_us=reading.pulse_us,
                approach=reading.approach,
                gauge=gauge.kind,
                resolution=gauge.resolution,
                typed=reading.as_typed,
                value=reading.angle_deg,
                unit="deg",
            )
        records.note_curve(session, servo, curve.to_dict())
        records.end_session(session, "done")
