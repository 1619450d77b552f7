"""Two calibrations of one servo: changes are told, and only changes."""

from dataclasses import replace

import numpy as np
import pytest

from hingeline.errors import TravelError
from hingeline.travel.comparing import FALSE_ALARM, compare
from hingeline.travel.fit import fit
from hingeline.travel.schedule import traverse
from tests.support.servo_truth import ServoTruth, random_servo

STEPS = traverse(1000, 2000, limits_us=(900, 2100), start_us=1500)
SERVO = ServoTruth(0.09, centre_us=1510.0, bend_deg=1.0, play_deg=0.6, noise_deg=0.1)


def calibrated(seed=0, steps=STEPS, **changed):
    return fit(replace(SERVO, **changed).read(steps, np.random.default_rng(seed)))


def change(found, name):
    return next(change for change in found.changes if change.name == name)


def test_the_same_servo_seldom_shows_a_change():
    alarms = []
    for seed in range(150):
        rng = np.random.default_rng([77, seed])
        servo, gauge = random_servo(rng), float(rng.choice([0.25, 0.5, 1.0, 2.0]))
        old, new = (fit(servo.read(STEPS, rng, gauge)) for _ in range(2))
        found = compare(old, new)
        alarms.append(found.changed)
        assert found.changed or found.words == ()
    # Three standard deviations of a binomial share above what is promised.
    assert np.mean(alarms) <= FALSE_ALARM + 3.0 * np.sqrt(FALSE_ALARM * (1 - FALSE_ALARM) / 150)


def test_figures_then_and_now():
    old, new = calibrated(), calibrated(1)
    found = compare(old, new)
    assert not found.changed
    centre = change(found, "centre")
    assert (centre.old, centre.new) == (old.centre_us, new.centre_us)
    assert centre.difference == new.centre_us - old.centre_us
    assert centre.u == pytest.approx(np.hypot(old.centre_us_u, new.centre_us_u))
    assert centre.half_width > 2.0 * centre.u


def test_with_itself_nothing_differs():
    found = compare(calibrated(), calibrated())
    assert all(change.difference == 0.0 for change in found.changes)
    assert found.curve.difference == 0.0
    assert not found.changed


@pytest.mark.parametrize(("teeth", "count"), [(25, 1), (24, 1), (25, 2)])
def test_an_arm_that_slipped(teeth, count):
    slipped = SERVO.centre_us - 360.0 / teeth * count / SERVO.rate_deg_per_us
    found = compare(calibrated(), calibrated(1, centre_us=slipped), teeth=teeth)
    assert change(found, "centre").beyond
    assert not change(found, "rate").beyond
    assert found.curve.difference == pytest.approx(360.0 / teeth * count, abs=0.5)
    (word,) = found.words
    assert ("one tooth" if count == 1 else "2 teeth") in word
    assert "arm slipped" in word


def test_a_shift_of_no_whole_tooth():
    found = compare(calibrated(), calibrated(1, centre_us=1460.0), teeth=25)
    assert "moved by +4.5 deg, no whole tooth" in found.words[0]
    without = compare(calibrated(), calibrated(1, centre_us=1460.0))
    assert "the arm slipped, the gauge" in without.words[0]


def test_wear():
    found = compare(calibrated(), calibrated(1, play_deg=1.8))
    assert change(found, "up/down difference").difference == pytest.approx(1.2, abs=0.15)
    assert any("wear" in word for word in found.words)
    back = compare(calibrated(1, play_deg=1.8), calibrated())
    assert any("shrank by 1.2 deg" in word or "shrank by 1.1 deg" in word for word in back.words)


def test_another_rate_and_another_way_round():
    found = compare(calibrated(), calibrated(1, rate_deg_per_us=0.099))
    assert "% more for the same pulse" in found.words[0]
    found = compare(calibrated(), calibrated(1, rate_deg_per_us=-0.09))
    assert "the other way than before" in found.words[0]


def test_another_shape():
    found = compare(calibrated(), calibrated(1, shape="cosine", bend_deg=3.0))
    assert found.curve.beyond
    assert any("another shape" in word for word in found.words)


def test_more_scatter():
    found = compare(calibrated(), calibrated(1, noise_deg=0.9))
    assert change(found, "noise").beyond
    assert any("scatter more" in word for word in found.words)


def test_a_figure_of_another_nominal_centre_is_not_compared():
    readings = SERVO.read(STEPS, np.random.default_rng(0))
    found = compare(fit(readings), fit(readings, nominal_centre_us=1520.0))
    names = {change.name for change in found.changes}
    assert not names & {"centre error", "rate", "dead band by the curve"}
    assert "centre" in names
    assert not found.changed


def test_what_only_one_has_is_left_out():
    one_way = [r for r in SERVO.read(STEPS, np.random.default_rng(0)) if r.approach == "rising"]
    found = compare(fit(one_way), calibrated())
    assert "up/down difference" not in {change.name for change in found.changes}


def test_no_pulse_in_common():
    low = traverse(1000, 1400, limits_us=(900, 2100), start_us=1200, points=5)
    high = traverse(1600, 2000, limits_us=(900, 2100), start_us=1800, points=5)
    with pytest.raises(TravelError, match=r"no pulse in common: 1000 to 1400 us then.*same range"):
        compare(calibrated(steps=low), calibrated(steps=high))
