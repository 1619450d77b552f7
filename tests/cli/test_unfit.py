"""A servo's newest calibration speaks for or against it, whatever numbers its sessions have."""

from datetime import datetime, timezone

import pytest

from hingeline.cli.verdicts import found_unfit
from hingeline.records.store import Records


@pytest.fixture
def noted(tmp_path):
    """Note calibrations: each a year, whether the servo was fit, whether it gave a curve."""
    path = tmp_path / "r.sqlite"

    def note(*calibrations):
        for year, fit, curve in calibrations:
            with Records(path, now=lambda: datetime(year, 1, 1, tzinfo=timezone.utc)) as records:  # noqa: B023
                session = records.start_session("calibrate", bench="board")
                if curve:
                    records.note_curve(session, "A1", {})
                if fit is not None:
                    figures = {"fit": fit, "unfit": [] if fit else ["it sticks."], "doubts": []}
                    records.note_finding(session, "verdict", "A1", figures)
        with Records(path) as records:
            return found_unfit(records, "A1", simulated=False)

    return note


def test_a_verdict_without_a_curve_is_lifted_by_a_later_curve(noted):
    assert noted((2025, False, False), (2026, None, True)) is None


def test_an_older_curve_taken_in_later_lifts_nothing(noted):
    unfit = noted((2025, False, False), (2024, None, True))
    assert unfit is not None
    assert unfit.without_curve is True


def test_a_later_verdict_with_a_lower_number_still_stands(noted):
    unfit = noted((2026, False, False), (2025, True, True))
    assert unfit is not None
    assert (unfit.without_curve, unfit.reasons) == (True, "it sticks.")


def test_a_curve_of_the_same_calibration_is_warned_of(noted):
    unfit = noted((2025, False, True))
    assert unfit is not None
    assert unfit.without_curve is False
