import binascii
import itertools
import random
import zlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shared_protocol.errors import RemoteProtocolError
from shared_protocol.framing import Damaged, Decoder, Frame, crc_text, encode
from shared_protocol.table import BIGGEST, MAX_ID, MAX_LINE_BYTES

names = st.text("abcdefghijklmnopqrstuvwxyz", min_size=1, max_size=10)
frames = st.builds(
    encode,
    st.integers(1, MAX_ID),
    names,
    st.dictionaries(names, st.integers(-BIGGEST, BIGGEST), max_size=6),
)


def in_pieces(data, cuts):
    places = sorted({0, len(data), *(cut % (len(data) + 1) for cut in cuts)})
    return [data[a:b] for a, b in itertools.pairwise(places)]


def content(items):
    return [
        (item.ident, item.word, item.values)
        if isinstance(item, Frame)
        else (item.error.code, item.line)
        for item in items
    ]


@given(st.binary())
def test_crc_agrees_with_two_libraries(data):
    assert int(crc_text(data), 16) == zlib.crc32(data) == binascii.crc32(data)


@given(
    st.integers(1, MAX_ID),
    names,
    st.dictionaries(names, st.integers(-BIGGEST, BIGGEST), max_size=6),
)
def test_what_is_encoded_is_decoded(ident, word, values):
    assert content(Decoder().feed(encode(ident, word, values))) == [(ident, word, values)]


@given(
    st.lists(frames | st.binary(max_size=400), max_size=8), st.lists(st.integers(0), max_size=20)
)
def test_pieces_do_not_matter(parts, cuts):
    data = b"".join(parts)
    decoder = Decoder()
    by_pieces = [item for piece in in_pieces(data, cuts) for item in decoder.feed(piece)]
    whole = Decoder()
    assert content(by_pieces) == content(whole.feed(data))
    assert decoder.damaged == whole.damaged
    assert len(decoder._rest) < MAX_LINE_BYTES


@given(st.lists(st.tuples(st.binary(max_size=500), frames), max_size=5))
def test_garbage_between_costs_no_frame(pairs):
    wanted = [frame.strip() for _, frame in pairs]
    decoder = Decoder()
    got = [item for pair in pairs for item in decoder.feed(b"".join(pair))]
    lines = [item.line for item in got if isinstance(item, Frame)]
    assert lines == wanted
    assert decoder.damaged == len(got) - len(wanted)


@given(st.binary(max_size=2000))
def test_any_bytes_give_items_and_the_decoder_works_again(data):
    decoder = Decoder()
    for item in decoder.feed(data):
        assert isinstance(item, Damaged)
        assert isinstance(item.error, RemoteProtocolError)
        assert len(item.line) < MAX_LINE_BYTES
    (good,) = [i for i in decoder.feed(encode(1, "beat", {"token": 5})) if isinstance(i, Frame)]
    assert good.values == {"token": 5}


@given(frames, st.data())
@settings(max_examples=200)
def test_one_wrong_bit_is_always_found(data, draw):
    # CRC-32 finds every single wrong bit; the newlines around the line are not under it.
    place = draw.draw(st.integers(1, len(data) - 2))
    bit = draw.draw(st.integers(0, 7))
    wrong = bytearray(data)
    wrong[place] ^= 1 << bit
    items = Decoder().feed(bytes(wrong))
    assert not [item for item in items if isinstance(item, Frame)]


def damage(line, draw):
    """Return the line with one of the things done to it that happen on a wire."""
    data = bytearray(line)
    kind = draw.randrange(7)
    place = draw.randrange(len(data))
    if kind == 0:
        for _ in range(draw.randrange(1, 5)):
            data[draw.randrange(len(data))] ^= 1 << draw.randrange(8)
    elif kind == 1:
        end = place + draw.randrange(1, 20)
        data[place:end] = bytes(draw.randrange(32, 127) for _ in data[place:end])
    elif kind == 2:
        del data[place : place + draw.randrange(1, 20)]
    elif kind == 3:
        data[place:place] = bytes(draw.randrange(256) for _ in range(draw.randrange(1, 10)))
    elif kind == 4:
        data[place:place] = data[place : place + draw.randrange(1, 30)]
    elif kind == 5:
        other = draw.randrange(len(data))
        data[place], data[other] = data[other], data[place]
    else:
        digits = [n for n, byte in enumerate(data) if 48 <= byte <= 57]
        data[draw.choice(digits)] = draw.choice(b"0123456789")
    return bytes(data)


@pytest.mark.slow
def test_of_200000_damaged_frames_none_is_obeyed_as_something_else():
    draw = random.Random(20240601)
    lines = [
        encode(ident, "hold", {"token": 123456789, "p1_ns": 1_500_000 + ident, "p2_ns": 1_520_000})
        for ident in range(1, 51)
    ]
    good = encode(60000, "beat", {"token": 123456789})
    wanted = good.strip()
    decoder = Decoder()
    damaged = 0
    for number in range(200_000):
        line = lines[number % len(lines)]
        hurt = damage(line, draw)
        whole = line.strip()
        items = decoder.feed(hurt + good)
        assert isinstance(items[-1], Frame)
        assert items[-1].line == wanted
        for item in items[:-1]:
            # The line itself may have come through: when the damage hit only the newlines, or
            # put bytes and a newline in front, or swapped equal bytes.
            assert isinstance(item, Damaged) or item.line == whole, (hurt, item.line)
        damaged += all(isinstance(item, Damaged) for item in items[:-1])
    assert damaged > 180_000
