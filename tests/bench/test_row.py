"""Several boards as one: numbered through, assured together, and off together."""

from __future__ import annotations

import time
from contextlib import ExitStack

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hingeline.bench import client
from hingeline.bench.boards import Boards
from hingeline.bench.client import Board
from hingeline.bench.procedures.channels import Channel, prepare
from hingeline.bench.row import Row
from hingeline.bench.simulated.transport import SimulatedTransport
from hingeline.errors import BenchError, LostError
from shared_protocol import table
from tests.support.bench import BadLine, RealTime, Watched, bare_servo, set_up


def benches(count=2):
    """Return simulated benches with a servo on each of the first three channels."""
    return [Watched({channel: bare_servo() for channel in (1, 2, 3)}) for _ in range(count)]


def row_of(lines):
    return Row([Board(line) for line in lines])


def test_channels_are_numbered_through():
    lines = benches(3)
    with row_of(lines) as row:
        assert row.info.channels == 24
        for channel in (1, 9, 18):
            set_up(row, channel)
        row.hold({1: 1600, 9: 1450, 18: 1550})
        assert [line.pulses_us[:3] for line in lines] == [
            [1600, 0, 0],
            [1450, 0, 0],
            [0, 1550, 0],
        ]
        assert row.state(18)["now_ns"] == 1_550_000
        row.off([9])
        assert [line.pulses_us[:2] for line in lines] == [[1600, 0], [0, 0], [0, 1550]]
        row.centre([1, 18])
        assert (lines[0].pulses_us[0], lines[2].pulses_us[1]) == (1500, 1500)
    assert all(set(line.pulses_us) == {0.0} for line in lines)


@settings(max_examples=30)
@given(
    sizes=st.lists(st.integers(0, 8), min_size=1, max_size=4).filter(lambda sizes: sum(sizes) > 0),
    share=st.floats(0, 1, exclude_max=True),
)
def test_each_number_is_one_channel_of_one_board(sizes, share):
    lines = [SimulatedTransport({}) for _ in sizes]
    for line, size in zip(lines, sizes, strict=True):
        line._core.bank.channels = line._core.bank.channels[:size]
    row = row_of(lines)
    channel = 1 + int(share * sum(sizes))
    set_up(row, channel)
    row.hold({channel: 1500})
    sent = [
        pulse for line, size in zip(lines, sizes, strict=True) for pulse in line.pulses_us[:size]
    ]
    assert [number for number, pulse in enumerate(sent, start=1) if pulse] == [channel]


def test_a_board_alone_and_a_row_have_the_same_face():
    offered = {name for name in vars(Boards) if not name.startswith("_")}
    assert offered >= {"hold", "moving", "parts"}
    for made in (Board(benches(1)[0]), row_of(benches())):
        assert not {name for name in offered if not hasattr(made, name)}


@pytest.mark.parametrize("channel", [0, 17, -1])
def test_a_channel_that_none_of_them_has_is_refused_before_anything_moves(channel):
    lines = benches()
    row = row_of(lines)
    set_up(row, 1)
    with pytest.raises(
        BenchError, match=f"no channel {channel}: these 2 boards have 16"
    ) as caught:
        row.hold({1: 1500, channel: 1500})
    assert "another --port" in caught.value.mend
    assert lines[0].pulses_us[0] == 0


def test_they_say_who_they_are_side_by_side():
    first, second = SimulatedTransport({}, 7), SimulatedTransport({}, 7, 1)
    second._core._reason = table.number_of(table.REASONS, "crash")
    second._outputs.tick_ps = lambda: 900_000
    row = row_of([first, second])
    ids = row.info.board_id.split()
    assert len(set(ids)) == 2
    assert ids == [board.info.board_id for board in row.parts]
    assert row.info.firmware == row.parts[0].info.firmware
    assert row.info.started == "crash"
    assert row.tick_ns == row.info.tick_ns == 900
    assert row.port == "sim:7, sim:7 (board 2)"


def test_time_passes_alike_on_all_of_them():
    lines = benches()
    row = row_of(lines)
    set_up(row, 1)
    for _ in range(50):
        row.state(1)  # takes time on the first alone
    assert lines[0].now_s() - lines[1].now_s() > 0.04
    row.wait(1.0)
    assert lines[0].now_s() == pytest.approx(lines[1].now_s(), abs=0.01)


