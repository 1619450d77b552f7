"""The walk of a calibration: never too far, closer where it bends, in time, the same again."""

import math
from dataclasses import replace

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from hingeline.bench.simulated.servo import ServoTruth
from hingeline.errors import TravelError
from hingeline.travel.kinds import FEWEST, QUICK, THOROUGH, USUAL
from hingeline.travel.pace import USUAL_PACE_S, Budget
from hingeline.travel.reading import shaft_reading
from hingeline.travel.schedule import LEAST_STEP_US, REST_DEG, reach
from hingeline.travel.walk import Walk

LIMITS = (900, 2100)
WIDE = (-100.0, 100.0)
STRAIGHT = ServoTruth(1500.0, 0.0, 0.09)
KINDS = {kind.name: kind for kind in (QUICK, USUAL, THOROUGH)}


class Taken:
    """A walk on a servo of known truth, read to the gauge's marks."""

    def __init__(self, truth, kind, limits=LIMITS, allowed=WIDE, mark=0.5, budget=None, slips=()):
        self.told, self.steps, self.readings = [], [], []
        walk = Walk(kind, 1500, limits, allowed, self.told.append, budget)
        while (step := walk.next(self.readings)) is not None:
            self.steps.append(step)
            if step.read:
                angle = round(truth.shaft_deg(step.pulse_us, step.approach) / mark) * mark
                angle = dict(slips).get(len(self.readings), angle)
                self.readings.append(
                    shaft_reading(step.pulse_us, step.approach, angle, resolution_deg=mark)
                )
                if budget:
                    budget.count()
        self.walk = walk

    @property
    def read(self):
        return [(step.pulse_us, step.approach) for step in self.steps if step.read]


@example(0.3, 1.0, 60.0, 16.0, 4.0, 0.0, 0.5, USUAL)  # a step of 50 us would lead to 19 deg
@example(0.3, -1.0, 9.0, 60.0, -5.0, 0.0, 0.5, USUAL)
@given(
    rate=st.floats(0.03, 0.3),
    sense=st.sampled_from([-1.0, 1.0]),
    below=st.floats(4.0, 90.0),
    above=st.floats(4.0, 90.0),
    centre=st.floats(-5.0, 5.0),
    half_gap=st.floats(0.0, 1.0),
    mark=st.sampled_from([0.25, 0.5, 1.0]),
    kind=st.sampled_from([QUICK, USUAL]),
)
def test_no_servo_is_thrown_past_its_linkage(
    rate, sense, below, above, centre, half_gap, mark, kind
):
    # From the first reading on; before it nobody knows where the arm stands.
    truth = ServoTruth(
        1500.0, centre, sense * rate, half_gap_deg=half_gap, stops_deg=(-300.0, 300.0)
    )
    told, readings, worst = [], [], 0.0
    walk = Walk(kind, 1500, (500, 2500), (-below, above), told.append)
    try:
        while (step := walk.next(readings)) is not None:
            shaft = truth.shaft_deg(step.pulse_us, step.approach)
            if readings:
                worst = max(worst, shaft - above, -below - shaft)
            if step.read:
                shown = round(shaft / mark) * mark
                readings.append(
                    shaft_reading(step.pulse_us, step.approach, shown, resolution_deg=mark)
                )
    except TravelError as error:
        assume("stands" not in error.message and "gauge can tell" not in error.message)
        assert "keep the arm within" in error.message
    assert worst <= 0.0


SLIPS = {
    "ten times": lambda true: 10.0 * true,
    "a tenth": lambda true: true / 10.0,
    "sign": lambda true: -true,
    "digits": lambda true: math.copysign(float(f"{abs(true):04.1f}"[1::-1]), true),
    "nothing": lambda true: true,
}


@example(0.225, 0.0, 45.0, 45.0, "a tenth", 1, False, 0.5, QUICK)
@example(0.225, 0.0, 45.0, 45.0, "a tenth", 1, False, 0.5, THOROUGH)
@given(
    rate=st.floats(0.06, 0.3).flatmap(lambda size: st.sampled_from([size, -size])),
    centre=st.floats(-3.0, 3.0),
    below=st.floats(20.0, 90.0),
    above=st.floats(20.0, 90.0),
    slip=st.sampled_from(list(SLIPS)),
    which=st.integers(0, 1),
    redone=st.booleans(),
    mark=st.sampled_from([0.25, 0.5, 1.0]),
    kind=st.sampled_from([QUICK, USUAL, THOROUGH]),
)
@settings(max_examples=400)
def test_no_slip_in_the_first_readings_throws_a_servo_past_its_linkage(
    rate, centre, below, above, slip, which, redone, mark, kind
):
    truth = ServoTruth(1500.0, centre, rate, stops_deg=(-600.0, 600.0))
    readings, trues, worst, slips = [], [], 0.0, SLIPS[slip]
    walk = Walk(kind, 1500, (500, 2500), (-below, above))
    while True:
        if redone and len(readings) == 5 and readings[which].angle_deg != trues[which].angle_deg:
            readings[which] = trues[which]
            assert walk.outdated(readings)
            walk, slips = Walk(kind, 1500, (500, 2500), (-below, above)), SLIPS["nothing"]
            readings, trues = [], []
        try:
            step = walk.next(readings)
        except TravelError:
            break  # it goes no further
        if step is None:
            break
        shaft = truth.shaft_deg(step.pulse_us, step.approach)
        worst = max(worst, shaft - above, -below - shaft)
        if step.read:
            shown = round(shaft / mark) * mark
            true = shaft_reading(step.pulse_us, step.approach, shown, resolution_deg=mark)
            typed = slips(shown) if len(readings) == which else shown
            trues.append(true)
            readings.append(replace(true, angle_deg=typed))
    # A slip of less than gauge and servo let be told among three readings remains.
    assert worst <= mark + REST_DEG


