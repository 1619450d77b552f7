"""The client over a bad line: the firmware itself answers, the line loses, damages and delays."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hingeline.bench.client import ANSWER_S, GREETING_S, TRIES, Board
from hingeline.bench.keeping import Kept
from hingeline.bench.simulated.transport import SimulatedTransport
from hingeline.errors import BenchError
from shared_protocol.framing import Decoder
from shared_protocol.messages import RefusedError, build_refusal
from tests.support.bench import BadLine, bare_servo, set_up, straight


def bench(seed=0, channels=(1, 2)):
    return SimulatedTransport({channel: bare_servo() for channel in channels}, seed)


def obeyed_words(transport):
    """Note every request that the firmware acts on."""
    commands = transport._core._commands
    words, act = [], commands.obey

    def noted(word, values):
        words.append(word)
        return act(word, values)

    commands.obey = noted
    return words


def ids(lines):
    return [frame.ident for line in lines for frame in Decoder().feed(line)]


class On:
    """A line that does something else at chosen writes."""

    def __init__(self, *numbers, act=lambda _data: []):
        self.numbers, self.act = numbers, act

    def __call__(self, number, data):
        return self.act(data) if number in self.numbers else straight(number, data)


def damaged(data):
    return [(0.0, data[:7] + bytes([data[7] ^ 1]) + data[8:])]


# 1 is the greeting, 2 a beat, 3 the setup, 4 the request that is tried below.


@pytest.mark.parametrize(
    ("to_board", "to_host", "obeyed"),
    [
        (On(4), straight, 1),  # the request is lost
        (On(4, act=damaged), straight, 1),
        (straight, On(4), 1),  # the reply is lost
        (straight, On(4, act=damaged), 1),
        (On(4, 5), On(6), 1),  # three tries in vain
        (straight, On(4, act=lambda data: [(ANSWER_S * 1.5, data)]), 1),  # the reply is late
        (straight, On(4, act=lambda data: [(0, data[:9]), (0.1, data[9:])]), 1),  # in halves
    ],
)
def test_a_request_gets_through_and_is_obeyed_once(to_board, to_host, obeyed):
    inner = bench()
    line = BadLine(inner, to_board, to_host)
    board = Board(line)
    set_up(board)
    words = obeyed_words(inner)
    board.hold({1: 1600})
    assert words.count("hold") == obeyed
    assert inner.pulses_us[0] == 1600
    holds = [sent for sent in line.sent if b" hold " in sent]
    assert len(set(holds)) == 1  # the same bytes, so the same id
    set_up(board, 2)
    board.hold({1: 1550, 2: 1450})
    assert inner.pulses_us[:2] == [1550, 1450]  # nothing is out of step afterwards


def test_a_reply_that_comes_after_all_tries_answers_nothing_later():
    inner = bench()
    late = On(4, 5, 6, 7, act=lambda data: [(ANSWER_S * 5, data)])
    line = BadLine(inner, straight, late)
    board = Board(line)
    set_up(board)
    with pytest.raises(BenchError, match="did not answer 'hold' in 4 tries"):
        board.hold({1: 1600})
    assert board.state(1)["target_ns"] == 1_600_000
    board.hold({1: 1700})
    assert inner.pulses_us[0] == 1700


def test_silence_is_an_error_that_names_the_tries_and_the_time():
    line = BadLine(bench())
    board = Board(line)
    line.to_board = lambda _number, _data: []
    before, started = len(line.sent), line.now_s()
    with pytest.raises(BenchError, match=r"did not answer 'beat' in 4 tries of 0\.4 s") as caught:
        board.moving()
    assert len(line.sent) - before == TRIES
    assert line.now_s() - started == pytest.approx(TRIES * ANSWER_S, abs=0.1)
    assert "stops its pulses by itself" in str(caught.value)


def test_a_refusal_is_said_with_value_and_limit_and_nothing_moves():
    inner = bench()
    board = Board(BadLine(inner))
    set_up(board)
    set_up(board, 2, limits_us=(1000, 2000))
    board.hold({1: 1500, 2: 1500})
    with pytest.raises(BenchError, match="2050 us is above 2000 us, the high limit of channel 2"):
        board.hold({1: 1400, 2: 2050})
    board.wait(0.5)
    assert inner.pulses_us[:2] == [1500, 1500]


@pytest.mark.parametrize(
    "ask",
    [
        lambda board: board.hold({1: 50_000}),
        lambda board: board.hold({1: 0}),
        lambda board: board.hold({1: -1500}),
        lambda board: board.hold({1: 1_500_000}),
        lambda board: board.hold({9: 1500}),
        lambda board: board.steps([1], [1500] * 17, 1.0),
        lambda board: board.steps([1], [1500], 1e6),
        lambda board: board.sweep(
            [1], ends_us=(1400, 1600), period_s=0.01, cycles=1, shape="smooth"
        ),
        lambda board: board.sweep(
            [1], ends_us=(1400, 1600), period_s=2, cycles=1, shape="smooth", lag_s=121
        ),
        lambda board: board.steps([1], [1500], 1.0, lag_s=-0.1),
        lambda board: board.hold({1: 1500}, ramp_s=0),
        lambda board: board.centre([1], ramp_s=601),
        lambda board: board.measure(9),
        lambda board: board.change({"frame_hz": 49}),
        lambda board: board.change({"rail_low_v": 61.0}),
        lambda board: board.keep(1, Kept("standard", (1000, 2000), 1500, 5)),
        lambda board: board.silence(hold_s=0.001, off_s=1),
        lambda board: board.frame_rate(400),
        lambda board: board.setup(
            1, pulse_class="standard", limits_us=(1, 2), centre_us=1, slew_us_per_s=500
        ),
    ],
)
def test_what_the_wire_forbids_is_an_error_for_people_and_is_not_sent(ask):
    line = BadLine(bench())
    board = Board(line)
    set_up(board)
    before = len(line.sent)
    with pytest.raises(BenchError):
        ask(board)
    assert len(line.sent) == before
    assert line.inner.pulses_us == [0.0] * 8
    assert board.moving() is False  # and the next request works


def test_a_board_of_another_version_is_named_with_both_versions():
    def refuse(data):
        (frame,) = Decoder().feed(data.lstrip())
        return [(0, build_refusal(frame.ident, RefusedError("wrong_version", 0, "proto", 1, 7)))]

    line = BadLine(bench(), straight, On(1))
    line.to_host = lambda number, _data: refuse(line.sent[number - 1])
    with pytest.raises(BenchError, match="speaks version 7 of the wire, this Hingeline version 2"):
        Board(line)
    assert line.closed


def test_a_port_without_a_board_is_given_back_after_the_greeting_time():
    line = BadLine(bench(), lambda _number, _data: [])
    with pytest.raises(BenchError, match="nothing there answers"):
        Board(line)
    assert line.closed
    # And then asks whether there is a prompt.
    assert GREETING_S <= line.now_s() <= GREETING_S + 4 * ANSWER_S


@pytest.mark.parametrize("noise", [b"\xff\x00" * 300, b"boot: hello\r\n>>> ", b"\n\n", b"12 gre"])
def test_noise_before_the_greeting_is_no_greeting(noise):
    line = BadLine(bench(), straight, On(1, act=lambda data: [(0, noise + b"\n" + data)]))
    board = Board(line)
    assert board.info.board == "simulated"
    set_up(board)


def test_a_half_line_of_another_program_costs_no_try():
    line = BadLine(bench(), On(1, act=lambda data: [(0, b"1 hold p1_"), (0, data)]))
    Board(line)
    assert sum(b" hello " in sent for sent in line.sent) == 1


def test_a_board_that_starts_late_is_greeted():
    line = BadLine(bench(), On(1, 2, 3))
    board = Board(line)
    assert len(set(ids(line.sent[:4]))) == 4  # a new request each time
    set_up(board)


def test_an_old_greeting_is_not_taken_for_a_new_one():
    old = []
    first = BadLine(bench(seed=5), straight, lambda _n, data: old.append(data) or [(0, data)])
    Board(first)
    # The same bytes again, as if they had waited in the port since the last program.
    line = BadLine(bench(seed=6), straight, On(1, act=lambda data: [(0, old[0]), (0, data)]))
    board = Board(line)
    assert board._session.token != first.inner._core._session._token
    set_up(board)


def restart(line):
    line.inner.close()
    line.inner = bench(seed=99)
    return line.inner


def take_over(line):
    Board(BadLine(line.inner))
    return line.inner


@pytest.mark.parametrize("happens", [restart, take_over])
def test_a_board_restarted_or_taken_over_is_sent_nothing_more(happens):
    line = BadLine(bench())
    board = Board(line)
    set_up(board)
    board.hold({1: 1600})
    inner = happens(line)
    words = obeyed_words(inner)
    with pytest.raises(BenchError, match="started again, or another program has taken it over"):
        board.hold({1: 1700})
    sent = len(line.sent)
    for ask in (lambda: board.off([1]), board.moving, lambda: board.wait(1.0)):
        with pytest.raises(BenchError, match="started again"):
            ask()
    board.close()
    assert len(line.sent) == sent
    assert words == []
    assert line.closed


def test_leaving_switches_off_after_an_error_of_any_kind():
    for error in (BenchError("x"), KeyboardInterrupt(), ZeroDivisionError()):
        line = BadLine(bench())
        with pytest.raises(type(error)), Board(line) as board:  # noqa: PT012
            set_up(board)
            board.hold({1: 1600})
            assert line.inner.pulses_us[0] == 1600
            line.close = lambda line=line: setattr(line, "closed", True)  # outputs not touched
            raise error
        assert line.inner.pulses_us == [0.0] * 8
        assert line.closed


def test_leaving_a_board_that_is_gone_gives_the_port_back_without_a_second_error():
    line = BadLine(bench())
    with Board(line):
        line.to_board = lambda _number, _data: []
    assert line.closed


def test_an_old_programs_request_is_refused_after_a_new_greeting():
    inner = bench()
    old, new = Board(BadLine(inner)), Board(BadLine(inner))
    set_up(new)
    new.hold({1: 1500})
    with pytest.raises(BenchError, match="taken it over"):
        old.hold({1: 2000})
    old.close()  # must not switch off what the new one holds
    new.wait(0.1)
    assert new.state(1)["now_ns"] == 1_500_000


def test_guard_is_reported_once_and_says_what_it_did():
    inner = bench()
    board = Board(BadLine(inner))
    set_up(board)
    board.hold({1: 1500})
    inner.wait(1.6)
    with pytest.raises(BenchError, match="stopped all motion"):
        board.moving()
    assert inner.pulses_us[0] == 1500
    inner.wait(4.1)
    assert inner.pulses_us[0] == 0
    with pytest.raises(BenchError, match="stopped its pulses"):
        board.moving()
    assert board.moving() is False


def test_the_silence_of_an_earlier_program_is_not_laid_to_a_later_one():
    inner = bench()
    killed = Board(BadLine(inner))
    set_up(killed)
    killed.hold({1: 1500})
    inner.wait(5.0)
    board = Board(BadLine(inner))
    assert board.moving() is False
    set_up(board)
    board.hold({1: 1500})
    board.wait(1.0)


def test_waiting_shows_that_the_host_is_there():
    inner = bench()
    board = Board(BadLine(inner))
    set_up(board)
    board.hold({1: 1500})
    board.wait(20.0)
    assert inner.pulses_us[0] == 1500
    assert board.moving() is False


def test_hold_waits_until_the_pulse_has_arrived_and_off_until_pins_rest():
    inner = bench()
    board = Board(BadLine(inner))
    set_up(board, slew_us_per_s=200)
    board.hold({1: 1500})
    board.hold({1: 1700})
    assert inner.pulses_us[0] == 1700
    board.off([1])
    assert inner._outputs.released[0]
    set_up(board)  # which a channel not yet at rest refuses


FATES = st.sampled_from(["through", "lost", "damaged", "late", "noise before", "twice"])


def fate_line(fates, rng):
    def line(number, data):
        fate = fates[number % len(fates)] if number > 3 else "through"
        if fate == "lost":
            return []
        if fate == "damaged" and data:
            at = int(rng.integers(0, len(data)))
            return [
                (0, data[:at] + bytes([data[at] ^ int(rng.integers(1, 256))]) + data[at + 1 :])
            ]
        if fate == "late":
            return [(float(rng.uniform(0, 1.0)), data)]
        if fate == "noise before":
            return [(0, rng.bytes(12)), (0, data)]
        return [(0, data)] * (2 if fate == "twice" else 1)

    return line


@settings(max_examples=60, deadline=None)
@given(
    st.lists(FATES, min_size=1, max_size=12),
    st.lists(FATES, min_size=1, max_size=12),
    st.lists(st.integers(1000, 2000), min_size=1, max_size=6),
    st.integers(0, 2**32 - 1),
)
def test_whatever_the_line_does_a_request_is_obeyed_once_or_named(down, up, pulses, seed):
    rng = np.random.default_rng(seed)
    inner = bench()
    line = BadLine(inner, fate_line(down, rng), fate_line(up, rng))
    board = Board(line)
    set_up(board)
    obeyed, act = [], inner._core._commands.obey
    inner._core._commands.obey = lambda word, values: obeyed.append(values) or act(word, values)
    allowed = {0}
    for pulse in pulses:
        before = len(obeyed)
        allowed.add(pulse * 1000)
        try:
            board.hold({1: pulse})
        except BenchError as error:
            assert "did not answer" in str(error) or "heard nothing" in str(error)
            assert len(obeyed) - before <= 1
        else:
            assert [values["p1_ns"] for values in obeyed[before:]] == [pulse * 1000]
        assert inner._core.bank.channels[0].target_ns in allowed
