"""Whatever is asked in whatever order, no output leaves its limits."""

import itertools

from hypothesis import given, settings
from hypothesis import strategies as st

from benchboard.fittings import FULL
from shared_protocol import table
from shared_protocol.host_session import Refusal
from tests.support.core_bench import US, Bench, steps_of
from tests.support.panel_bench import NARROW, WATCHED, settings_of

CLASSES = {row[0]: row[2:] for row in table.CLASSES}

# A few round figures as well as any: orders that agree with each other are to be common.
usual = st.sampled_from([n * 100_000 for n in range(10, 21)])
pulses = usual | usual | usual | usual | usual | st.integers(300_000, 2_500_000)
masks = st.integers(1, 15)


def values_of(word):
    taken = {}
    for field in word.fields:
        if field.key in ("p5_ns", "p6_ns", "p7_ns", "p8_ns"):
            continue  # never set up here: with them nearly every `hold` would be refused
        elif field.key.endswith("_ns") and field.low == table.PULSE_LOW_NS:
            strategy = pulses
        elif field.key == "token":
            continue
        elif field.key.endswith("mask"):
            strategy = masks
        elif field.key == "ch":
            strategy = st.integers(1, 4)
        elif field.key == "slew_ns_per_ms":
            strategy = st.sampled_from([10, 4000, 20_000, 100_000])
        elif field.key == "period_ms":
            strategy = st.sampled_from([200, 1000, 2000, 5000])
        elif field.key.endswith("_ms"):
            strategy = st.integers(field.low, min(field.high, 3000))
        else:
            strategy = st.integers(field.low, field.high)
        taken[field.key] = strategy
    needed = {k: s for k, s in taken.items() if k in [f.key for f in word.fields if f.needed]}
    other = {k: s for k, s in taken.items() if k not in needed}
    drawn = st.fixed_dictionaries(needed, optional=other)
    return st.tuples(drawn, st.booleans()).map(lambda pair: (word.name, agreeing(*pair)))


def agreeing(values, tidy):
    """Put values that have to agree with each other in order, if so wanted."""
    values = dict(values)
    if tidy and "low_ns" in values:
        keys = [key for key in ("low_ns", "centre_ns", "high_ns") if key in values]
        values.update(zip(keys, sorted(values[key] for key in keys), strict=True))
    if tidy and "opposed_mask" in values:
        values["opposed_mask"] &= values["mask"]
    return values


words = [word for word in table.REQUESTS if word.name not in ("hello", "quit", "leave")]
asked = st.one_of([values_of(word) for word in words])
told = st.tuples(
    asked, st.sampled_from([0, 1, 5, 80, 700, 2500]), st.sampled_from([900, 1000, 3100])
)


def check(bench):
    frame_ns = 1_000_000_000 // bench.outputs.frame_hz
    for channel, now_ns in zip(bench.core.bank.channels, bench.outputs.pulses_ns, strict=True):
        if now_ns:
            low_ns, high_ns = CLASSES[channel.pulse_class]
            assert low_ns <= channel.low_ns <= now_ns <= channel.high_ns <= high_ns
            assert now_ns + table.FRAME_MARGIN_NS <= frame_ns


@given(st.integers(0, 2**30 - 1), st.lists(told, min_size=5, max_size=25))
@settings(max_examples=150, deadline=None)
def test_no_order_of_requests_makes_an_output_leave_its_limits(start_us, requests):
    bench = Bench(start_us).setup((1, 2, 3), slew=4000)
    bench.get("centre", mask=7)
    last = list(bench.outputs.pulses_ns)
    for (word, values), ms, step_us in requests:
        before = (list(bench.outputs.pulses_ns), bench.core.bank.on_mask())
        event = bench.ask(word, **values)
        if isinstance(event, Refusal):
            assert event.describe()
            assert (list(bench.outputs.pulses_ns), bench.core.bank.on_mask()) == before
        check(bench)
        end_us = bench.passed_us + ms * 1000
        while bench.passed_us < end_us:
            last = list(bench.outputs.pulses_ns)
            bench.run(1, step_us)
            check(bench)
            for channel, was, now in zip(
                bench.core.bank.channels, last, bench.outputs.pulses_ns, strict=True
            ):
                if was and now:  # 1 ms at the slew, or 2 where steps of another length add up
                    assert abs(now - was) <= 2 * channel.slew_ns_per_ms


@given(
    st.lists(st.binary(max_size=40) | st.sampled_from([b"\n", b" ", b"1 hold token=100 p1_ns=1"]))
)
@settings(deadline=None)
def test_no_bytes_that_are_not_frames_move_anything(pieces):
    bench = Bench().setup((1,))
    bench.get("centre", mask=1)
    bench.run(20)
    log = list(bench.outputs.log)
    for piece in pieces:
        assert bench.feed(piece) == b""
        bench.run(2)
    assert bench.outputs.log == log
    assert bench.get("beat")["on_mask"] == 1


