"""The numbers of the tick fit a small int of a 32-bit board, where others come from the heap.

A computer's MicroPython has wider small ints, so the test of the locked heap cannot see this.
"""

import operator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchboard.channels import Channel
from benchboard.core import CLOCK_MASK
from benchboard.fittings import FULL
from benchboard.guard import Rail
from benchboard.motions import Ramp, Steps, Sweep
from benchboard.panel import Button, Knob, Light
from tests.support.core_bench import Bench, Fitted
from tests.support.panel_bench import settings_of

LIMIT = 1 << 30


class Small(int):
    """An integer whose every result of arithmetic must stay a small int of 31 bits."""


def _checked(call):
    def method(*operands):
        result = call(*operands)
        assert -LIMIT <= result < LIMIT, (call.__name__, operands, result)
        return Small(result)

    return method


for _name in ("add", "sub", "mul", "floordiv", "mod", "rshift", "lshift", "and_", "or_"):
    _plain = _name.rstrip("_")
    setattr(Small, f"__{_plain}__", _checked(getattr(int, f"__{_plain}__")))
    setattr(Small, f"__r{_plain}__", _checked(getattr(int, f"__r{_plain}__")))
Small.__neg__ = _checked(int.__neg__)
Small.__abs__ = _checked(int.__abs__)


def small(thing):
    """Make all integers of an object small."""
    for name, value in vars(thing).items():
        if type(value) is int:
            setattr(thing, name, Small(value))
    return thing


def test_small_notices_a_number_that_is_too_great():
    assert Small(LIMIT - 2) + 1 == LIMIT - 1
    for call in (operator.add, operator.mul):
        with pytest.raises(AssertionError):
            call(Small(LIMIT - 1), 2)
        with pytest.raises(AssertionError):
            call(2, Small(LIMIT - 1))


pulses = st.integers(300_000, 2_500_000)


@given(
    pulses,
    pulses,
    st.integers(200, 120_000),
    st.booleans(),
    st.integers(0, 3_600_000),
    st.lists(st.integers(1, 300_000), min_size=1, max_size=20),
)
def test_sweeps_stay_small_and_between_their_ends(first, second, period, smooth, wait, steps):
    sweep = small(Sweep(first, second, period, 0, smooth, wait))
    for ms in steps:
        assert min(first, second) <= sweep.advance(Small(ms)) <= max(first, second)


@given(st.integers(200, 120_000), st.booleans(), st.integers(0, 120_000))
def test_sweeps_follow_their_formula(period, smooth, at):
    at %= period
    half = period // 2
    fraction = at / half if at < half else 1 - (at - half) / (period - half)
    if smooth:
        fraction = 3 * fraction**2 - 2 * fraction**3
    wanted = 1_000_000 + 1_000_000 * fraction
    sweep = Sweep(1_000_000, 2_000_000, period, 0, smooth, 0)
    # Fractions come in 1/16384, and each division rounds down: four times 61 ns at most.
    assert abs(sweep.advance(at) - wanted) <= 4 * 1_000_000 / 16384


@given(
    pulses,
    pulses,
    st.integers(1, 600_000),
    st.integers(0, 3_600_000),
    st.lists(st.integers(1, 300_000), min_size=1, max_size=20),
)
def test_ramps_stay_small_and_between_their_ends(first, second, lasts, wait, steps):
    ramp = small(Ramp(first, second, lasts, wait))
    for ms in steps:
        assert min(first, second) <= ramp.advance(Small(ms)) <= max(first, second)


@given(
    st.lists(pulses, min_size=1, max_size=16),
    st.integers(1, 800_000),
    st.lists(st.integers(1, 300_000), max_size=20),
)
def test_steps_stay_small(listed, lasts, steps):
    motion = small(Steps(tuple(map(Small, listed)), tuple([Small(lasts)] * len(listed))))
    passed = 0
    for ms in steps:
        passed += ms
        assert motion.advance(Small(ms)) == listed[min(passed // lasts, len(listed) - 1)]


@given(pulses, pulses, st.integers(10, 100_000), st.integers(1, 50))
def test_the_way_of_a_channel_stays_small(now, target, slew, ms):
    channel = Channel(1)
    channel.now_ns, channel.target_ns, channel.slew_ns_per_ms = now, target, slew
    went = small(channel).next_ns(Small(ms)) - now
    assert abs(went) == min(abs(target - now), slew * ms)
    assert (went > 0) == (target > now)


@given(st.integers(0, CLOCK_MASK), st.lists(st.integers(1, 400_000_000), min_size=1, max_size=10))
def test_the_clock_stays_small_and_loses_nothing(start_us, steps):
    bench = Bench(start_us)
    small(bench.core)
    passed_us = 0
    counted = []
    bench.core.bank.advance = counted.append
    for step_us in steps:
        passed_us += step_us
        bench.core.tick(Small((start_us + passed_us) & CLOCK_MASK))
    assert sum(counted) == passed_us // 1000


readings = st.integers(0, FULL)
looks = st.lists(st.tuples(st.integers(1, 500_000) | st.integers(1, 20), readings), max_size=20)


@given(looks)
def test_the_knob_stays_small_and_in_its_range(seen):
    fitted = Fitted()
    knob = Knob(fitted)
    fitted.turned = Small(FULL)
    knob.begin()
    small(knob)
    for ms, reading in seen:
        fitted.turned = Small(reading)
        knob.advance(Small(ms))
        assert 0 <= knob.position <= 32768


@given(st.integers(1, 60_000), st.integers(0, 59_999), looks)
def test_the_supply_stays_small_and_in_its_range(full_mv, low_mv, seen):
    fitted = Fitted()
    rail = Rail(fitted)
    fitted.supply = Small(FULL)
    rail.set(Small(full_mv), Small(min(low_mv, full_mv - 1)))
    small(rail)
    assert not rail.low
    for ms, reading in seen:
        fitted.supply = Small(reading)
        rail.advance(Small(ms))
        assert 1 <= rail.mv() <= full_mv


@given(st.lists(st.tuples(st.integers(1, 500_000), st.booleans(), st.integers(0, 5)), max_size=30))
def test_button_and_light_stay_small(seen):
    button, light = small(Button()), small(Light(Fitted()))
    for ms, pressed, row in seen:
        button.advance(Small(ms), pressed)
        light.advance(Small(ms), row)


@given(
    st.integers(10, 100_000),
    st.integers(200, 120_000),
    st.integers(1, 2),
    st.lists(st.integers(1, 200_000), min_size=1, max_size=10),
)
def test_the_panel_stays_small(slew, period, shape, steps):
    servo = {"class": 3, "low_ns": 300_000, "high_ns": 2_500_000, "centre_ns": 400_000}
    kept = settings_of(dict(servo, slew_ns_per_ms=slew), period_ms=period, shape=shape, knob=1)
    bench = Bench(settings=kept)
    panel = bench.core.panel
    small(kept.channels[0])
    small(kept)
    for _ in range(4):
        panel._go_on()
        small(bench.core.bank.channels[0])
        for sweep in panel._sweeps:
            small(sweep)
        for ms in steps:
            bench.fitted.turned = Small(ms % FULL)
            panel.advance(Small(ms))
            bench.core.bank.advance(Small(ms))
            panel.show(Small(ms), host=False)
