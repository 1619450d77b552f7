"""A servo that must not drive a control surface is told, with the reason."""

from dataclasses import replace

import numpy as np
import pytest

from hingeline.errors import TravelError
from hingeline.travel.fit import fit
from hingeline.travel.reading import shaft_reading
from hingeline.travel.schedule import traverse
from hingeline.travel.terms import figures_of
from hingeline.travel.verdict import MOST_GAP_DEG, MOST_NOISE_DEG, verdict, verdict_on
from tests.support.servo_truth import ServoTruth

STEPS = traverse(1000, 2000, limits_us=(900, 2100), start_us=1500)


def readings(play_deg=1.0, noise_deg=0.1, seed=3):
    servo = ServoTruth(0.09, bend_deg=1.0, play_deg=play_deg, noise_deg=noise_deg)
    return servo.read(STEPS, np.random.default_rng(seed))


def test_nothing_speaks_against_a_sound_servo():
    found = verdict_on(readings())
    assert found.fit
    assert (found.unfit, found.doubts) == ((), ())


def test_a_servo_that_keeps_turning():
    turning = readings()
    turning[4] = replace(turning[4], settled=False)
    found = verdict_on(turning)
    assert not found.fit
    assert found.unfit[0].startswith(f"It keeps turning (at {turning[4].pulse_us:g} us)")


def test_a_curve_that_folds_back():
    # Read so from both sides: no slip of the pencil, and no digit of it would explain it.
    folded = [replace(r, angle_deg=abs(r.angle_deg), as_typed="") for r in readings()]
    found = verdict_on(folded)
    assert "folds back" in found.unfit[0]
    assert "re-measure" not in found.unfit[0]


def test_a_gap_over_the_limit():
    assert verdict_on(readings(play_deg=MOST_GAP_DEG - 0.5)).fit
    found = verdict_on(readings(play_deg=MOST_GAP_DEG + 0.5))
    assert not found.fit
    assert "up/down difference is 3.5 deg, over 3 deg" in found.unfit[0]


def test_a_gap_that_may_be_over_the_limit_is_a_doubt():
    curve = replace(fit(readings()), hysteresis_deg=3.1, hysteresis_deg_u=0.2)
    found = verdict(curve)
    assert found.fit
    assert "3.1 deg, over 3 deg" in found.doubts[0]


def test_scatter_over_the_limit():
    assert verdict_on(readings(noise_deg=MOST_NOISE_DEG / 2)).fit
    assert "scatter of its readings" in verdict_on(readings(noise_deg=4.0)).unfit[0]


def test_readings_that_do_not_tell_are_no_verdict():
    with pytest.raises(TravelError, match="3 are the least"):
        verdict_on([shaft_reading(1500, "rising", 0.0), shaft_reading(1600, "rising", 9.0)])


def test_every_figure_has_a_unit_a_meaning_and_an_uncertainty():
    repeated = [*readings(), *readings(seed=4)]
    found = figures_of(fit(repeated))
    assert [figure.name for figure in found] == [
        "centre",
        "centre error",
        "rate",
        "lower limit",
        "upper limit",
        "up/down difference",
        "dead band by the curve",
        "linearity",
        "terminal-based linearity",
        "repeatability",
        "noise",
    ]
    assert all(figure.u is not None and figure.term for figure in found)
    assert {figure.unit for figure in found} == {"us", "deg", "deg/us"}


def test_figures_that_were_not_measured_are_left_out():
    one_way = fit([reading for reading in readings() if reading.approach == "rising"])
    names = {figure.name for figure in figures_of(one_way)}
    assert not names & {"up/down difference", "dead band by the curve", "repeatability"}
    assert {"centre", "rate", "linearity"} <= names


def test_a_curve_that_folds_back_part_of_the_way():
    folded = [
        replace(r, angle_deg=min(r.angle_deg, 40.0 - r.angle_deg), as_typed="") for r in readings()
    ]
    assert "further at" in verdict_on(folded).unfit[0]
