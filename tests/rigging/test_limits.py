"""Throws are judged point by point; centre and ends follow what was measured."""

from dataclasses import replace

import msgspec
import pytest

from hingeline.chord import throw_mm
from hingeline.errors import LinkageError, TravelError
from hingeline.model.words import directions
from hingeline.rigging.judging_throws import figures_of, judge, points_of
from hingeline.rigging.limits import as_measured, limits_of
from tests.rigging.planted import NAMES, U_DEG, built, planned, stands_deg, taken, wanted_deg


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("fault", [{}, {"teeth": 0.3}, {"rod_mm": 0.2}])
def test_the_ends_give_the_throws_or_say_that_they_cannot(name, fault):
    setting = planned(name)
    linkage = built(setting, **fault)
    points = taken(setting, linkage, play_deg=0.0)
    found = limits_of(setting, points)
    for word, share in zip(directions(setting.surface), (1.0, -1.0), strict=True):
        pulse, wanted = found.ends_us[word], wanted_deg(setting, share)
        there = stands_deg(setting, linkage, pulse, pulse > found.centre_us)
        short = abs(wanted) - abs(there)
        said = any(f"{pulse} us" in note for note in found.notes)
        assert abs(short) < 0.3 or said, (word, there)
        assert abs(abs(there) - found.expected_deg[word]) < 0.2
    assert abs(stands_deg(setting, linkage, found.centre_us, True)) < 0.4


@pytest.mark.parametrize("name", NAMES)
def test_no_pulse_lies_beyond_what_was_measured_or_the_servos_limits(name):
    setting = planned(name)
    points = [
        replace(point, measured_deg=0.7 * point.measured_deg)
        for point in taken(setting, built(setting))
    ]
    found = limits_of(setting, points)
    pulses = [point.pulse_us for point in points]
    for pulse in found.ends_us.values():
        assert min(pulses) <= pulse <= max(pulses)
    assert len(found.notes) == 2
    assert all("further was not measured" in note for note in found.notes)
    servo = msgspec.structs.replace(setting.servo, pulse_limits_us=(1300, 1700))
    tight = replace(setting, servo=servo)
    for pulse in limits_of(tight, points).ends_us.values():
        assert 1300 <= pulse <= 1700


def test_without_both_ends_there_are_no_limits():
    setting = planned("elevator")
    points = taken(setting, built(setting))[:4]
    with pytest.raises(LinkageError, match="full throws"):
        limits_of(setting, points)


@pytest.mark.parametrize("name", NAMES)
def test_which_way_a_rising_pulse_goes_is_what_was_measured_not_what_was_planned(name):
    setting = planned(name)
    points = taken(setting, built(setting))
    right = limits_of(setting, points)
    assert not any("direction" in note for note in right.notes)
    turned = [replace(point, measured_deg=-point.measured_deg) for point in points]
    wrong = limits_of(setting, turned)
    assert {right.rising, wrong.rising} == set(directions(setting.surface))
    for found in (right, wrong):
        first, second = directions(setting.surface)
        rising = first if found.ends_us[first] > found.ends_us[second] else second
        assert rising == found.rising
    assert any("its direction is wrong" in note for note in wrong.notes)


def test_where_it_stands_beyond_the_measured_pulses_is_not_known():
    setting = planned("elevator")
    points = taken(setting, built(setting))
    stands = as_measured(setting, points)
    pulses = [point.pulse_us for point in points]
    assert abs(stands(max(pulses))) > 5.0
    for pulse in (min(pulses) - 1, max(pulses) + 1):
        with pytest.raises(TravelError, match="was not measured"):
            stands(pulse)


@pytest.mark.parametrize("name", NAMES)
def test_points_and_their_figures_are_the_same_either_way(name):
    setting = planned(name)
    points = taken(setting, built(setting))
    rows = figures_of(setting.surface, points)
    assert all(row["wanted_deg"] >= 0 for row in rows if row["share"] >= 0)
    assert points_of(setting.surface, rows) == points


def test_between_centre_and_end_a_radio_goes_in_proportion():
    setting = planned("left aileron")
    found = limits_of(setting, taken(setting, built(setting)))
    up, down = found.ends_us["up"], found.ends_us["down"]
    assert [found.pulse_us(share) for share in (1.0, 0.0, -1.0)] == [up, found.centre_us, down]
    assert found.pulse_us(-0.5) == pytest.approx((found.centre_us + down) / 2)


def test_a_miss_that_was_read_in_mm_is_said_in_mm_as_well():
    setting = planned("elevator")
    points = [replace(p, measured_deg=p.wanted_deg) for p in taken(setting, built(setting))]
    points[2] = replace(points[2], measured_deg=points[2].wanted_deg * 1.2)
    by_drop = judge(setting, points, tolerance_deg=1.0, u_deg=U_DEG, measure="drop")
    chord = setting.surface.chord_mm
    seen, wanted = (
        throw_mm(abs(deg), chord, "drop") for deg in (points[2].measured_deg, points[2].wanted_deg)
    )
    assert f"({seen - wanted:.1f} mm drop), beyond 1.0 deg" in by_drop.sentences[0]
    assert "mm" not in judged(setting, points).sentences[0]


def judged(setting, points, tolerance_deg=1.0):
    return judge(setting, points, tolerance_deg=tolerance_deg, u_deg=U_DEG)


def test_the_worst_point_counts_wherever_it_is():
    setting = planned("elevator")
    points = taken(setting, built(setting))
    assert judged(setting, points).passed
    points[1] = replace(points[1], measured_deg=points[1].wanted_deg + 1.6)
    found = judged(setting, points)
    assert not found.passed
    assert found.worst == pytest.approx(1.6)
    assert "Worst miss 1.6 deg, beyond 1.0 deg" in found.sentences[0]
    assert f"{points[1].pulse_us} us" in found.sentences[0]


def test_a_miss_as_large_as_the_tolerance_is_within():
    setting = planned("elevator")
    points = [replace(p, measured_deg=p.wanted_deg) for p in taken(setting, built(setting))]
    points[2] = replace(points[2], measured_deg=points[2].wanted_deg + 0.1 + 0.2)
    assert judged(setting, points, 0.3).passed


def test_the_wrong_way_never_passes():
    setting = planned("elevator")
    points = [
        replace(point, measured_deg=-point.measured_deg)
        for point in taken(setting, built(setting))
    ]
    found = judged(setting, points, tolerance_deg=90.0)
    assert found.wrong_way
    assert not found.passed


def test_a_differential_the_wrong_way_round_is_said_and_which_throw_must_be_larger():
    setting = planned("left aileron")  # up 15, down 11
    assert not judged(setting, taken(setting, built(setting))).reversed_differential
    found = judged(setting, taken(setting, built(setting, teeth=-3)))
    assert found.differential_wanted_deg == pytest.approx(4.0)
    assert found.differential_got_deg < 0
    assert found.reversed_differential
    assert "the throw up must be the larger one" in found.sentences[1]