def test_a_servo_of_270_degrees_keeps_within_30_from_the_first_pulse_on():
    truth = ServoTruth(1500.0, 0.0, 0.135, stops_deg=(-135.0, 135.0))
    taken = Taken(truth, USUAL, limits=(500, 2500), allowed=(-30.0, 30.0))
    shafts = [truth.shaft_deg(step.pulse_us, step.approach) for step in taken.steps]
    assert max(map(abs, shafts)) <= 30.0
    assert max(shafts) - min(shafts) >= 45.0


@pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))
@given(
    stop=st.floats(15.0, 90.0),
    centre=st.floats(-5.0, 5.0),
    half_gap=st.floats(0.0, 1.0),
    slips=st.dictionaries(st.integers(2, 20), st.sampled_from([90.0, -60.0, 0.0])),
)
def test_every_approach_is_what_the_pulse_before_makes_it(kind, stop, centre, half_gap, slips):
    truth = ServoTruth(1500.0, centre, 0.09, half_gap_deg=half_gap, stops_deg=(-stop, 80.0))
    taken = Taken(truth, kind, allowed=(-40.0, 40.0), slips=slips)
    at = 1500
    for step in taken.steps:
        assert step.pulse_us != at
        assert step.approach == ("rising" if step.pulse_us > at else "falling")
        assert LIMITS[0] <= step.pulse_us <= LIMITS[1]
        at = step.pulse_us


@pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))
def test_each_kind_reads_its_points_from_both_sides_and_centre_again(kind):
    taken = Taken(STRAIGHT, kind)
    read = taken.read
    spacing = 1200 // (kind.points - 1)
    inner = {p for p, _ in read if 900 < p < 2100 and (p - 900) % spacing == 0}
    assert {p for p, _ in read} - inner - {900, 2100} <= {1550, 1600}
    assert len(inner) == kind.points - 2  # a straight servo gets no pulse beyond these
    assert all({(p, "rising"), (p, "falling")} <= set(read) for p in inner)
    # Once each way in every cycle, the first time, and again at the end.
    assert read.count((1500, "falling")) == kind.cycles + kind.centre_again
    assert read.count((1500, "rising")) == 1 + kind.cycles + kind.centre_again
    assert taken.walk.whole == len(read)
    assert taken.told == []


def test_a_quick_walk_is_short_and_a_thorough_one_long():
    counts = [len(Taken(STRAIGHT, kind).readings) for kind in (QUICK, USUAL, THOROUGH)]
    assert counts == [11, 28, 88]


@pytest.mark.parametrize("stop_deg", [20.0, 27.3, 33.0, 41.0])
@pytest.mark.parametrize("sense", [-1.0, 1.0])
def test_the_piece_in_which_a_stop_begins_is_halved_twice(stop_deg, sense):
    truth = ServoTruth(1500.0, 0.0, sense * 0.09, stops_deg=(-70.0, stop_deg))
    taken = Taken(truth, USUAL)
    grid = {900 + 100 * index for index in range(13)} | {1550}
    extra = [pulse for pulse in dict.fromkeys(p for p, _ in taken.read) if pulse not in grid]
    stop_us = 1500 + sense * stop_deg / 0.09
    assert len(extra) == 2
    pulses = sorted({pulse for pulse, _ in taken.read})
    around = min(b for b in pulses if b >= stop_us) - max(p for p in pulses if p <= stop_us)
    assert around <= 50
    assert all({(p, "rising"), (p, "falling")} <= set(taken.read) for p in extra)


def test_what_lies_beyond_a_slip_is_left_out_and_said():
    taken = Taken(STRAIGHT, USUAL, allowed=(-80.0, 80.0), slips=[(4, 90.0)])
    assert taken.told
    assert all("may lead beyond what is allowed" in text for text in taken.told)
    assert min(reading.pulse_us for reading in taken.readings) == 900


