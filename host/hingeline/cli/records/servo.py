"""``hingeline records servo``."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from hingeline.cli import options
from hingeline.cli.output import emit, table, wrapped
from hingeline.cli.records.place import bench_words, day, existing
from hingeline.errors import HingelineError, RecordsError
from hingeline.kinds import OTHER_SERVO, SEAT, VERDICT
from hingeline.records.store import Records, Row

#: The maker's figures as they are said, in the order in which they are.
_SAID = (
    ("spline_teeth", "{:g} spline teeth"),
    ("pulse_class", "{}"),
    ("centre_us", "centre {:g} us"),
    ("rate_deg_per_us", "{:g} deg/us"),
    ("turns", "turns {} with rising pulse"),
    ("stall_torque_nm", "{:g} N m"),
)


@click.command("servo", short_help="Show every servo on record, or one with its history.")
@click.argument("label", required=False)
@options.records_option
@options.json_option
def command(label: str | None, records_path: Path | None, as_json: bool) -> None:
    """Show every servo on record, or one: its figures, its models, and all its calibrations.

    A curve belongs to the servo, not to the model: moved to another model, it brings it along.

    \b
    Examples:
      hingeline records servo
      hingeline records servo A1
    """
    with existing(records_path) as records:
        known = records.servos()
        if label is not None and label not in {row["servo"] for row in known}:
            labels = ", ".join(sorted({row["servo"] for row in known}))
            raise RecordsError(
                f"there is no servo {label!r} on record.", mend=f"On record: {labels or 'none'}."
            )
        if label is None:
            found = [{**row, **_newest(records, row)} for row in known]
        else:
            found = [_whole(records, row) for row in known if row["servo"] == label]
    emit(
        {"servos": found}, as_json=as_json, text=_listed(found) if label is None else _told(found)
    )


def _newest(records: Records, row: Row) -> Row:
    """Return what is said of a servo in one line."""
    servo, simulated = row["servo"], row["simulated"]
    said = records.newest_servo(servo, simulated=simulated)
    curve = records.latest_curve(servo, simulated=simulated)
    verdict = records.latest_finding(VERDICT, servo, simulated=simulated)
    return {
        "maker": None if said is None else said["figures"],
        "newest": None if curve is None else _calibration(curve, None),
        "verdict": _verdict(verdict),
    }


def _whole(records: Records, row: Row) -> Row:
    servo, simulated = row["servo"], row["simulated"]
    models = records.models_of_servo(servo, simulated=simulated)
    verdicts = {
        one["session_id"]: one
        for one in records.finding_history(VERDICT, servo, simulated=simulated)
    }
    curves = records.curve_history(servo, simulated=simulated)
    history = [_calibration(one, verdicts.pop(one["session_id"], None)) for one in curves]
    # A calibration may end in a verdict without a curve.
    history += [_calibration(None, one) for one in verdicts.values()]
    history.sort(key=lambda one: (one["noted"], one["session_id"]), reverse=True)
    seat = records.latest_finding(SEAT, servo, simulated=simulated)
    return {
        **row,
        "maker": _maker(records, servo, models, simulated=simulated),
        "models": [{key: one[key] for key in one if key != "text"} for one in models],
        "calibrations": history,
        "seat": None if seat is None else {**seat["figures"], "noted": seat["noted"]},
    }


def _maker(
    records: Records, servo: str, models: list[Row], *, simulated: bool
) -> dict[str, Any] | None:
    """Return the maker's figures: as kept, or else from the model file that was used last."""
    said = records.newest_servo(servo, simulated=simulated)
    if said is not None:
        figures: dict[str, Any] = said["figures"]
        return figures
    if not models:
        return None
    from hingeline.cli.records.makers import makers_figures
    from hingeline.model.reading import parse_model

    try:
        model = parse_model(models[0]["text"], source=models[0]["model"])
    except HingelineError:  # of an older form
        return None
    if servo not in model.servos:
        return None
    return makers_figures(model.servos[servo])


def _calibration(curve: Row | None, verdict: Row | None) -> Row:
    whole = {} if curve is None else curve["curve"]
    noted = curve if curve is not None else verdict or {}
    return {
        "session_id": noted.get("session_id"),
        "noted": noted.get("noted"),
        "centre_us": whole.get("centre_us"),
        "rate_deg_per_us": whole.get("rate_deg_per_us"),
        "hysteresis_deg": whole.get("hysteresis_deg"),
        "verdict": _verdict(verdict),
    }


def _verdict(found: Row | None) -> str | None:
    if found is None:
        return None
    figures = found["figures"]
    if not figures.get("fit", True):
        return "UNFIT"
    return "doubt" if figures.get("doubts") else "fit"


def _figure(value: float | None, places: int) -> str:
    return "-" if value is None else f"{value:.{places}f}"


def _listed(found: list[Row]) -> Iterator[str]:
    if not found:
        yield "No servo is on record yet."
        return
    rows = []
    for row in found:
        maker, newest = row["maker"] or {}, row["newest"] or {}
        rows.append(
            (
                row["servo"],
                bench_words(row["simulated"]),
                str(maker.get("spline_teeth", "-")),
                str(row["curves"]),
                _figure(newest.get("centre_us"), 0),
                _figure(newest.get("rate_deg_per_us"), 4),
                _figure(newest.get("hysteresis_deg"), 1),
                row["verdict"] or "-",
                day(row["last_used"]),
            )
        )
    headings = ["servo", "bench", ">teeth", ">curves", ">centre, us", ">rate, deg/us"]
    headings += [">gap, deg", "verdict", "last used"]
    yield from table(headings, rows).splitlines()


def _seated(seat: Row) -> str:
    if "unread" not in seat:
        return "Its arm was put on and its lean read"
    if seat["unread"] == OTHER_SERVO:
        return "Another servo was fitted in its place"
    return "Its arm was put on anew, its lean not read,"


def _told(found: list[Row]) -> Iterator[str]:
    for row in found:
        yield f"Servo {row['servo']}, {bench_words(row['simulated'])} bench"
        maker = row["maker"]
        if maker is not None:
            said = [form.format(maker[key]) for key, form in _SAID if maker.get(key) is not None]
            yield wrapped(f"  By the model file: {', '.join(said)}")
        for model in row["models"]:
            yield (
                f"  On {model['model']}: {day(model['first_used'])} to {day(model['last_used'])}, "
                f"{model['sessions']} session{'' if model['sessions'] == 1 else 's'}"
            )
        if len(row["models"]) > 1 and row["calibrations"]:
            yield "  Its newest curve serves on each of them."
        if not row["calibrations"]:
            yield "  It was never calibrated."
            continue
        rows = [
            (
                day(one["noted"]),
                str(one["session_id"]),
                _figure(one["centre_us"], 0),
                _figure(one["rate_deg_per_us"], 4),
                _figure(one["hysteresis_deg"], 1),
                one["verdict"] or "-",
            )
            for one in row["calibrations"]
        ]
        headings = ["calibrated", ">session", ">centre, us", ">rate, deg/us", ">gap, deg"]
        yield from (f"  {line}" for line in table([*headings, "verdict"], rows).splitlines())
        if row["seat"] is not None:
            yield f"  {_seated(row['seat'])} on {day(row['seat']['noted'])}."