def test_two_servos_move_together_and_none_waits_for_the_other():
    lines = benches()
    row = row_of(lines)
    for channel in (1, 9):
        set_up(row, channel, slew_us_per_s=400)
    row.centre([1, 9])
    began = lines[0].now_s()
    row.hold({1: 1900, 9: 1100})
    assert (lines[0].pulses_us[0], lines[1].pulses_us[0]) == (1900, 1100)
    assert 1.0 <= lines[0].now_s() - began < 1.3


def test_waiting_keeps_every_board_assured():
    lines = benches(4)
    row = row_of(lines)
    for channel in (1, 9, 17, 25):
        set_up(row, channel)
    row.centre([1, 9, 17, 25])
    row.wait(20.0)
    assert row.moving() is False  # no guard had to act
    assert [line.pulses_us[0] for line in lines] == [1500] * 4


def test_boards_greeted_long_before_the_last_one_are_taken_in_all_the_same():
    lines = benches()
    first = Board(lines[0])
    lines[0].wait(10.0)  # longer than a board does without a word
    row = Row([first, Board(lines[1])])
    set_up(row, 1)
    row.hold({1: 1500})
    row.wait(1.0)
    assert lines[0].pulses_us[0] == 1500


def test_a_sweep_over_two_boards_goes_on_with_its_lag_and_its_opposites():
    lines = benches()
    row = row_of(lines)
    for channel in (1, 2, 9):
        set_up(row, channel)
    row.sweep(
        [1, 2, 9],
        opposed=[2, 9],
        ends_us=(1400, 1600),
        period_s=2.0,
        cycles=1,
        shape="triangle",
        lag_s=0.5,
    )
    assert lines[1].now_s() - lines[0].now_s() < 0.1
    first = len(lines[0].pulses_seen[1])
    assert first * 0.01 == pytest.approx(1.0, abs=0.12)  # two lags have passed
    while row.moving():
        row.wait(0.1)
    for line, channel, opposed in ((lines[0], 1, False), (lines[0], 2, True), (lines[1], 1, True)):
        seen = line.pulses_seen[channel]
        assert (min(seen), max(seen)) == pytest.approx((1400, 1600), abs=2)
        assert (seen[0] > 1500) is opposed
    assert set(lines[1].pulses_seen[2]) == set()


def test_a_list_of_pulses_lasts_until_the_last_board_is_done():
    lines = benches()
    row = row_of(lines)
    for channel in (1, 9):
        set_up(row, channel)
    lasts_s = row.steps([1, 9], [1400, 1600], 0.5, lag_s=0.3)
    row.wait(lasts_s)
    assert [line.pulses_us[0] for line in lines] == [1600, 1600]
    assert row.moving() is False


def test_freezing_and_frame_rates_reach_all():
    lines = benches()
    row = row_of(lines)
    row.frame_rate(200)
    assert [line._outputs.frame_hz for line in lines] == [200, 200]
    assert row.frame_hz == 200
    for channel in (1, 9):
        set_up(row, channel)
    row.sweep([1, 9], ends_us=(1400, 1600), period_s=2.0, cycles=0, shape="triangle")
    row.wait(0.3)
    row.freeze([1, 9])
    stopped = [line.pulses_us[0] for line in lines]
    row.wait(1.0)
    assert [line.pulses_us[0] for line in lines] == stopped
    assert 0 not in stopped


def test_a_refusal_by_the_second_switches_the_first_off_too():
    lines = benches()
    row = row_of(lines)
    set_up(row, 1)
    set_up(row, 9, limits_us=(1000, 2000))
    with pytest.raises(BenchError, match=r"2050 us is above 2000 us") as caught:
        row.hold({1: 1700, 9: 2050})
    assert not isinstance(caught.value, LostError)
    assert [set(line.pulses_us) for line in lines] == [{0.0}, {0.0}]
    row.hold({1: 1700, 9: 1950})  # a refusal is no loss
    assert [line.pulses_us[0] for line in lines] == [1700, 1950]


