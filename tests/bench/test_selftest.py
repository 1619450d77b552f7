"""The loop-back self-test, against pulses whose departures are known."""

import statistics

import pytest

from benchboard.boards import TABLE, rp2_tick_ps
from hingeline.bench.client import Board
from hingeline.bench.procedures.selftest import (
    PULSES_US,
    READINGS,
    USUAL_PINS,
    LoopBack,
    Width,
    loop_back,
    wire,
)
from tests.support.bench import Watched, bare_servo

TICK_US = rp2_tick_ps(125_000_000, 50) / 1e6


def bench(measured=None):
    """Greet a simulated board; ``measured`` says what is measured of a pulse in ns."""
    line = Watched({1: bare_servo(), 3: bare_servo()})
    fittings = line._core._commands.fittings
    real = fittings.measure
    if measured is not None:
        count = iter(range(10**6))
        fittings.measure = lambda: measured(real(), next(count))
    return line, Board(line)


def test_the_simulated_boards_rounding_is_what_is_found():
    line, board = bench()
    result = loop_back(board, 3)
    assert result.passed
    assert [width.pulse_us for width in result.widths] == list(PULSES_US)
    assert result.tick_us == pytest.approx(TICK_US)
    for width in result.widths:
        assert len(width.measured_us) == READINGS
        assert width.jitter_us == 0.0
        # To the nearest count, less what the measuring pin cuts off.
        counted = round(width.pulse_us / TICK_US) * TICK_US - width.pulse_us
        assert width.error_us == pytest.approx(counted, abs=0.0165)
        assert width.worst_us == pytest.approx(width.error_us)
    assert max(abs(width.worst_us) for width in result.widths) > 0.05  # it is not all zero
    assert line.pulses_us == [0.0] * 8
    assert line.pulses_seen[1] == []
    assert set(PULSES_US) <= set(line.pulses_seen[3])


@pytest.mark.parametrize(("off_ns", "passes"), [(0, True), (40, True), (200, False)])
def test_pulses_off_by_more_than_the_steps_explain_fail(off_ns, passes):
    _, board = bench(lambda width_ns, _n: width_ns + off_ns)
    result = loop_back(board, 1)
    assert result.seen
    assert result.passed is passes


def test_one_reading_that_is_off_fails_and_is_the_worst():
    _, board = bench(lambda width_ns, n: width_ns - (900 if n == 25 else 0))
    result = loop_back(board, 1)
    assert not result.passed
    second = result.widths[1]
    assert second.worst_us == pytest.approx(second.measured_us[5] - 1000)
    assert second.jitter_us == pytest.approx(0.9 / READINGS**0.5, rel=1e-3)
    assert result.widths[0].jitter_us == 0.0


def test_jitter_and_mean_are_those_of_the_readings():
    _, board = bench(lambda width_ns, n: width_ns + (30 if n % 2 else -30))
    width = loop_back(board, 1).widths[0]
    assert width.jitter_us == pytest.approx(statistics.stdev(width.measured_us))
    assert width.jitter_us == pytest.approx(0.030 * (20 / 19) ** 0.5)
    assert {round(us - width.pulse_us - width.error_us, 3) for us in width.measured_us} == {
        0.03,
        -0.03,
    }


@pytest.mark.parametrize(("first_missing", "whole"), [(0, 0), (20, 1), (37, 1), (99, 4)])
def test_a_pulse_that_does_not_come_ends_it(first_missing, whole):
    line, board = bench(lambda width_ns, n: 0 if n >= first_missing else width_ns)
    result = loop_back(board, 1)
    assert not result.seen
    assert not result.passed
    assert len(result.widths) == whole
    assert line.pulses_us == [0.0] * 8


def test_the_pins_are_those_of_the_firmware():
    rows = {row.name: row for row in TABLE if row.name in USUAL_PINS}
    assert set(rows) == set(USUAL_PINS)
    for name, (pins, measuring) in USUAL_PINS.items():
        letters = pins[0].rstrip("0123456789")
        assert pins == tuple(f"{letters}{gpio}" for gpio in rows[name].gpios)
        assert measuring == f"{letters}{rows[name].probe_gpio}"


def test_a_wire_is_named_by_its_pins_where_they_are_known():
    assert wire("rp2040", 3) == ("GP2 (channel 3)", "GP16 (the measuring pin)")
    assert wire("generic", 3) == ("the servo pin of channel 3", "the measuring pin")


def test_the_limit_itself_passes():
    widths = tuple(Width(pulse, (pulse + 0.16, pulse - 0.16)) for pulse in PULSES_US)
    assert LoopBack(1, 0.3, 0.01, widths).passed
    assert not LoopBack(1, 0.29, 0.01, widths).passed
