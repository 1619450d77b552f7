"""Two calibrations of one servo: changes are told, and only changes."""

from dataclasses import replace

import numpy as np
import pytest

from hingeline.errors import TravelError
from hingeline.linkage.closure import ratio, shaft_angle, surface_angle
from hingeline.travel.comparing import FALSE_ALARM, by_chance_deg, compare
from hingeline.travel.curve import TravelCurve
from hingeline.travel.fit import fit
from hingeline.travel.indirect import mark_of, moved_by_linkage
from hingeline.travel.reading import resolution_u, surface_reading
from hingeline.travel.schedule import traverse
from tests.linkage.shapes import level_linkage
from tests.support.servo_truth import ServoTruth, random_servo

STEPS = traverse(1000, 2000, limits_us=(900, 2100), start_us=1500)
SERVO = ServoTruth(0.09, centre_us=1510.0, bend_deg=1.0, play_deg=0.6, noise_deg=0.1)


def calibrated(seed=0, steps=STEPS, **changed):
    return fit(replace(SERVO, **changed).read(steps, np.random.default_rng(seed)))


def at_surface(linkage, seed, *, higher_deg=0.0, steps=STEPS, rate=0.05):
    """Read the surface to 0.1 deg, and fit with the linkage's own doubt."""
    servo = replace(SERVO, rate_deg_per_us=rate, centre_us=1500.0, bend_deg=0.3)
    readings = [
        surface_reading(
            reading.pulse_us,
            reading.approach,
            float(np.degrees(surface_angle(linkage, np.radians(reading.angle_deg)))) + higher_deg,
            resolution_u(0.1),
            shaft_of_surface=lambda surface: float(shaft_angle(linkage, surface)),
            ratio=lambda shaft: float(ratio(linkage, shaft)),
            through=mark_of(linkage),
        )
        for reading in servo.read(steps, np.random.default_rng(seed), 0.1)
    ]
    return fit(readings, together_deg=moved_by_linkage(readings, linkage))


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


LINKAGE = level_linkage(10.0, 20.0, 100.0)


def test_the_doubt_of_the_same_linkage_does_not_hide_a_change():
    old, new = at_surface(LINKAGE, 0), at_surface(LINKAGE, 1, rate=0.0515)
    found = compare(old, new)
    # 3 % more travel, and the linkage's doubt of 1 deg at each end would hide it.
    assert found.curve.beyond
    assert abs(found.curve.difference) == pytest.approx(0.0015 * 400, rel=0.25)
    both = np.hypot(old.angle_u_deg(found.at_us), new.angle_u_deg(found.at_us))
    assert abs(found.curve.difference) < 0.5 * both
    higher = compare(old, at_surface(LINKAGE, 1, higher_deg=1.0))
    assert change(higher, "centre").beyond
    assert higher.curve.beyond
    assert "The whole curve moved" in higher.words[0]


def test_the_doubt_of_another_linkage_counts_in_full():
    longer = level_linkage(10.0, 20.5, 100.0)
    old, new = at_surface(LINKAGE, 0), at_surface(longer, 1)
    rate = change(compare(old, new), "rate")
    assert rate.u == pytest.approx(np.hypot(old.rate_deg_per_us_u, new.rate_deg_per_us_u))
    both = np.hypot(old.angle_u_deg(1900.0), new.angle_u_deg(1900.0))
    same = at_surface(LINKAGE, 1)
    factor = max(old.coverage_factor(0.95), new.coverage_factor(0.95))
    assert by_chance_deg(old, new, 1900.0, 0.95) == pytest.approx(factor * both, rel=0.02)
    assert by_chance_deg(old, same, 1900.0, 0.95) < 0.6 * factor * both


