import math

import pytest

from hingeline.errors import TravelError
from hingeline.travel.matching import match


def test_reversed_pair_agrees_with_the_opposite_place_of_the_other():
    # Differential: 15 up, 10 down on both sides. A pair for roll, down positive.
    def left(stick):
        return 10.0 * stick if stick > 0 else 15.0 * stick

    def right(stick):
        return left(-stick)

    found = match(left, right, moves="opposite")
    assert found.worst_deg == 0.0
    assert found.within(0.0)


def test_equal_totals_do_not_make_a_pair():
    # Left 15 up and 10 down, right 10 up and 15 down: the sums agree, the surfaces do not.
    found = match(
        lambda stick: 10.0 * stick if stick > 0 else 15.0 * stick,
        lambda stick: -10.0 * stick if stick > 0 else -15.0 * stick,
        moves="opposite",
    )
    assert abs(found.worst_deg) == pytest.approx(5.0)
    assert not found.within(1.0)


def test_ends_and_centre_can_agree_while_the_middle_does_not():
    # The right arm leans: same 20 deg at both ends and 0 at centre, another way between.
    # A parabola through the ends, with the middle off by 1.5 deg at half stick.
    left = lambda stick: 20.0 * stick  # noqa: E731
    right = lambda stick: 20.0 * stick + 6.0 * abs(stick) * (1.0 - abs(stick))  # noqa: E731
    found = match(left, right, moves="together")
    assert found.mismatch_deg[0] == found.mismatch_deg[4] == found.mismatch_deg[8] == 0.0
    assert abs(found.stick[found.worst]) == 0.5
    assert found.worst_deg == pytest.approx(-1.5)


def test_split_surface_moves_together():
    assert match(lambda s: 25 * s, lambda s: 25 * s, moves="together").within(0.0)
    assert match(lambda s: 25 * s, lambda s: 25 * s, moves="opposite").worst_deg == -50.0


@pytest.mark.parametrize("points", [3, 4, 6, 0])
def test_too_few_places_or_no_centre(points):
    with pytest.raises(TravelError, match=f"{points} points cannot show"):
        match(lambda s: s, lambda s: s, moves="together", points=points)


def test_a_side_without_an_angle_is_named():
    with pytest.raises(TravelError, match="right side has no angle at 100 %"):
        match(lambda s: s, lambda s: math.nan if s == 1 else s, moves="together")
