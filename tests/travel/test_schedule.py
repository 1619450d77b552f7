import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hingeline.errors import TravelError
from hingeline.travel.reading import Reading, shaft_reading
from hingeline.travel.schedule import (
    FIRST_STEP_US,
    LEAST_STEP_US,
    rate_of_first_step,
    refuse_turning,
    traverse,
    trim,
)

LIMITS = (900, 2100)


def small_step(rate_deg_per_us, start_deg=0.0, resolution_deg=0.5):
    """Readings of the first step on a servo, to the gauge's marks."""
    angles = [start_deg, start_deg + rate_deg_per_us * FIRST_STEP_US]
    return [
        shaft_reading(pulse, "rising", round(angle / resolution_deg) * resolution_deg)
        for pulse, angle in zip((1500, 1500 + FIRST_STEP_US), angles, strict=True)
    ]


class TestFirstStep:
    def test_rate_and_its_uncertainty(self):
        rate, u = rate_of_first_step(small_step(0.09))
        assert rate == pytest.approx(0.09)
        assert u == pytest.approx(0.5 / math.sqrt(6) / 50)

    def test_rate_of_a_servo_that_turns_clockwise(self):
        assert rate_of_first_step(small_step(-0.09))[0] == pytest.approx(-0.09)

    def test_servo_that_does_not_move(self):
        with pytest.raises(TravelError, match=r"moved 0 deg in 50 us.*power"):
            rate_of_first_step(small_step(0.0))

    @pytest.mark.parametrize("count", [0, 1, 3])
    def test_needs_two_readings(self, count):
        with pytest.raises(TravelError, match="two readings"):
            rate_of_first_step((small_step(0.09) + small_step(0.09))[:count])

    def test_servo_that_keeps_turning(self):
        turning = [
            Reading(1500, "rising", 0, 0.1),
            Reading(1550, "rising", 90, 0.1, settled=False),
        ]
        with pytest.raises(TravelError, match=r"1550 us.*kept turning.*continuous rotation"):
            rate_of_first_step(turning)
        with pytest.raises(TravelError, match="kept turning"):
            refuse_turning(turning)


class TestTrim:
    def test_servo_of_270_degrees_is_not_thrown_past_30(self):
        # 270 deg over 500 to 2500 us is 0.135 deg/us. A table for 0.09 would send +333 us for
        # 30 deg, and get 45.
        assert round(0.135 * 333) == 45
        rate, u = rate_of_first_step(small_step(0.135))
        low, high = trim((500, 2500), 1500, rate, u, (-30.0, 30.0))
        assert 0.135 * (high - 1500) <= 30.0
        assert 0.135 * (1500 - low) <= 30.0
        assert 0.135 * (high - 1500) >= 20.0  # and still measures most of it

    def test_common_servo_keeps_its_pulse_limits(self):
        rate, u = rate_of_first_step(small_step(0.09))
        assert trim((1000, 2000), 1500, rate, u, (-60.0, 60.0)) == (1000, 2000)

    def test_unequal_free_travel_follows_the_way_the_servo_turns(self):
        low, high = trim(LIMITS, 1500, 0.1, 0.0, (-10.0, 20.0))
        assert (low, high) == (1400, 1700)
        low, high = trim(LIMITS, 1500, -0.1, 0.0, (-10.0, 20.0))
        assert (low, high) == (1300, 1600)

    @given(
        rate=st.floats(0.03, 0.3),
        sign=st.sampled_from([-1.0, 1.0]),
        below=st.floats(10.0, 90.0),
        above=st.floats(10.0, 90.0),
        start=st.floats(-3.0, 3.0),
    )
    def test_no_servo_is_sent_past_what_is_allowed(self, rate, sign, below, above, start):
        shown, u = rate_of_first_step(small_step(sign * rate, start))
        try:
            low, high = trim((500, 2500), 1500, shown, u, (-below, above))
        except TravelError:
            return
        ends = sorted(sign * rate * (pulse - 1500) for pulse in (low, high))
        assert ends[0] >= -below
        assert ends[1] <= above

    def test_both_roundings_the_wrong_way(self):
        # 0.2501 deg is read as 0.5, and 0.2501 + 50 * 0.1098 = 5.7401 deg as 5.5.
        shown, u = rate_of_first_step(small_step(0.1098, 0.2501))
        assert shown == pytest.approx(0.1)
        assert 0.1098 * (trim((500, 2500), 1500, shown, u, (-40.0, 40.0))[1] - 1500) <= 40.0

    @pytest.mark.parametrize("allowed", [(0.0, 30.0), (-30.0, 0.0), (math.nan, 30.0), (5.0, 9.0)])
    def test_angles_must_lie_around_zero(self, allowed):
        with pytest.raises(TravelError, match="do not lie around 0"):
            trim(LIMITS, 1500, 0.09, 0.001, allowed)

    @pytest.mark.parametrize("rate", [0.0, math.nan, math.inf])
    def test_rate_must_be_a_number(self, rate):
        with pytest.raises(TravelError, match="cannot limit the next step"):
            trim(LIMITS, 1500, rate, 0.0, (-30.0, 30.0))

    def test_nothing_left_to_measure(self):
        with pytest.raises(TravelError, match="Take the rod off"):
            trim(LIMITS, 1500, 0.5, 0.0, (-2.0, 2.0))


