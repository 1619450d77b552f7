"""A digital level: its zero found, its jump at 360 undone, its common doubt carried on."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hingeline.errors import TravelError
from hingeline.travel.level import HELD_U_DEG, Zero, within_half_turn, zero_of
from hingeline.travel.reading import Reading, surface_reading


@pytest.mark.parametrize(
    ("shown", "meant"),
    [(359.5, -0.5), (0.0, 0.0), (360.0, 0.0), (-359.0, 1.0), (90.0, 90.0), (270.0, -90.0)],
)
def test_a_scale_of_0_to_360_jumps_where_the_angle_does_not(shown, meant):
    assert within_half_turn(shown) == meant
    assert math.copysign(1.0, within_half_turn(shown)) == math.copysign(1.0, meant)


@pytest.mark.parametrize("shown", [360.1, -361.0, math.nan, math.inf])
def test_more_than_a_turn_is_refused(shown):
    with pytest.raises(TravelError, match="more than a whole turn"):
        within_half_turn(shown)
    with pytest.raises(TravelError, match="more than a whole turn"):
        zero_of(shown, 1, 0.1)


@given(
    at=st.floats(-180.0, 360.0),
    sense=st.sampled_from([-1, 1]),
    deflection=st.floats(-89.0, 89.0),
)
def test_the_deflection_comes_back_whatever_the_model_stands_on(at, sense, deflection):
    zero = zero_of(at, sense, 0.1)
    shown = zero.shown_at(deflection)
    assert 0.0 <= shown <= 360.0
    assert zero.deflection_deg(shown) == pytest.approx(deflection, abs=1e-9)
    assert zero.deflection_deg(within_half_turn(shown)) == pytest.approx(deflection, abs=1e-9)


def test_across_the_jump():
    zero = Zero(2.0, 1, 0.3)
    assert zero.deflection_deg(357.5) == -4.5
    assert Zero(359.0, -1, 0.3).deflection_deg(3.5) == -4.5


def test_the_doubt_of_the_zero_is_its_marks_and_how_the_surface_was_held():
    assert zero_of(10.0, 1, 0.1).u_deg == pytest.approx(
        math.hypot(0.1 / math.sqrt(12), HELD_U_DEG)
    )


def test_through_a_linkage_the_common_doubt_grows_as_the_reading_s_own_does():
    made = surface_reading(
        1500.0,
        "rising",
        5.0,
        0.1,
        shaft_of_surface=lambda surface: 2.0 * surface,
        ratio=lambda _shaft: 0.5,
        u_common_deg=0.3,
    )
    assert made.angle_deg == pytest.approx(10.0)
    assert (made.u_deg, made.u_common_deg) == (0.2, 0.6)


@pytest.mark.parametrize("u", [-0.1, math.nan])
def test_a_common_doubt_is_0_or_more(u):
    with pytest.raises(TravelError, match="it must be 0 or above"):
        Reading(1500.0, "rising", 0.0, 0.1, u_common_deg=u)
