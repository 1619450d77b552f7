"""What every motion promises, whatever its figures."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchboard.motions import Ramp, Steps, Sweep, fraction_of, shortest_period_ms
from shared_protocol.host_session import Refusal
from tests.support.core_bench import CLOCK, US, Bench

pulses = st.integers(300_000, 2_500_000)
starts = st.sampled_from([0, CLOCK - 1, CLOCK - 700_500, CLOCK - 1_900_001]) | st.integers(
    0, CLOCK - 1
)
ticks = st.sampled_from([300, 1000, 1300, 3100, 9700])
SLACK_NS = 250  # motions count in 1/16384 of a way, and round down up to three times


def swept(first, second, period, smooth, at):
    """Return where a sweep is after a time, worked out afresh and in fractions."""
    at %= period
    half = period // 2
    fraction = at / half if at < half else 1 - (at - half) / (period - half)
    if smooth:
        fraction = 3 * fraction**2 - 2 * fraction**3
    return first + (second - first) * fraction


@given(st.integers(0, 8_000_000), st.integers(1, 8_000_000))
def test_fractions_are_exact(elapsed, whole):
    elapsed %= whole
    assert fraction_of(elapsed, whole) == elapsed * 16384 // whole


@given(pulses, pulses, st.integers(1, 600_000), st.integers(0, 10_000), st.data())
def test_a_ramp_follows_its_line_and_ends_on_time(first, second, lasts, wait, data):
    ramp = Ramp(first, second, lasts, wait)
    passed = 0
    while passed < wait + lasts:
        ms = data.draw(st.integers(1, max(1, (wait + lasts) // 5)))
        passed += ms
        part = min(max(passed - wait, 0) / lasts, 1)
        assert abs(ramp.advance(ms) - (first + (second - first) * part)) <= 2_200_000 / 16384 + 1
        assert ramp.done == (passed >= wait + lasts)
    assert ramp.advance(1000) == second


@given(
    pulses,
    pulses,
    st.integers(200, 120_000),
    st.booleans(),
    st.lists(st.integers(1, 400_000), min_size=3, max_size=40),
)
def test_a_sweep_of_hours_is_where_it_should_be(first, second, period, smooth, steps):
    sweep = Sweep(first, second, period, 0, smooth, 0)
    for _ in range(10):
        for ms in steps:
            got = sweep.advance(ms)
    wanted = swept(first, second, period, smooth, 10 * sum(steps))
    assert abs(got - wanted) <= 4 * 2_200_000 / 16384


@given(st.lists(pulses, min_size=1, max_size=16), st.integers(1, 10_000), st.data())
def test_steps_are_where_they_should_be_after_any_ticks(listed, lasts, data):
    motion = Steps(tuple(listed), tuple(lasts + n for n in range(len(listed))))
    ends = [sum(lasts + k for k in range(n + 1)) for n in range(len(listed))]
    passed = 0
    while passed < ends[-1]:
        ms = data.draw(st.integers(1, max(1, ends[-1] // 4)))
        passed += ms
        number = len([end for end in ends[:-1] if passed >= end])
        assert motion.advance(ms) == listed[number]


def watch(bench, ms, tick_us):
    """Let time pass; fail when a pulse leaves its limits or changes quicker than its slew."""
    end_us = bench.passed_us + ms * 1000
    carried_us = 0
    while bench.passed_us < end_us:
        was = list(bench.outputs.pulses_ns)
        bench.run(1, tick_us) if tick_us < 1000 else bench.run(tick_us // 1000 + 1, tick_us)
        carried_us += 1
        most_ms = 1 + (1 if tick_us < 1000 else tick_us // 1000 + 2)
        for channel, before, now in zip(
            bench.core.bank.channels, was, bench.outputs.pulses_ns, strict=True
        ):
            if now:
                assert channel.low_ns <= now <= channel.high_ns
            if before and now:
                assert abs(now - before) <= most_ms * channel.slew_ns_per_ms
        if bench.passed_us % 1_000_000 < tick_us + 1000:
            bench.ask("beat")


orders = st.one_of(
    st.tuples(
        st.just("sweep"),
        st.fixed_dictionaries(
            {
                "opposed_mask": st.integers(0, 7),
                "low_ns": st.integers(900_000, 1_400_000),
                "high_ns": st.integers(1_500_000, 2_100_000),
                "period_ms": st.integers(400, 5000),
                "cycles": st.integers(0, 3),
                "shape": st.integers(1, 2),
                "lag_ms": st.integers(0, 700),
            }
        ),
    ),
    st.tuples(
        st.just("steps"),
        st.fixed_dictionaries(
            {
                "dwell_ms": st.integers(0, 500),
                "lag_ms": st.integers(0, 700),
                "s1_ns": st.integers(900_000, 2_100_000),
                "s2_ns": st.integers(900_000, 2_100_000),
                "s3_ns": st.integers(900_000, 2_100_000),
            }
        ),
    ),
    st.tuples(st.just("centre"), st.fixed_dictionaries({"ramp_ms": st.integers(1, 3000)})),
)


@given(starts, ticks, st.integers(1, 7), st.lists(orders, min_size=1, max_size=4), st.data())
@settings(max_examples=60, deadline=None)
def test_no_motion_leaves_its_limits_or_is_quicker_than_its_slew(
    start_us, tick_us, mask, asked, data
):
    bench = Bench(start_us).setup((1, 2, 3), slew=data.draw(st.sampled_from([300, 2000, 9000])))
    bench.outputs.logging = False
    bench.get("centre", mask=mask)
    for word, values in asked:
        if "opposed_mask" in values:
            values = dict(values, opposed_mask=values["opposed_mask"] & mask)
        event = bench.ask(word, mask=mask, **values)
        assert not isinstance(event, Refusal) or event.code == "too_fast"
        watch(bench, data.draw(st.integers(50, 2500)), tick_us)


@given(starts, st.integers(1, 2), st.integers(1, 12), st.integers(0, 900))
@settings(max_examples=40, deadline=None)
def test_opposed_channels_mirror_each_other_at_every_moment(start_us, shape, tenths, lag_ms):
    bench = Bench(start_us).setup((1, 2), slew=9000)
    period_ms = 400 + 100 * tenths
    motion = {"low_ns": 1000 * US, "high_ns": 1900 * US, "cycles": 0, "shape": shape}
    reply = bench.get("sweep", mask=3, opposed_mask=2, period_ms=period_ms, **motion)
    bench.run(reply["settle_ms"] + 1)
    for _ in range(1200):
        bench.run(1)
        one, other = bench.outputs.pulses_ns[:2]
        # each rounds away from its own first end by less than 1 ns
        assert one + other == 2900 * US
    # a channel that lags is where the one before it was that long ago
    bench.get("silence", hold_ms=10_000, off_ms=60_000)
    reply = bench.get(
        "sweep", mask=3, opposed_mask=0, period_ms=period_ms, lag_ms=lag_ms, **motion
    )
    bench.run(reply["settle_ms"])
    log = []
    for _ in range(lag_ms + 800):
        bench.run(1)
        log.append(tuple(bench.outputs.pulses_ns[:2]))
    assert [two for _, two in log[lag_ms:]] == [one for one, _ in log[: len(log) - lag_ms]]


@given(
    starts,
    st.lists(st.integers(900_000, 2_100_000), min_size=3, max_size=3),
    st.lists(st.integers(900_000, 2_100_000), min_size=3, max_size=3),
    st.integers(1, 4000),
)
@settings(max_examples=60, deadline=None)
def test_ramps_arrive_together_and_on_time_or_are_refused(start_us, first, second, ramp_ms):
    bench = Bench(start_us).setup((1, 2, 3), slew=1000)
    keys = ("p1_ns", "p2_ns", "p3_ns")
    bench.get("hold", **dict(zip(keys, first, strict=True)))
    bench.run(300)
    event = bench.ask("hold", ramp_ms=ramp_ms, **dict(zip(keys, second, strict=True)))
    least_ms = max(-(-abs(b - a) // 1000) for a, b in zip(first, second, strict=True))
    if isinstance(event, Refusal):
        assert (event.code, event.limit) == ("too_fast", least_ms)
        assert ramp_ms < least_ms
        bench.run(50)
        assert bench.outputs.pulses_ns[:3] == first
        return
    assert ramp_ms >= least_ms
    bench.get("silence", hold_ms=10_000, off_ms=60_000)
    bench.run(ramp_ms - 1)
    assert bench.get("beat")["moving_mask"] == 7
    bench.run(1)
    assert bench.outputs.pulses_ns[:3] == second
    assert bench.get("beat")["moving_mask"] == 0


@given(pulses, pulses, st.integers(10, 100_000), st.booleans())
def test_the_shortest_period_is_just_what_the_slew_allows(one, other, slew, smooth):
    span = abs(one - other)
    period = shortest_period_ms(span, smooth, slew)
    steepest = (3 if smooth else 2) * span
    assert steepest <= slew * period
    assert steepest > slew * (period - 2)


@pytest.mark.parametrize("shape", [1, 2])
def test_a_sweep_of_three_hours_does_not_drift(shape):
    bench = Bench(CLOCK - 12_345).setup((1,), slew=9000)
    bench.outputs.logging = False
    bench.core.silence.hold_ms = bench.core.silence.off_ms = 1 << 29
    motion = {"low_ns": 1000 * US, "high_ns": 2000 * US, "period_ms": 1999, "cycles": 0}
    reply = bench.get("sweep", mask=1, opposed_mask=0, shape=shape, **motion)
    bench.run(reply["settle_ms"])
    began_us = bench.passed_us
    for n in range(3 * 3600 * 2):
        bench.run(500, 500_000 if n % 97 else 1700)
        if n % 499 == 0:  # the slew lets no tick catch up at once
            bench.run(40)
            at_ms = (bench.passed_us - began_us) // 1000
            wanted = swept(1000 * US, 2000 * US, 1999, shape == 2, at_ms)
            assert abs(bench.outputs.pulses_ns[0] - wanted) <= SLACK_NS
    assert bench.passed_us - began_us > 10 * CLOCK