@pytest.mark.parametrize("lost", [0, 1])
def test_when_one_falls_silent_the_others_are_switched_off_and_it_is_named(lost):
    inner = benches()
    lines = [BadLine(line) for line in inner]
    lines[0].name, lines[1].name = "/dev/one", "/dev/two"
    row = row_of(lines)
    for channel in (1, 9):
        set_up(row, channel)
    row.hold({1: 1600, 9: 1600})
    lines[lost].to_board = lambda _number, _data: []
    with pytest.raises(LostError, match="did not answer") as caught:
        row.wait(5.0)
    assert caught.value.message.startswith(lines[lost].name)
    assert "All other boards were switched off" in caught.value.cause
    assert set(inner[1 - lost].pulses_us) == {0.0}
    sent = len(lines[1 - lost].sent)
    with pytest.raises(LostError, match="did not answer"):
        row.hold({1: 1600, 9: 1600})
    assert len(lines[1 - lost].sent) == sent  # nothing goes on with half of the boards
    row.close()
    assert [line.closed for line in lines] == [True, True]


def test_a_board_that_started_again_ends_the_work_of_all():
    inner = benches()
    lines = [BadLine(line) for line in inner]
    row = row_of(lines)
    for channel in (1, 9):
        set_up(row, channel)
    row.hold({1: 1600, 9: 1600})
    lines[1].inner = SimulatedTransport({1: bare_servo()}, 3)  # as after a dip of its supply
    with pytest.raises(LostError, match="the board has started again"):
        row.hold({1: 1500, 9: 1500})
    assert set(inner[0].pulses_us) == {0.0}


def test_when_a_second_one_is_deaf_too_it_is_named():
    lines = [BadLine(line) for line in benches(3)]
    for line, name in zip(lines, ("one", "two", "three"), strict=True):
        line.name = name
    row = row_of(lines)
    lines[0].to_board = lines[2].to_board = lambda _number, _data: []
    with pytest.raises(LostError) as caught:
        row.moving()
    assert caught.value.message.startswith("one: ")
    assert "three did not answer" in caught.value.cause


def test_real_and_simulated_boards_are_not_mixed():
    boards = [Board(benches(1)[0]), Board(RealTime(SimulatedTransport({})))]
    with pytest.raises(BenchError, match="cannot work together"):
        Row(boards)


def test_a_person_may_think_while_two_boards_hold(monkeypatch):
    monkeypatch.setattr(client, "ANSWER_S", 0.1)
    lines = [RealTime(SimulatedTransport({1: bare_servo()})) for _ in range(2)]
    with ExitStack() as stack:
        row = stack.enter_context(row_of(lines))
        row.silence(hold_s=1.0, off_s=1.4)
        for channel in (1, 9):
            set_up(row, channel)
        row.hold({1: 1500, 9: 1500})
        with row.attended():
            time.sleep(1.8)
        assert row.moving() is False
        assert [line.inner.pulses_us[0] for line in lines] == [1500, 1500]
        lines[1].deaf = True
        with pytest.raises(LostError, match="did not answer"), row.attended():
            time.sleep(1.2)
        assert lines[0].inner.pulses_us[0] == 0


def on(number, frame_hz):
    return Channel(number, f"S{number}", "standard", 1500, (900, 2100), frame_hz)


def test_each_board_gets_the_lowest_rate_of_its_own_servos():
    lines = benches(3)
    row = row_of(lines)
    assert prepare(row, [on(1, 333), on(9, 50), on(10, 333)]) == ""
    assert [line._outputs.frame_hz for line in lines] == [333, 50, 50]
    assert row.frame_hz == 50
    with pytest.raises(BenchError, match="no channel 25: these 3 boards have 24") as caught:
        prepare(row, [on(1, 50), on(25, 50)])
    assert "another --port" in caught.value.mend


def test_a_coarse_board_among_several_is_named():
    lines = benches()
    lines[1].name = "/dev/two"
    lines[1]._outputs.tick_ps = lambda: 3_000_000
    row = row_of(lines)
    assert prepare(row, [on(1, 50)]) == ""  # nothing of this hangs there
    assert prepare(row, [on(1, 50), on(9, 50)]).startswith("/dev/two: this board sets pulses in")


def test_a_board_without_channels_is_refused_however_many_others_have_them():
    lines = benches()
    lines[0]._core.bank.channels = lines[0]._core.bank.channels[:0]
    with pytest.raises(BenchError, match="this board has no channels"):
        prepare(row_of(lines), [on(1, 50)])
