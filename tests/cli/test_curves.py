"""The curve of a servo on record follows its arm."""

from datetime import datetime, timedelta, timezone

import numpy as np
import pytest

from hingeline.cli.calibrated import keep
from hingeline.cli.curves import curve_of, curve_row_of, nominal_of, unseat
from hingeline.kinds import OTHER_SERVO
from hingeline.records.store import Records
from hingeline.travel.fit import fit
from hingeline.travel.schedule import traverse
from tests.support.rigging import MODEL
from tests.support.servo_truth import ServoTruth

STEPS = traverse(1000, 2000, limits_us=(900, 2100), start_us=1500)
CURVE = fit(ServoTruth(0.09).read(STEPS, np.random.default_rng(1), 0.5))
SEAT = {"arm_deg": 14.0, "pulse_us": 1500, "u_deg": 0.5, "lean_deg": 14.0, "planned_lean_deg": 0}


class Clock:
    def __init__(self):
        self.now = datetime(2026, 5, 1, tzinfo=timezone.utc)

    def __call__(self):
        self.now += timedelta(minutes=1)
        return self.now


@pytest.fixture
def records(tmp_path):
    with Records(tmp_path / "r.sqlite", now=Clock()) as made:
        yield made


def session(records):
    return records.start_session("rig", bench="board")


def at_centre(records):
    return float(curve_of(records, "A1", simulated=False).angle_deg(1500.0))


def test_without_a_calibration_there_is_no_curve(records):
    records.note_finding(session(records), "seat", "A1", SEAT)
    assert curve_of(records, "A1", simulated=False) is None


def test_an_arm_put_on_later_moves_the_curve(records):
    first = session(records)
    records.note_curve(first, "A1", CURVE.to_dict())
    before = at_centre(records)
    records.note_finding(session(records), "seat", "A1", SEAT)
    assert before == pytest.approx(0.0, abs=0.5)
    assert at_centre(records) == pytest.approx(14.0)
    row = curve_row_of(records, "A1", simulated=False)
    assert row.session_id == first
    assert row.seated > row.noted


def test_an_arm_put_on_before_the_calibration_does_not(records):
    records.note_finding(session(records), "seat", "A1", SEAT)
    records.note_curve(session(records), "A1", CURVE.to_dict())
    assert at_centre(records) == pytest.approx(0.0, abs=0.5)
    assert curve_row_of(records, "A1", simulated=False).seated is None


def test_a_seat_that_names_its_curve_moves_that_one_alone(records):
    first = session(records)
    records.note_curve(first, "A1", CURVE.to_dict())
    rig = session(records)
    records.note_finding(rig, "seat", "A1", {**SEAT, "curve": first})
    assert at_centre(records) == pytest.approx(14.0)
    records.note_curve(session(records), "A1", CURVE.to_dict())
    assert at_centre(records) == pytest.approx(0.0, abs=0.5)


def test_a_seat_of_the_simulated_bench_moves_nothing_real(records):
    records.note_curve(session(records), "A1", CURVE.to_dict())
    played = records.start_session("rig", bench="simulated")
    records.note_finding(played, "seat", "A1", SEAT)
    assert at_centre(records) == pytest.approx(0.0, abs=0.5)


def calibrated(records):
    number = session(records)
    records.note_curve(number, "A1", CURVE.to_dict())
    return number


def test_an_arm_put_on_anew_and_not_read_is_not_where_it_was_read_before(records):
    first = calibrated(records)
    rig = session(records)
    records.note_finding(rig, "seat", "A1", {**SEAT, "curve": first})
    unseat(records, rig, "A1", "refit", curve=first)
    assert at_centre(records) == pytest.approx(0.0, abs=0.5)
    row = curve_row_of(records, "A1", simulated=False)
    assert (row.seated, row.unread) == (None, True)
    records.note_finding(rig, "seat", "A1", {**SEAT, "curve": first, "arm_deg": 7.0})
    assert at_centre(records) == pytest.approx(7.0)
    calibrated(records)
    assert curve_row_of(records, "A1", simulated=False).unread is False


def test_the_curve_of_a_servo_that_is_gone_is_void_whatever_is_read_later(records):
    first = calibrated(records)
    rig = session(records)
    unseat(records, rig, "A1", OTHER_SERVO, curve=first)
    assert curve_of(records, "A1", simulated=False) is None
    records.note_finding(rig, "seat", "A1", {**SEAT, "curve": None})
    assert curve_of(records, "A1", simulated=False) is None
    calibrated(records)
    assert at_centre(records) == pytest.approx(0.0, abs=0.5)


def test_without_a_curve_the_seat_moves_the_makers_rate(records):
    servo = MODEL.servos["A1"]

    def angle():
        return nominal_of(records, "A1", servo, simulated=False).angle_deg(1500.0)

    assert angle() == 0.0
    rig = session(records)
    records.note_finding(rig, "seat", "A1", {**SEAT, "curve": None})
    assert angle() == pytest.approx(14.0)
    unseat(records, rig, "A1", "refit", curve=None)
    assert angle() == 0.0


def test_a_new_servo_is_not_compared_with_the_one_that_is_gone(records):
    def kept():
        return keep(records, session(records), "A1", CURVE, simulated=False, teeth=25)

    kept()
    assert kept().since is not None
    number = curve_row_of(records, "A1", simulated=False).session_id
    unseat(records, session(records), "A1", OTHER_SERVO, curve=number)
    assert kept().since is None