def test_the_same_readings_give_the_same_walk_again():
    truth = ServoTruth(1500.0, 1.0, 0.09, half_gap_deg=0.4, stops_deg=(-30.0, 80.0))
    first = Taken(truth, THOROUGH)
    again = Walk(THOROUGH, 1500, LIMITS, WIDE)
    known, steps = list(first.readings), []
    readings = []
    while (step := again.next(readings)) is not None:
        steps.append(step)
        if step.read:
            readings.append(known.pop(0))
    assert steps == first.steps


def test_a_walk_that_was_refused_goes_on_with_a_better_reading():
    walk = Walk(USUAL, 1500, LIMITS, (-30.0, 30.0))
    walk.next([])
    walk.next([])
    with pytest.raises(TravelError, match=r"stands 90\.0 deg from its planned place"):
        walk.next([shaft_reading(1500, "rising", 90.0)])
    step = walk.next([shaft_reading(1500, "rising", 9.0)])
    assert (step.pulse_us, step.approach, step.read) == (1534, "rising", True)  # half of 20.7 deg


@pytest.mark.parametrize("count", [0, 1])
def test_without_its_first_two_readings_it_goes_no_further(count):
    walk = Walk(USUAL, 1500, LIMITS, WIDE)
    readings = [shaft_reading(1500, "rising", 0.0)][:count]
    walk.next([])
    walk.next([])
    with pytest.raises(TravelError, match=r"was not read at 15[05]0 us"):
        [walk.next(readings) for _ in range(2)]


def test_limits_without_room_for_the_first_step():
    with pytest.raises(TravelError, match=r"needs 1470 to 1515 us; the limits are 1480"):
        Walk(USUAL, 1500, (1480, 2000), WIDE).next([])


class Clock:
    """A clock that goes so many seconds with each look of a person at the gauge."""

    now = 0.0

    def __call__(self):
        return self.now


class Slow(Budget):
    """A budget of a person who takes a fixed time for each reading."""

    def __init__(self, minutes, pace_s):
        self.clock, self._each_s = Clock(), pace_s
        super().__init__(minutes, self.clock)

    def count(self):
        self.clock.now += self._each_s
        super().count()


@pytest.mark.parametrize("kind", [USUAL, THOROUGH])
@pytest.mark.parametrize("pace_s", [5.0, 12.0, 30.0])
@pytest.mark.parametrize("minutes", [4.0, 8.0, 15.0, 60.0])
def test_a_budget_is_kept_and_what_it_leaves_out_is_said(kind, pace_s, minutes):
    truth = ServoTruth(1500.0, 0.0, 0.09, stops_deg=(-33.0, 80.0))
    free = Taken(truth, kind)
    budget = Slow(minutes, pace_s)
    taken = Taken(truth, kind, budget=budget)
    fits = budget.clock.now <= 60.0 * minutes
    assert fits or any("fewer make no curve" in text for text in taken.told)
    assert len(taken.readings) == len(free.readings) or taken.told
    if minutes * 60 >= pace_s * (2 * FEWEST + 1):
        assert fits
    if len(free.readings) * pace_s <= minutes * 60:
        assert taken.told == []


def test_time_is_thought_of_before_any_reading_was_timed():
    budget = Budget(1.0, lambda: 0.0)
    assert budget.room() == 60 // USUAL_PACE_S
    assert budget.needed_min(8) == 2.0


class TestReach:
    @given(
        pulse=st.integers(900, 2100),
        at=st.integers(900, 2100),
        approach=st.sampled_from(["rising", "falling"]),
    )
    def test_arrives_from_the_wanted_side_inside_the_bounds(self, pulse, at, approach):
        steps = reach(pulse, approach, at, LIMITS)
        if not steps:
            end = 900 if approach == "rising" else 2100
            assert abs(pulse - end) < LEAST_STEP_US
            return
        assert (steps[-1].pulse_us, steps[-1].approach, steps[-1].read) == (pulse, approach, True)
        assert not any(step.read for step in steps[:-1])
        before = [at, *(step.pulse_us for step in steps[:-1])][-1]
        assert (pulse - before) * (1 if approach == "rising" else -1) >= LEAST_STEP_US
        assert all(LIMITS[0] <= step.pulse_us <= LIMITS[1] for step in steps)

    def test_goes_straight_there_when_it_comes_from_the_right_side(self):
        assert [step.pulse_us for step in reach(1600, "rising", 1500, LIMITS)] == [1600]
        assert [step.pulse_us for step in reach(1600, "falling", 1500, LIMITS)] == [1630, 1600]


def test_gentle_bends_of_common_servos_ask_for_nothing_more():
    for bow in (-0.8, 0.8):
        truth = ServoTruth(1500.0, 0.0, 0.09, bow_deg=bow, curl_deg=0.6, half_gap_deg=0.4)
        assert len(Taken(truth, USUAL, mark=0.25).readings) == 28
        assert math.isfinite(Taken(truth, QUICK).readings[-1].angle_deg)