def test_requests_of_the_property_are_obeyed_often_enough():
    """The property above says little if nearly all its requests were refused."""
    obeyed, refused = {}, {}

    @given(st.lists(told, min_size=10, max_size=25))
    @settings(max_examples=80, deadline=None, database=None, derandomize=True)
    def count(requests):
        bench = Bench().setup((1, 2, 3, 4), slew=4000)
        for (word, values), ms, step_us in requests:
            event = bench.ask(word, **values)
            counts = refused if isinstance(event, Refusal) else obeyed
            counts[word] = counts.get(word, 0) + 1
            bench.run(ms, step_us)

    count()
    for word in ("hold", "centre", "sweep", "steps", "setup", "freeze", "off", "frame", "measure"):
        assert obeyed.get(word, 0) > 0, (word, obeyed, refused)


passing = st.sampled_from([1, 60, 700, 2500, 4500])
happenings = st.one_of(
    st.tuples(st.just("press"), st.integers(25, 1500)),
    st.tuples(st.just("turn"), st.integers(0, FULL)),
    st.tuples(st.just("power"), st.sampled_from([0, 4000, 4700, 5000, 6000])),
    st.tuples(st.sampled_from(["hello", "quit", "centre", "sweep"]), st.just(0)),
)
SERVO = {"low_ns": 900 * US, "high_ns": 2100 * US, "centre_ns": 1500 * US, "slew_ns_per_ms": 2000}
TO_AND_FRO = {"opposed_mask": 0, "low_ns": 1000 * US, "high_ns": 1900 * US, "period_ms": 3000}


def happen(bench, what, figure):
    """Let a person or a computer do something; a computer that may not is refused."""
    if what == "press":
        bench.press(figure)
    elif what == "turn":
        bench.fitted.turned = figure
    elif what == "power":
        bench.fitted.supply = FULL * figure // 10_000
    elif what == "hello":
        bench.ask("hello")
        bench.ask("setup", ch=3, klass=1, **SERVO)
    elif bench.host.token:
        more = {"quit": {}, "centre": {"mask": 4}}.get(
            what, {"mask": 4, "cycles": 0, "shape": 2, **TO_AND_FRO}
        )
        bench.ask(what, **more)


@given(
    st.integers(0, 2**30 - 1),
    st.lists(st.tuples(happenings, passing), min_size=4, max_size=20),
)
@settings(max_examples=50, deadline=None)
def test_button_and_computer_in_any_order_keep_limits_slew_stagger_and_supply(start_us, story):
    wide = {"class": 1, **SERVO, "slew_ns_per_ms": 500}
    bench = Bench(start_us, settings=settings_of(NARROW, wide, knob=1, **WATCHED))
    bench.fitted.supply = FULL * 6 // 10
    bench.run(50)
    tick, low_ms = bench.core.tick, 0

    def watched(now_us):
        nonlocal low_ms
        was = list(bench.outputs.pulses_ns)
        tick(now_us)
        check(bench)
        for channel, before, now in zip(
            bench.core.bank.channels, was, bench.outputs.pulses_ns, strict=True
        ):
            assert not (before and now) or abs(now - before) <= channel.slew_ns_per_ms
        low_ms = low_ms + 1 if bench.fitted.supply < FULL * 48 // 100 else 0
        if low_ms > 100:
            assert bench.outputs.pulses_ns == [0] * 8

    bench.core.tick = watched
    for (what, figure), ms in story:
        happen(bench, what, figure)
        bench.run(ms)
    starts = []
    for ch in range(1, 9):
        off = True
        for at, number, pulse_ns in bench.outputs.log:
            if number == ch:
                if off and pulse_ns > 0:
                    starts.append(at)
                off = pulse_ns <= 0
    starts.sort()
    frame_us = 20_000  # a pulse asked for goes out up to a frame later
    assert all(b - a >= 50_000 + frame_us for a, b in itertools.pairwise(starts))


def test_stories_of_the_property_move_something_often_enough():
    moved = {"panel": 0, "host": 0}

    @given(st.lists(happenings, min_size=6, max_size=20))
    @settings(max_examples=100, deadline=None, database=None, derandomize=True)
    def count(story):
        bench = Bench(settings=settings_of(NARROW, knob=1, **WATCHED))
        bench.fitted.supply = FULL * 6 // 10
        bench.run(50)
        for what, figure in story:
            happen(bench, what, figure)
            bench.run(300)
        moved["panel"] += bool(steps_of(bench.outputs.log, 1))
        moved["host"] += bool(steps_of(bench.outputs.log, 3))

    count()
    assert moved["panel"] > 10
    assert moved["host"] > 10