class TestTraverse:
    def test_up_then_down_from_both_sides(self):
        steps = traverse(1000, 2000, limits_us=LIMITS, start_us=1500, points=5)
        read = [(step.pulse_us, step.approach) for step in steps if step.read]
        up = [1000, 1250, 1500, 1750, 2000]
        assert read == [(p, "rising") for p in up] + [(p, "falling") for p in up[::-1]]

    def test_run_ups_are_not_read_and_stay_within_the_limits(self):
        steps = traverse(1000, 2000, limits_us=(985, 2015), start_us=1500, points=5)
        assert [step.pulse_us for step in steps if not step.read] == [985, 2015]

    def test_without_room_the_ends_are_marked_as_they_are_reached(self):
        steps = traverse(1000, 2000, limits_us=(1000, 2000), start_us=1500, points=5)
        assert all(step.read for step in steps)
        assert {s.approach for s in steps if s.pulse_us == 1000} == {"falling"}
        assert {s.approach for s in steps if s.pulse_us == 2000} == {"rising"}
        assert {s.approach for s in steps if s.pulse_us == 1250} == {"rising", "falling"}

    def test_a_servo_already_on_the_first_pulse_is_not_read_there(self):
        # Nobody knows from which side it came.
        steps = traverse(1000, 2000, limits_us=(1000, 2000), start_us=1000, points=5)
        assert not steps[0].read
        assert all(step.read for step in steps[1:])

    @given(
        low=st.integers(500, 1490),
        width=st.integers(100, 1500),
        points=st.integers(3, 21),
        room=st.integers(0, 60),
        start=st.integers(500, 2500),
    )
    def test_approach_is_always_what_the_pulse_before_makes_it(
        self, low, width, points, room, start
    ):
        limits = (low - room, low + width + room)
        if width / (points - 1) < LEAST_STEP_US:
            return
        steps = traverse(low, low + width, limits_us=limits, start_us=start, points=points)
        before = start
        for step in steps:
            assert isinstance(step.pulse_us, int)
            assert limits[0] <= step.pulse_us <= limits[1]
            if step.read:
                assert abs(step.pulse_us - before) >= LEAST_STEP_US or before == start
                assert step.approach == ("rising" if step.pulse_us > before else "falling")
            before = step.pulse_us
        assert {low, low + width} <= {step.pulse_us for step in steps}

    def test_closer_than_the_dead_band(self):
        with pytest.raises(TravelError, match=r"21 points.*4\.0 us apart.*5 us"):
            traverse(1460, 1540, limits_us=LIMITS, start_us=1500, points=21)

    def test_too_few_points(self):
        with pytest.raises(TravelError, match="2 points each way are too few"):
            traverse(1000, 2000, limits_us=LIMITS, start_us=1500, points=2)

    @pytest.mark.parametrize(("low", "high"), [(800, 2000), (1000, 2200), (2000, 1000)])
    def test_outside_the_limits(self, low, high):
        with pytest.raises(TravelError, match="does not fit the limits of 900 to 2100"):
            traverse(low, high, limits_us=LIMITS, start_us=1500)
