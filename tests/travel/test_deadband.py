"""The dead band: closed in on in few questions, with the doubt that is left."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hingeline.errors import TravelError
from hingeline.travel.deadband import MOST_US, DeadBand, Staircase, Threshold


def climb(least_us, finest_us=1):
    """Let an arm that moves from ``least_us`` on answer; return what was found and asked."""
    staircase, asked = Staircase(finest_us), []
    while (step_us := staircase.next_us) is not None:
        asked.append(step_us)
        staircase.answer(step_us >= least_us)
    return staircase, asked


@given(st.floats(0.1, MOST_US), st.sampled_from([1, 2, 3]))
def test_the_least_step_that_moves_is_enclosed_in_six_questions(least_us, finest_us):
    if least_us > MOST_US // finest_us * finest_us:
        return
    staircase, asked = climb(least_us, finest_us)
    found = staircase.threshold()
    assert found.still_us < least_us <= found.moved_us
    assert found.moved_us - found.still_us == finest_us
    assert len(asked) <= 6
    assert len(set(asked)) == len(asked)
    assert all(step % finest_us == 0 and 0 < step <= MOST_US for step in asked)
    with pytest.raises(ValueError, match="nothing was left"):
        staircase.answer(True)


def test_an_arm_that_never_moves_is_told():
    staircase, asked = climb(1000)
    assert max(asked) == MOST_US
    with pytest.raises(TravelError, match=r"did not move by a step of 40 us.*pointer"):
        staircase.threshold()


def test_before_anything_is_known_nothing_is_claimed():
    with pytest.raises(TravelError, match="0 us"):
        Staircase().threshold()


def test_a_threshold_is_as_likely_anywhere_in_its_last_step():
    # Rectangular distribution, JCGM 100:2008, 4.3.7: half-width a gives a / sqrt(3).
    found = Threshold(7, 8)
    assert found.middle_us == 7.5
    assert found.u_us == pytest.approx(0.5 / math.sqrt(3))


def test_both_sides_make_one_dead_band():
    band = DeadBand(1500, Threshold(7, 8), Threshold(7, 8), -0.09, 0.001)
    assert band.dead_band_us == 7.5
    assert band.dead_band_us_u == pytest.approx(1 / math.sqrt(12) / math.sqrt(2))
    assert band.dead_band_deg == pytest.approx(0.675)
    assert band.dead_band_deg_u == pytest.approx(
        math.hypot(0.09 * band.dead_band_us_u, 7.5 * 0.001)
    )


def test_sides_that_differ_by_more_than_their_steps_say_how_unsure_it_is():
    assert DeadBand(1500, Threshold(3, 4), Threshold(9, 10), 0.09).dead_band_us_u == 3.0


def test_positions_counted_with_a_long_pointer():
    # About 426 positions in about 190 deg were counted by one person: 0.446 deg each, 5 us.
    band = DeadBand(1500, Threshold(4, 5), Threshold(4, 5), 190 / 426 / 4.5)
    assert band.dead_band_deg == pytest.approx(0.446, abs=5e-4)
    assert abs(20.3 - 20.1) < band.dead_band_deg  # the same position


@given(st.floats(0.5, 39.0), st.floats(0.5, 39.0))
def test_the_truth_lies_within_what_is_claimed(down_us, up_us):
    thresholds = [climb(least)[0].threshold() for least in (down_us, up_us)]
    band = DeadBand(1500, *thresholds, 0.09)
    truth = (down_us + up_us) / 2.0
    assert abs(band.dead_band_us - truth) <= math.sqrt(6.0) * band.dead_band_us_u + 1e-9
