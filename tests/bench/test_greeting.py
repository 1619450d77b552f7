"""A greeting in words, and what of it is told before anything moves."""

import pytest

from hingeline.bench.greeting import board_info, remarks
from shared_protocol import table

VALUES = {
    "proto": 2,
    "fw": 10203,
    "board": 2,
    "channels": 8,
    "tick_ps": 305_500,
    "frame_hz": 50,
    "reason": 1,
    "token": 5,
    "nonce": 7,
    "board_id": 0xE66118604B29C830,
    "boots": 12,
    "settings": 1,
    "free_bytes": 123456,
    "rail_mv": 5020,
}


def test_every_key_of_a_greeting_is_put_into_words():
    assert {field.key for field in table.GREETING} == set(VALUES)
    info = board_info(VALUES)
    assert (info.board, info.firmware, info.protocol) == ("rp2350", "1.2.3", 2)
    assert (info.channels, info.tick_ns, info.frame_hz) == (8, 305.5, 50)
    assert (info.started, info.boots, info.board_id) == ("power", 12, "e66118604b29c830")
    assert (info.settings, info.free_bytes, info.rail_mv) == ("kept", 123456, 5020)


def test_what_is_not_known_is_none():
    info = board_info({**VALUES, "free_bytes": 0, "rail_mv": 0})
    assert (info.free_bytes, info.rail_mv) == (None, None)


@pytest.mark.parametrize(
    ("reason", "settings", "words"),
    [
        ("power", "usual", []),
        ("power", "kept", []),
        ("button", "kept", []),
        ("soft", "usual", []),
        ("crash", "kept", ["program had failed"]),
        ("watchdog", "kept", ["watchdog started the board again"]),
        ("power", "damaged", ["cannot be read", "hingeline board settings --from MODEL"]),
        ("crash", "damaged", ["program had failed", "cannot be read"]),
    ],
)
def test_only_what_matters_is_told(reason, settings, words):
    values = {
        **VALUES,
        "reason": table.number_of(table.REASONS, reason),
        "settings": table.number_of(table.SETTINGS, settings),
    }
    told = " ".join(remarks(board_info(values)))
    assert bool(told) is bool(words)
    for part in words:
        assert part in told
