"""Degrees to mm and back, by the drop and by the straight ruler."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hingeline.errors import LinkageError
from hingeline.linkage.throws import deg_from_drop, deg_from_straight, drop_mm, straight_mm
from hypothesis import given
from hypothesis import strategies as st


@pytest.mark.parametrize(
    ("chord_mm", "throw_deg", "straight", "drop"),
    [
        # Elementary: 2 c sin(d / 2) and c sin d.
        (50.0, 20.0, 17.364818, 17.101007),
        (50.0, 30.0, 25.881905, 25.000000),
        (40.0, 15.0, 10.442095, 10.352762),
        # The same 15 deg at two stations of a tapered surface.
        (60.0, 15.0, 15.663143, 15.529143),
    ],
)
def test_known_throws(chord_mm: float, throw_deg: float, straight: float, drop: float):
    assert straight_mm(throw_deg, chord_mm) == pytest.approx(straight, abs=5e-7)
    assert drop_mm(throw_deg, chord_mm) == pytest.approx(drop, abs=5e-7)
    assert deg_from_straight(straight, chord_mm) == pytest.approx(throw_deg, abs=2e-6)
    assert deg_from_drop(drop, chord_mm) == pytest.approx(throw_deg, abs=2e-6)


@pytest.mark.parametrize(
    ("mm", "chord_mm", "by_drop", "by_straight", "places"),
    [(30.0, 50.0, 36.87, 34.92, 0.005), (5.0, 50.0, 5.739, 5.732, 0.0005)],
)
def test_what_is_measured_matters(
    mm: float, chord_mm: float, by_drop: float, by_straight: float, places: float
):
    # Not 34.38 (arc) nor 30.96 (tangent) for the first, not 5.730 nor 5.711 for the second.
    assert deg_from_drop(mm, chord_mm) == pytest.approx(by_drop, abs=places)
    assert deg_from_straight(mm, chord_mm) == pytest.approx(by_straight, abs=places)


def test_thread_example_in_inches():
    # 25 deg at 2 in: 0.845 in drop, 0.866 in straight; the tangent's 0.933 in, set with a
    # ruler, gives 27.8 or 27.0 deg. Both functions are blind to the unit of length.
    assert drop_mm(25.0, 2.0) == pytest.approx(0.845, abs=0.0005)
    assert straight_mm(25.0, 2.0) == pytest.approx(0.866, abs=0.0005)
    assert deg_from_drop(0.933, 2.0) == pytest.approx(27.8, abs=0.05)
    assert deg_from_straight(0.933, 2.0) == pytest.approx(27.0, abs=0.05)


def test_taper_changes_mm_but_not_degrees():
    assert drop_mm(15.0, [60.0, 40.0]) == pytest.approx([15.53, 10.35], abs=0.005)
    assert deg_from_drop([15.53, 10.35], [60.0, 40.0]) == pytest.approx([15.0, 15.0], abs=0.02)


def test_thirty_per_cent_differential_of_the_drop_is_more_in_degrees():
    up_deg, chord_mm = 30.0, 60.0
    up_mm = drop_mm(up_deg, chord_mm)
    down_deg = deg_from_drop(0.7 * up_mm, chord_mm)
    assert up_mm == pytest.approx(30.0)
    assert down_deg == pytest.approx(20.49, abs=0.005)
    assert 100.0 * (1.0 - down_deg / up_deg) == pytest.approx(31.7, abs=0.05)


def test_free_travel_in_inches():
    # Chord 4 in, bare surface 2.5 in one way, 1.5 in the other, by the drop.
    assert deg_from_drop([2.5, -1.5], 4.0) == pytest.approx([38.68, -22.02], abs=0.005)


def test_the_largest_possible_are_taken():
    assert deg_from_drop([50.0, -50.0], 50.0) == pytest.approx([90.0, -90.0])
    assert deg_from_straight([100.0, -100.0], 50.0) == pytest.approx([180.0, -180.0])


@pytest.mark.parametrize(
    ("convert", "value", "words"),
    [
        (deg_from_drop, 50.001, r"drop 50.001 mm .* limit is 50 mm, the chord itself"),
        (deg_from_drop, -51.0, r"drop -51 mm .* limit is 50 mm"),
        (deg_from_straight, 100.001, r"straight throw 100.001 mm .* limit is 100 mm"),
        (drop_mm, 90.001, r"throw 90.001 deg .* limit is 90 deg"),
        (straight_mm, -180.5, r"throw -180.5 deg .* limit is 180 deg"),
        (deg_from_drop, np.nan, "drop nan mm"),
        (deg_from_straight, np.inf, "straight throw inf mm"),
        (drop_mm, np.nan, "throw nan deg"),
        (straight_mm, -np.inf, "throw -inf deg"),
        (deg_from_drop, [1.0, 60.0, 2.0], "drop 60 mm"),
    ],
)
def test_impossible_throws_are_refused(convert: Callable[..., object], value: object, words: str):
    with pytest.raises(LinkageError, match=words):
        convert(value, 50.0)


@pytest.mark.parametrize("convert", [drop_mm, straight_mm, deg_from_drop, deg_from_straight])
@pytest.mark.parametrize("chord_mm", [0.0, -0.0, -45.0, np.nan, np.inf, [50.0, 0.0]])
def test_chord_must_be_a_length(convert: Callable[..., object], chord_mm: object):
    with pytest.raises(LinkageError, match=r"chord .* mm must be a number above 0 mm"):
        convert(0.0, chord_mm)


@given(st.floats(-89.0, 89.0), st.floats(0.1, 500.0))
def test_there_and_back(throw_deg: float, chord_mm: float):
    # Near 90 deg the drop hardly changes, so the way back loses digits there, no more.
    loss = 1.0 / np.cos(np.radians(throw_deg))
    back = deg_from_drop(drop_mm(throw_deg, chord_mm), chord_mm)
    assert back == pytest.approx(throw_deg, abs=1e-13 * loss)
    straight = straight_mm(2.0 * throw_deg, chord_mm)
    assert deg_from_straight(straight, chord_mm) == pytest.approx(
        2.0 * throw_deg, abs=2e-13 * loss
    )


@given(st.floats(0.1, 90.0), st.floats(0.1, 500.0))
def test_the_drop_is_the_shorter_one(throw_deg: float, chord_mm: float):
    arc = chord_mm * np.radians(throw_deg)
    assert drop_mm(throw_deg, chord_mm) < straight_mm(throw_deg, chord_mm) < arc
