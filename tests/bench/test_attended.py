"""The board is kept assured while a person takes their time, on the wall clock."""

from __future__ import annotations

import threading
import time

import pytest

from hingeline.bench import client
from hingeline.bench.client import BEAT_S, Board
from hingeline.bench.simulated.transport import SimulatedTransport
from hingeline.errors import BenchError
from tests.support.bench import RealTime, bare_servo, set_up


@pytest.fixture
def line():
    return RealTime(SimulatedTransport({1: bare_servo()}))


@pytest.fixture
def board(line, monkeypatch):
    """A board at work whose patience is a second, so that the tests need not wait for four."""
    monkeypatch.setattr(client, "ANSWER_S", 0.1)
    made = Board(line)
    made.silence(hold_s=0.6, off_s=1.0)
    set_up(made)
    made.hold({1: 1500})
    yield made
    made.close()
    assert [thread.name for thread in threading.enumerate() if thread.name == "beats"] == []


def test_a_person_may_take_longer_than_the_board_would_wait(board, line):
    board.sweep([1], ends_us=(1400, 1600), period_s=1.0, cycles=0, shape="smooth")
    with board.attended():
        time.sleep(1.5)
    assert board.moving() is True  # neither held nor stopped, and the guard had nothing to do
    assert line.inner.pulses_us[0] > 0


def test_without_it_the_board_would_have_stopped(board, line):
    time.sleep(1.2)
    with pytest.raises(BenchError, match="stopped its pulses"):
        board.moving()
    assert line.inner.pulses_us[0] == 0


def test_a_failure_meanwhile_surfaces_when_the_answer_is_given(board, line):
    answered = []
    line.deaf = True

    def answer():
        with board.attended():
            time.sleep(BEAT_S + 0.1)
            answered.append("12.5")

    with pytest.raises(BenchError, match="did not answer 'beat'"):
        answer()
    assert answered == ["12.5"]
    line.deaf = False


def test_a_failure_meanwhile_stops_the_beats(board, line):
    Board(RealTime(line.inner))  # another program takes the board over

    def answer():
        with board.attended():
            time.sleep(3 * BEAT_S + 0.1)

    before = line.writes
    with pytest.raises(BenchError, match="taken it over"):
        answer()
    assert line.writes == before + 1


def test_any_failure_of_the_beats_surfaces(board, line, monkeypatch):
    def broken(_data):
        raise RuntimeError("invented fault")

    def answer():
        with board.attended():
            time.sleep(BEAT_S + 0.1)

    with monkeypatch.context() as patch:
        patch.setattr(line, "write", broken)
        with pytest.raises(RuntimeError, match="invented fault"):
            answer()


@pytest.mark.parametrize("error", [KeyboardInterrupt, ValueError])
def test_what_happens_to_the_person_comes_first(board, line, error):
    def answer():
        with board.attended():
            line.deaf = True
            time.sleep(BEAT_S + 0.1)
            raise error

    with pytest.raises(error):
        answer()
    line.deaf = False


def test_requests_meanwhile_do_not_mix_with_beats(board):
    with board.attended():
        for number in range(60):
            board.hold({1: 1400 + number})
            assert board.state(1)["now_ns"] == (1400 + number) * 1000
    assert board.moving() is False


def test_a_simulated_bench_needs_no_thread():
    board = Board(SimulatedTransport({1: bare_servo()}))
    set_up(board)
    board.hold({1: 1500})
    before = threading.active_count()
    with board.attended():
        assert threading.active_count() == before
    assert board.moving() is False