def test_what_moves_both_alike_leaves_what_the_readings_leave():
    # A common shift of the angle, of the same size in both, is nothing in their difference.
    readings = [
        [replace(r, kind="surface", through="one") for r in SERVO.read(STEPS, rng)]
        for rng in map(np.random.default_rng, (0, 1))
    ]
    alone = compare(*(fit(seen) for seen in readings))
    shift = [[2.0] * len(seen) for seen in readings]
    shared = compare(
        *(fit(seen, together_deg=[s]) for seen, s in zip(readings, shift, strict=True))
    )
    for one, other in zip(alone.changes, shared.changes, strict=True):
        # Two rates a little apart make of one shift in deg two in us.
        assert other.u == pytest.approx(one.u, rel=0.01), one.name
    assert shared.curve.half_width == pytest.approx(alone.curve.half_width, rel=1e-6)
    unknown = [[replace(r, through="") for r in seen] for seen in readings]
    apart = compare(*(fit(seen, together_deg=[s]) for seen, s in zip(unknown, shift, strict=True)))
    assert apart.curve.u == pytest.approx(np.hypot(alone.curve.u, np.hypot(2.0, 2.0)), rel=1e-3)


def test_the_same_servo_through_the_same_linkage_seldom_shows_a_change():
    alarms = [
        compare(at_surface(LINKAGE, [3, seed]), at_surface(LINKAGE, [4, seed])).changed
        for seed in range(60)
    ]
    assert np.mean(alarms) <= FALSE_ALARM + 3.0 * np.sqrt(FALSE_ALARM * (1 - FALSE_ALARM) / 60)


def test_a_curve_kept_before_the_linkage_was_told_apart_is_compared_as_before():
    old, new = at_surface(LINKAGE, 0), at_surface(LINKAGE, 1)
    data = old.to_dict()
    del data["together"], data["together_figures"]
    for reading in data["readings"]:
        del reading["through"]
    earlier = TravelCurve.from_dict(data)
    assert earlier.together == ()
    centre = change(compare(earlier, new), "centre")
    assert centre.u == pytest.approx(np.hypot(old.centre_us_u, new.centre_us_u))
    assert centre.half_width > change(compare(old, new), "centre").half_width


@pytest.mark.parametrize("gauges", [(0.25, 2.0), (2.0, 0.25), (0.5, 1.0), (1.0, 0.25)])
def test_another_gauge_is_no_wear(gauges):
    alarms = []
    for seed in range(60):
        rng = np.random.default_rng([78, seed])
        servo = random_servo(rng)
        found = compare(*(fit(servo.read(STEPS, rng, gauge)) for gauge in gauges))
        alarms.append(change(found, "noise").beyond)
        assert change(found, "noise").beyond == any("scatter more" in word for word in found.words)
    # One of some ten figures of which any may give a false alarm.
    assert np.mean(alarms) <= 0.05


def test_a_scatter_seen_above_both_gauges_is_told_for_all_that():
    then = fit(SERVO.read(STEPS, np.random.default_rng(0), 0.25))
    now = fit(replace(SERVO, noise_deg=1.5).read(STEPS, np.random.default_rng(1), 1.0))
    found = compare(then, now)
    assert change(found, "noise").beyond
    assert any("scatter more" in word for word in found.words)


def test_limits_are_compared_only_where_both_met_a_stop():
    wide = traverse(900, 2100, limits_us=(800, 2200), start_us=1500, points=13)
    narrow = traverse(1007, 2000, limits_us=(800, 2200), start_us=1500, points=13)
    found = compare(calibrated(steps=wide), calibrated(1, steps=narrow))
    assert not {"lower limit", "upper limit"} & {change.name for change in found.changes}
    stopped = calibrated(steps=wide, stop_deg=40.0)
    assert all(stopped.stops)
    one = compare(stopped, calibrated(1, steps=narrow))
    assert not {"lower limit", "upper limit"} & {change.name for change in one.changes}
    both = compare(stopped, calibrated(1, steps=wide, stop_deg=20.0))
    assert change(both, "lower limit").beyond
    assert change(both, "upper limit").beyond


def test_no_pulse_in_common():
    low = traverse(1000, 1400, limits_us=(900, 2100), start_us=1200, points=5)
    high = traverse(1600, 2000, limits_us=(900, 2100), start_us=1800, points=5)
    with pytest.raises(TravelError, match=r"no pulse in common: 1000 to 1400 us then.*same range"):
        compare(calibrated(steps=low), calibrated(steps=high))
