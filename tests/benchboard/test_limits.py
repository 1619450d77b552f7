"""Whatever is asked in whatever order, no output leaves its limits."""

from hypothesis import given, settings
from hypothesis import strategies as st

from shared_protocol import table
from shared_protocol.session import Refusal
from tests.support.core_bench import Bench

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
    for word in ("hold", "centre", "sweep", "steps", "setup", "freeze", "off", "frame"):
        assert obeyed.get(word, 0) > 0, (word, obeyed, refused)
