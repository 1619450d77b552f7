"""Degrees to millimetres at a chord; elementary trigonometry, worked by hand."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hingeline import chord
from hingeline.errors import UnitError


@pytest.mark.parametrize(
    ("distance", "at", "drop", "straight"),
    [
        # asin(d/c) and 2 asin(d/2c)
        (30.0, 50.0, 36.87, 34.92),
        (5.0, 50.0, 5.739, 5.732),
    ],
)
def test_the_two_measurements_give_different_angles(distance, at, drop, straight):
    assert chord.throw_deg(distance, at, "drop") == pytest.approx(drop, abs=6e-3)
    assert chord.throw_deg(distance, at, "straight") == pytest.approx(straight, abs=6e-3)


def test_a_thread_of_tan_answers_is_not_reproduced():
    # 25 deg at a chord of 2 in is 0.845 in of drop or 0.866 in straight; tan would say 0.933.
    assert chord.throw_mm(25.0, 50.8, "drop") / 25.4 == pytest.approx(0.845, abs=5e-4)
    assert chord.throw_mm(25.0, 50.8, "straight") / 25.4 == pytest.approx(0.866, abs=5e-4)
    # Set by a ruler, 0.933 in is 27.8 deg as a drop or 27.0 deg straight.
    assert chord.throw_deg(0.933 * 25.4, 50.8, "drop") == pytest.approx(27.8, abs=0.05)
    assert chord.throw_deg(0.933 * 25.4, 50.8, "straight") == pytest.approx(27.0, abs=0.05)


@pytest.mark.parametrize(
    ("angle", "at", "straight", "drop"),
    [
        (20.0, 50.0, 17.364818, 17.101007),
        (30.0, 50.0, 25.881905, 25.000000),
        (15.0, 40.0, 10.442095, 10.352762),
    ],
)
def test_throws_in_mm(angle, at, straight, drop):
    assert chord.throw_mm(angle, at, "straight") == pytest.approx(straight, abs=5e-7)
    assert chord.throw_mm(angle, at, "drop") == pytest.approx(drop, abs=5e-7)


def test_the_station_matters_for_mm_not_for_degrees():
    # The same 15 deg, read as drop: 15.53 mm at a chord of 60 mm, 10.35 mm at 40 mm.
    assert chord.throw_mm(15.0, 60.0, "drop") == pytest.approx(15.53, abs=5e-3)
    assert chord.throw_mm(15.0, 40.0, "drop") == pytest.approx(10.35, abs=5e-3)


def test_thirty_per_cent_differential_of_the_drop_is_more_in_degrees():
    up_mm = chord.throw_mm(30.0, 60.0, "drop")
    down_deg = chord.throw_deg(0.7 * up_mm, 60.0, "drop")
    assert down_deg == pytest.approx(20.49, abs=5e-3)
    assert 100.0 * (1.0 - down_deg / 30.0) == pytest.approx(31.7, abs=0.05)


@pytest.mark.parametrize("bad", [0.0, -0.0, -50.0, math.nan, math.inf])
def test_a_chord_must_be_a_length(bad):
    for call in (chord.throw_deg, chord.throw_mm, chord.deg_per_mm):
        with pytest.raises(UnitError, match="chord"):
            call(1.0, bad, "drop")


def test_more_than_the_chord_can_show_is_refused_with_the_limit():
    with pytest.raises(UnitError, match=r"51 mm drop .* 50 mm"):
        chord.throw_deg(51.0, 50.0, "drop")
    with pytest.raises(UnitError, match=r"101 mm straight .* \(100 mm\)"):
        chord.throw_deg(101.0, 50.0, "straight")
    with pytest.raises(UnitError, match="90 deg"):
        chord.throw_mm(91.0, 50.0, "drop")


measures = st.sampled_from(["drop", "straight"])


@given(st.floats(-89, 89), st.floats(1, 500), measures)
def test_back_and_forth_is_the_same_angle(angle, at, measure):
    assert chord.throw_deg(chord.throw_mm(angle, at, measure), at, measure) == pytest.approx(
        angle, abs=1e-6
    )


@given(st.floats(-80, 80), st.floats(1, 500), measures)
def test_degrees_per_mm_is_the_derivative(angle, at, measure):
    mm = chord.throw_mm(angle, at, measure)
    step = 1e-4 * at
    if abs(mm) + step < at:
        slope = (
            chord.throw_deg(mm + step, at, measure) - chord.throw_deg(mm - step, at, measure)
        ) / (2 * step)
        assert chord.deg_per_mm(angle, at, measure) == pytest.approx(slope, rel=1e-3)
