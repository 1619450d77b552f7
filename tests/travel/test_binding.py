"""What is heard with the rod on and off, and what it means."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hingeline.travel.binding import Heard, Side, heard_of, outward

QUIET = Heard(2100, None)


@given(st.integers(900, 2100), st.integers(5, 200))
def test_the_way_out_goes_from_centre_to_the_end_in_steps(end, step):
    pulses = outward(1500, end, step)
    assert (pulses[0], pulses[-1]) == (1500, end)
    gaps = [abs(b - a) for a, b in pairwise(pulses)]
    assert all(gap == step for gap in gaps[:-1])
    assert all(0 < gap <= step for gap in gaps)
    assert sorted(pulses, reverse=end < 1500) == pulses


@pytest.mark.parametrize(
    ("quiet", "heard"),
    [
        ([True, True, True], Heard(1600, None)),
        ([True, True, False], Heard(1550, 1600)),
        ([True, False], Heard(1500, 1550)),
        ([False], Heard(None, 1500)),
        ([True, False, True], Heard(1500, 1550)),  # quiet further out does not count
    ],
)
def test_up_to_the_first_that_buzzes(quiet, heard):
    assert heard_of([1500, 1550, 1600], quiet) == heard


@pytest.mark.parametrize(
    ("on", "off", "cause", "stop"),
    [
        (QUIET, None, "free", 2100),
        (Heard(1800, 1850), QUIET, "linkage", 1800),
        (Heard(1800, 1850), Heard(2000, 2050), "linkage", 1800),  # both, the linkage first
        (Heard(2000, 2050), Heard(2000, 2050), "servo", 2000),
        (Heard(2000, 2050), Heard(1950, 2000), "servo", 2000),
        (Heard(None, 1500), Heard(None, 1500), "servo", None),  # it hunts at centre
        (Heard(None, 1500), QUIET, "linkage", None),
        (Heard(1800, 1850), None, "unclear", 1800),
        (None, QUIET, "free", 2100),
        (None, Heard(2000, 2050), "servo", 2000),
        (None, None, "free", None),
    ],
)
@pytest.mark.parametrize("mirrored", [False, True])
def test_what_it_means_and_where_to_stop(on, off, cause, stop, mirrored):
    def other(pulse):
        return None if pulse is None else 3000 - pulse

    def turned(heard):
        return heard and Heard(other(heard.quiet_us), other(heard.buzzing_us))

    if mirrored:
        on, off, stop = turned(on), turned(off), other(stop)
    side = Side(1500, on, off)
    assert (side.cause, side.stop_us) == (cause, stop)
