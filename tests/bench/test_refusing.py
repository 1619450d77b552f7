"""Every refusal of the board, in the words and units of people."""

import re

import pytest

from hingeline.bench.refusing import amount, name, never_sent, refused
from hingeline.cli.board.settings import command
from shared_protocol import table
from shared_protocol.errors import LocalProtocolError
from shared_protocol.host_session import Refusal

#: Those that a person can bring about by what he asks for; the rest is between the programs.
PEOPLES = {
    "below_limit",
    "above_limit",
    "class_limit",
    "wrong_order",
    "frame_too_short",
    "too_fast",
    "rail_low",
    "not_kept",
    "channel_on",
    "not_set_up",
    "no_such_channel",
    "not_holding",
}


def refusal(code, word="hold", ch=0, key="", value=0, limit=0):
    number = table.KEYS.index(key) + 1 if key else 0
    code_number = table.number_of(table.ERRORS, code)
    return Refusal(
        1, word, {"code": code_number, "ch": ch, "field": number, "value": value, "limit": limit}
    )


@pytest.mark.parametrize(
    ("made", "said"),
    [
        (
            refusal("below_limit", ch=3, key="p3_ns", value=899000, limit=900000),
            "899 us is below 900 us, the low limit of channel 3",
        ),
        (
            refusal("above_limit", ch=1, key="s2_ns", value=2100500, limit=2100000),
            "2100.5 us is above 2100 us, the high limit of channel 1",
        ),
        (
            refusal("class_limit", ch=2, key="high_ns", value=1500000, limit=1100000),
            "1500 us on channel 2 is outside its pulse class, which ends at 1100 us",
        ),
        (
            refusal("wrong_order", "keep", 4, "low_ns", 2000000, 1000000),
            "channel 4: the lower end, 2000 us, must be less than 1000 us",
        ),
        (
            refusal("wrong_order", "keep", 4, "centre_ns", 900000, 1000000),
            "channel 4: the centre, 900 us, must be at least 1000 us",
        ),
        (
            refusal("wrong_order", "keep", 4, "centre_ns", 2100000, 2000000),
            "channel 4: the centre, 2100 us, must be at most 2000 us",
        ),
        (
            refusal("wrong_order", "change", 0, "off_ms", 1000, 1500),
            "the silence until pulses stop, 1 s, must be more than 1.5 s",
        ),
        (
            refusal("wrong_order", "change", 0, "rail_low_mv", 4500, 0),
            "without a supply divider it cannot see whether the supply is below 4.5 V",
        ),
        (
            refusal("wrong_order", "change", 0, "rail_low_mv", 6000, 5000),
            "the lowest supply, 6 V, must be less than 5 V",
        ),
        (
            refusal("frame_too_short", "setup", 1, "high_ns", 3300000, 3003003),
            "channel 1: the longest pulse and the silence after it take 3300 us, a frame lasts "
            "only 3003.003 us",
        ),
        (
            refusal("too_fast", "sweep", 2, "period_ms", 200, 450),
            "channel 2: the period of 0.2 s is quicker than the slew allows; the shortest is "
            "0.45 s",
        ),
        (
            refusal("too_fast", "centre", 2, "ramp_ms", 10, 450),
            "channel 2: the time to get there of 0.01 s is quicker than the slew allows",
        ),
        (
            refusal("rail_low", value=4210, limit=4500),
            "the servo supply is at 4.21 V; below 4.5 V nothing starts",
        ),
        (refusal("channel_on", "setup", 2), "while channel 2 is off"),
        (refusal("channel_on", "frame"), "while all channels are off"),
        (refusal("no_such_channel", ch=7, value=7, limit=4), "no channel 7: the board has 4"),
        (refusal("not_holding", "measure", 1), "while channel 1 holds a pulse"),
        (refusal("not_set_up", ch=1), "channel 1 has no pulse class and limits yet"),
        (refusal("not_kept", "keep"), "could not write its settings; nothing has changed"),
    ],
)
def test_a_refusal_is_said_in_the_units_of_people(made, said):
    error = refused(made)
    assert error.message.startswith("the board refused: ")
    assert said in error.message
    assert error.mend
    assert not re.search(r"_ns|_ms|_mv|\d{6}", error.message)


@pytest.mark.parametrize(
    ("key", "limit", "options"),
    [
        ("hold_ms", 4000, {"--hold", "--off"}),
        ("off_ms", 4000, {"--hold", "--off"}),
        ("rail_low_mv", 4000, {"--rail-low", "--rail-full"}),
        ("rail_low_mv", 0, {"--rail-full"}),
        ("centre_ns", 4000, set()),
    ],
)
def test_values_in_the_wrong_order_name_the_options_that_say_them(key, limit, options):
    error = refused(refusal("wrong_order", "change", 0, key, 5000, limit))
    assert set(re.findall(r"--[a-z-]+", error.mend)) == options
    known = {name for option in command.params for name in option.opts}
    assert options <= known


@pytest.mark.parametrize("code", [row[1] for row in table.ERRORS if row[0]])
def test_every_refusal_is_said(code):
    error = refused(refusal(code, "hold", 2, "p2_ns", 1000000, 900000))
    assert error.message.endswith(".")
    # What people cannot bring about keeps its code, for whoever mends the program.
    assert (code in error.message) is (code not in PEOPLES)


def test_a_value_has_the_unit_of_its_key():
    assert amount("p1_ns", 1520000) == "1520 us"
    assert amount("p1_ns", 1520001) == "1520.001 us"
    assert amount("period_ms", 120000) == "120 s"
    assert amount("rail_low_mv", 4800) == "4.8 V"
    assert amount("frame_hz", 333) == "333 Hz"
    assert amount("slew_ns_per_ms", 500) == "500 us/s"
    assert amount("mask", 3) == "3"


def test_every_key_has_a_name_in_words():
    for key in table.KEYS:
        assert not re.search(r"_|ns|ms\b", name(key).replace("silence", "")), key


@pytest.mark.parametrize(
    ("key", "value", "limit", "said"),
    [
        ("p1_ns", 50000000, 2500000, "a pulse cannot be 50000 us; the most is 2500 us"),
        ("p1_ns", 0, 300000, "a pulse cannot be 0 us; the least is 300 us"),
        ("period_ms", 100, 200, "the period cannot be 0.1 s; the least is 0.2 s"),
        ("frame_hz", 400, 333, "the frame rate cannot be 400 Hz; the most is 333 Hz"),
    ],
)
def test_what_is_never_sent_is_said_the_same_way(key, value, limit, said):
    error = never_sent(LocalProtocolError("out_of_range", "x", key, value, limit))
    assert said in error.message
    assert error.message.startswith("nothing was sent: ")


def test_other_faults_of_a_request_keep_their_own_words():
    error = never_sent(LocalProtocolError("unknown_key", "hold: there is no key 'q'", "q"))
    assert "there is no key 'q'" in error.message
