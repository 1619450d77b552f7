"""What the client asks for and is told: ramps, lags, measuring, what is kept, the guard."""

from dataclasses import asdict

import pytest

from hingeline.bench.client import Board
from hingeline.bench.keeping import Kept
from hingeline.bench.simulated.transport import SimulatedTransport
from hingeline.errors import BenchError
from tests.support.bench import BadLine, bare_servo, set_up


def bench(channels=(1, 2)):
    return SimulatedTransport({channel: bare_servo() for channel in channels})


def guarding(inner, guard, rail_mv=0):
    """Let the next beat tell of something that the board did by itself."""
    inner._core.worst = guard
    inner._core.rail.mv = lambda: rail_mv


@pytest.mark.parametrize(
    ("guard", "rail_mv", "words"),
    [
        (3, 4310, ["servo supply fell too low", "it is at 4.31 V now", "stopped its pulses"]),
        (3, 0, ["servo supply fell too low, and"]),
        (4, 5000, ["button was pressed", "stopped its pulses", "start the command again"]),
    ],
)
def test_what_the_board_did_by_itself_is_told_and_ends_the_wait(guard, rail_mv, words):
    inner = bench()
    board = Board(BadLine(inner))
    set_up(board)
    board.hold({1: 1500})
    guarding(inner, guard, rail_mv)
    with pytest.raises(BenchError) as caught:
        board.wait(5.0)
    for part in words:
        assert part in str(caught.value)
    board.wait(1.0)  # told once


def test_a_press_of_the_button_ends_pulses_and_nothing_resumes():
    inner = bench()
    board = Board(BadLine(inner))
    set_up(board)
    board.sweep([1], ends_us=(1400, 1600), period_s=2.0, cycles=0, shape="smooth")
    fittings = inner._core.panel._fittings
    inner.wait(0.5)
    fittings.pressed = lambda: True
    inner.wait(0.1)
    fittings.pressed = lambda: False
    with pytest.raises(BenchError, match="button was pressed"):
        board.wait(1.0)
    assert inner.pulses_us == [0.0] * 8
    board.wait(3.0)
    assert inner.pulses_us == [0.0] * 8


def test_centring_ends_when_the_last_channel_has_its_pulse():
    inner = bench(channels=range(1, 9))
    board = Board(BadLine(inner))
    for channel in range(1, 9):
        set_up(board, channel)
    board.centre(range(1, 9))
    assert inner.pulses_us == [1500.0] * 8


def test_a_ramp_takes_the_time_that_was_asked_for():
    inner = bench()
    board = Board(BadLine(inner))
    set_up(board)
    set_up(board, 2)
    board.hold({1: 1500, 2: 1500})
    began = inner.now_s()
    board.hold({1: 1900, 2: 1450}, ramp_s=3.0)
    assert inner.now_s() - began == pytest.approx(3.0, abs=0.05)
    assert inner.pulses_us[:2] == [1900, 1450]
    board.centre([1], ramp_s=2.0)
    assert inner.now_s() - began == pytest.approx(5.0, abs=0.1)
    assert inner.pulses_us[:2] == [1500, 1450]


def test_a_lag_holds_the_next_channel_back():
    inner = bench()
    board = Board(BadLine(inner))
    for channel in (1, 2):
        set_up(board, channel)
    board.hold({1: 1500, 2: 1500})
    lasts_s = board.steps([1, 2], [1500, 1900], 0.2, lag_s=1.0)
    board.wait(0.9)
    assert inner.pulses_us[0] > 1700
    assert inner.pulses_us[1] == 1500
    board.wait(lasts_s)
    assert inner.pulses_us[:2] == [1900, 1900]


def test_the_frame_rate_and_the_step_are_those_of_now():
    inner = bench()
    board = Board(BadLine(inner))
    assert (board.frame_hz, board.tick_ns) == (50, pytest.approx(305.5, abs=0.5))
    board.frame_rate(200)
    assert (inner._outputs.frame_hz, board.frame_hz) == (200, 200)
    assert board.tick_ns == pytest.approx(76.5, abs=0.5)
    assert board.info.frame_hz == 50
    board.close()
    again = Board(BadLine(inner))
    assert (again.frame_hz, inner._outputs.frame_hz) == (50, 50)


def test_a_measured_pulse_is_the_one_that_goes_out():
    inner = bench()
    board = Board(BadLine(inner))
    set_up(board)
    board.hold({1: 1520})
    width_us, step_us = board.measure(1)
    assert width_us == pytest.approx(1520, abs=0.17)
    assert step_us == 0.016
    with pytest.raises(BenchError, match="while channel 2 holds a pulse"):
        board.measure(2)


def test_what_is_kept_is_told_and_forgotten_again():
    board = Board(BadLine(bench()))
    usual, first = board.settings(), board.kept(1)
    wanted = {"hold_s": 2.0, "off_s": 5.5, "period_s": 3.0, "shape": "triangle", "knob": True}
    board.change({**wanted, "rail_full_v": 9.9, "rail_low_v": 4.55})
    now = board.settings()
    assert asdict(now) == {**asdict(usual), **wanted, "rail_full_v": 9.9, "rail_low_v": 4.55}
    narrow = Kept("narrow", (500, 1000), 760, 300)
    board.keep(2, narrow)
    board.keep(3, None)
    assert [board.kept(n) for n in (1, 2, 3)] == [first, narrow, None]
    board.usual()
    assert board.settings() == usual
    assert [board.kept(n) for n in (1, 2, 3)] == [first] * 3
    with pytest.raises(KeyError):
        board.change({"frame": 50})
