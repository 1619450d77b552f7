# ruff: noqa: UP031 - these cases run under MicroPython too
from shared_protocol import table, texts
from shared_protocol.board_session import BoardSession
from shared_protocol.errors import LocalProtocolError, RemoteProtocolError
from shared_protocol.framing import Damaged, Decoder, Frame, crc_text, encode, read_line
from shared_protocol.host_session import Greeting, HostSession, Late, Refusal, Reply
from shared_protocol.messages import (
    RefusedError,
    build_refusal,
    build_reply,
    build_request,
    check_reply,
    check_request,
    complain,
)
from tests.support.cases import equal, refused, run

GREETING = {
    "fw": 100,
    "board": 9,
    "channels": 8,
    "tick_ps": 305500,
    "frame_hz": 50,
    "reason": 1,
    "board_id": table.BIGGEST,
    "boots": 3,
    "settings": 0,
    "free_bytes": 180000,
    "rail_mv": 5120,
}


class Board:
    """A board that notes what it obeys and refuses what it is told to."""

    def __init__(self, *tokens):
        self.tokens = list(tokens)
        self.obeyed = []
        self.refuse = None
        self.session = BoardSession(self.obey, self.new_token)

    def new_token(self):
        return self.tokens.pop(0)

    def obey(self, word, values):
        self.obeyed.append(word)
        if self.refuse is not None:
            raise self.refuse
        if word == "hello":
            return dict(GREETING)
        if word == "quit":
            self.session.forget()
            return {}
        if word == "beat":
            return {"on_mask": 1, "moving_mask": 0, "guard": 0, "damaged": 0, "rail_mv": 0}
        return {"start_ms": 1, "settle_ms": values.get("p1_ns", 0) // 1000}


def met(*tokens):
    """Return a board and a host that have exchanged the greeting."""
    board, host = Board(*tokens), HostSession()
    _, data = host.hello(77)
    (event,) = host.receive(board.session.receive(data))
    equal(type(event), Greeting)
    equal(host.token, tokens[0])
    return board, host


def line(text):
    return text.encode() + b" " + crc_text(text.encode()).encode() + b"\n"


def extremes(fields):
    """Yield values for all fields at their lowest and at their highest."""
    for name in ("low", "high"):
        yield dict([(field.key, getattr(field, name)) for field in fields])  # noqa: C404


def crc_has_the_published_check_value():
    # CRC-32 of "123456789" as every catalogue of CRCs gives it (value from memory)
    equal(crc_text(b"123456789"), "cbf43926")


def every_message_survives_the_wire_at_both_ends_of_its_ranges():
    for word in table.REQUESTS:
        for values in extremes(word.fields):
            (frame,) = Decoder().feed(build_request(65535, word.name, values))
            equal((frame.ident, frame.word, frame.values), (65535, word.name, values))
            if values.get("proto", table.VERSION) == table.VERSION:
                equal(check_request(frame), word)
        for values in extremes(word.reply):
            (frame,) = Decoder().feed(build_reply(1, word.name, values))
            equal(frame.values, values)
            if values.get("proto", table.VERSION) == table.VERSION:
                check_reply(word.name, frame)


def every_refusal_survives_the_wire_and_says_value_and_limit():
    for number, code in table.ERRORS:
        if number:
            data = build_refusal(7, RefusedError(code, 3, "p3_ns", -5, table.BIGGEST))
            (frame,) = Decoder().feed(data)
            check_reply("hold", frame)
            refusal = Refusal(7, "hold", frame.values)
            equal((refusal.code, refusal.ch, refusal.key), (code, 3, "p3_ns"))
            told = refusal.describe()
            for part in (texts.ERRORS[code], "channel 3", "p3_ns", "-5", "18446744073709551615"):
                if part not in told:
                    raise AssertionError("%r is not in %r" % (part, told))


def a_decoder_gives_the_same_whole_bytewise_and_among_garbage():
    frames = [encode(n + 1, "beat", {"token": n, "on_mask": -n}) for n in range(5)]
    whole = Decoder().feed(b"".join(frames))
    equal(
        [(f.ident, f.values) for f in whole],
        [(n + 1, {"token": n, "on_mask": -n}) for n in range(5)],
    )
    decoder, bytewise = Decoder(), []
    for n in range(len(b"".join(frames))):
        bytewise += decoder.feed(b"".join(frames)[n : n + 1])
    equal([f.line for f in bytewise], [f.line for f in whole])
    for garbage in (
        b"AT\r",
        b"\x7e\x00",
        b"M105\n",
        b"\xff" * 1000,
        b"1 beat token=",
        b"\n\n",
        b"\r\n",
    ):
        decoder = Decoder()
        got = []
        for frame in frames:
            got += decoder.feed(garbage + frame)
        good = [item.line for item in got if isinstance(item, Frame)]
        equal(good, [f.line for f in whole])
        equal(decoder.damaged, len(got) - 5)


def a_line_counts_only_with_its_newline():
    data = encode(5, "beat", {"token": 1})
    decoder = Decoder()
    equal(decoder.feed(data[:-1]), [])
    equal(decoder.feed(b""), [])
    equal(len(decoder.feed(b"\n")), 1)
    equal(decoder.damaged, 0)


def an_endless_line_is_cut_and_the_next_is_read():
    decoder = Decoder()
    for _ in range(100):
        equal(decoder.feed(b"x" * 100), [])
    (cut, good) = decoder.feed(encode(5, "beat", {"token": 1}))
    equal(
        (type(cut), cut.error.code, len(cut.line)), (Damaged, "too_long", table.MAX_LINE_BYTES - 1)
    )
    equal(good.word, "beat")


def a_line_may_be_just_as_long_as_the_limit():
    text = "1 beat token=1"
    for extra, code in ((0, "grammar"), (1, "too_long")):
        room = table.MAX_LINE_BYTES - len(line(text)) - len(" k=") + extra
        (item,) = Decoder().feed(line(text + " k=" + "1" * room))
        equal(item.error.code, code)  # too many digits, but not too long a line


def only_one_form_of_an_integer_is_read():
    for text in (
        "+1",
        "01",
        "-0",
        "1_0",
        "1.5",
        "0x1",
        "",
        "-",
        "1e3",
        " 1",
        "1" * 21,
        "1500000us",
    ):
        item = read_line(line("5 hold token=" + text)[:-1])
        equal((type(item), item.ident, item.error.code), (Damaged, 5, "grammar"))
        item = read_line(line(text + " hold token=1")[:-1])
        equal((type(item), item.ident, item.error.code), (Damaged, 0, "grammar"))
    for text in ("0", "-1", "10", "-18446744073709551615"):
        equal(read_line(line("5 hold token=" + text)[:-1]).values, {"token": int(text)})


def other_forms_of_a_line_are_damage_and_named():
    good = line("5 beat token=1")[:-1]
    for data, code in (
        (good[:-1] + b"\x80", "unprintable"),
        (good + b"\r", "unprintable"),
        (good[:-8] + good[-8:].upper(), "no_crc" if good[-8:].upper() != good[-8:] else ""),
        (b"12345678", "no_crc"),
        (b" 12345678", "no_crc"),
        (good[1:], "bad_crc"),
        (line("0 beat token=1")[:-1], "grammar"),
        (line("65536 beat token=1")[:-1], "grammar"),
        (line("5")[:-1], "grammar"),
        (line("5 Beat token=1")[:-1], "grammar"),
        (line("5 beat  token=1")[:-1], "grammar"),
        (line("5 beat token=1 token=1")[:-1], "grammar"),
        (line("5 beat token")[:-1], "grammar"),
        (line("5 beat 1token=1")[:-1], "grammar"),
        (line("5 beat =1")[:-1], "grammar"),
    ):
        item = read_line(data)
        equal((data, type(item), item.error.code), (data, Damaged, code))


def what_must_not_be_sent_is_refused_here():
    for ident, code in ((0, "out_of_range"), (65536, "out_of_range"), ("1", "not_integer")):
        refused(lambda i=ident: encode(i, "beat", {}), LocalProtocolError, code)
    for word in ("", "Beat", "be at", "be\nat", "beat1"):
        refused(lambda w=word: encode(1, w, {}), LocalProtocolError, "grammar")
    for key in ("", "a b", "a=b", "\xe4", "A", "1a"):
        refused(lambda k=key: encode(1, "beat", {k: 1}), LocalProtocolError, "grammar")
    for value in (1.5, "1", None, True):
        refused(lambda v=value: encode(1, "beat", {"a": v}), LocalProtocolError, "not_integer")
    many = dict([("k%d" % n, 123456789) for n in range(30)])  # noqa: C404
    refused(lambda: encode(1, "beat", many), LocalProtocolError, "too_long")


def a_host_is_told_what_is_wrong_before_anything_is_sent():
    _, host = met(11)
    for word, values, code in (
        ("dance", {}, "unknown_word"),
        ("hello", {}, "unknown_word"),
        ("beat", {"x": 1}, "unknown_key"),
        ("off", {}, "missing_key"),
        ("off", {"mask": 0}, "out_of_range"),
        ("off", {"mask": 256}, "out_of_range"),
        ("hold", {"p1_ns": 1500}, "out_of_range"),
        ("hold", {"p1_ns": 50000000}, "out_of_range"),
        ("hold", {"p1_ns": 0}, "out_of_range"),
        ("hold", {"p1_ns": -1500000}, "out_of_range"),
        ("hold", {"p1_ns": 1500000.0}, "not_integer"),
        ("hold", {"p1_ns": "1500000"}, "not_integer"),
    ):
        refused(lambda w=word, v=values: host.request(w, v), LocalProtocolError, code)
    error = refused(lambda: host.request("hold", {"p2_ns": 5}), LocalProtocolError, "out_of_range")
    equal((error.key, error.value, error.limit), ("p2_ns", 5, table.PULSE_LOW_NS))
    equal(host.request("beat")[0], 2)  # the failed ones have used no id


def a_retry_is_obeyed_once_and_answered_every_time():
    board, host = met(11)
    ident, data = host.request("hold", {"p1_ns": 1500000})
    first = board.session.receive(data)
    equal(host.again(ident), data)
    equal(board.session.receive(host.again(ident) + data), first + first)
    equal(board.obeyed, ["hello", "hold"])
    events = host.receive(first + first)
    equal([type(event) for event in events], [Reply, Late])
    equal(events[0].values, {"start_ms": 1, "settle_ms": 1500})
    refused(lambda: host.again(ident), LocalProtocolError, "no_request")


def a_refused_request_is_refused_again_without_a_second_look():
    board, host = met(11)
    board.refuse = RefusedError("below_limit", 2, "p2_ns", 800000, 900000)
    ident, data = host.request("hold", {"p2_ns": 800000})
    first = board.session.receive(data)
    board.refuse = None
    equal(board.session.receive(host.again(ident)), first)
    (event,) = host.receive(first)
    equal((event.code, event.ch, event.key), ("below_limit", 2, "p2_ns"))
    equal((event.value, event.limit, event.word), (800000, 900000, "hold"))
    equal(board.obeyed, ["hello", "hold"])


def an_id_is_never_obeyed_for_two_requests():
    board, host = met(11)
    _, first = host.request("hold", {"p1_ns": 1500000})
    _, second = host.request("hold", {"p1_ns": 1600000})
    board.session.receive(first + second)
    late = board.session.receive(first)  # neither new nor the last one
    (frame,) = Decoder().feed(late)
    equal(table.name_of(table.ERRORS, frame.values["code"]), "old_id")
    other = build_request(
        3, "hold", {"token": 11, "p1_ns": 1700000}
    )  # the last id, other contents
    (frame,) = Decoder().feed(board.session.receive(other))
    equal(table.name_of(table.ERRORS, frame.values["code"]), "old_id")
    equal(board.obeyed, ["hello", "hold", "hold"])


def ids_begin_again_after_the_last():
    board, host = met(11)
    for n in range(2, 65540):
        ident, data = host.request("beat")
        if n > 65530 or n < 5 or n % 9999 == 0:  # the others need not be sent: ids only grow
            (event,) = host.receive(board.session.receive(data))
            equal((type(event), event.ident), (Reply, ident))
    equal(ident, 4)


def a_new_hello_makes_older_tokens_void():
    board, first = met(11, 22)
    second = HostSession()
    _, data = second.hello(88)
    second.receive(board.session.receive(data))
    equal(second.token, 22)
    _, data = first.request("hold", {"p1_ns": 1500000})
    (event,) = first.receive(board.session.receive(data))
    equal(event.code, "wrong_token")
    equal(first.token, 0)
    refused(lambda: first.request("beat"), LocalProtocolError, "no_greeting")
    _, data = second.request("beat")
    (event,) = second.receive(board.session.receive(data))
    equal(type(event), Reply)
    equal(board.obeyed, ["hello", "hello", "beat"])


def a_restarted_board_obeys_nobody_before_hello():
    _, host = met(11)
    restarted = Board(33)
    _, data = host.request("hold", {"p1_ns": 1500000})
    (event,) = host.receive(restarted.session.receive(data))
    equal(event.code, "wrong_token")
    equal(restarted.obeyed, [])
    _, data = host.hello(78)
    host.receive(restarted.session.receive(data))
    equal(host.token, 33)


def a_greeting_meant_for_another_program_is_not_taken():
    board, first, second = Board(11, 22), HostSession(), HostSession()
    _, one = first.hello(77)
    _, two = second.hello(78)
    replies = board.session.receive(one + two)
    events = second.receive(replies)  # both programs read the same port and use the same id
    equal([type(event) for event in events], [Late, Greeting])
    equal(second.token, 22)
    # a retried hello gives the same token; that of another program a new one
    board = Board(11, 22)
    equal(board.session.receive(one), board.session.receive(one))
    equal(board.tokens, [22])
    board.session.receive(two)
    equal(board.tokens, [])


def other_versions_refuse_each_other():
    board, host = Board(11), HostSession()
    host.hello(77)
    data = build_request(1, "hello", {"proto": 1, "nonce": 77})
    (event,) = host.receive(board.session.receive(data))
    equal((event.code, event.value, event.limit), ("wrong_version", 1, table.VERSION))
    ident, _ = host.hello(77)
    values = dict(GREETING)
    values.update({"proto": 1, "token": 5, "nonce": 77})
    (event,) = host.receive(encode(ident, "greeting", values))
    equal((type(event), event.error.code), (Damaged, "wrong_version"))
    equal(host.token, 0)
    equal(board.obeyed, [])


def after_quit_the_token_is_void_but_a_lost_reply_can_be_had():
    board, host = met(11)
    ident, data = host.request("quit")
    reply = board.session.receive(data)
    equal(board.session.receive(host.again(ident)), reply)
    other = build_request(3, "beat", {"token": 11})
    (frame,) = Decoder().feed(board.session.receive(other))
    equal(table.name_of(table.ERRORS, frame.values["code"]), "wrong_token")
    host.receive(reply)
    equal(host.token, 0)


def replies_that_break_the_table_are_damage_and_leave_the_request_open():
    _, host = met(11)
    ident, data = host.request("beat")
    for word, values, code in (
        ("ok", {"on_mask": 0}, "missing_key"),
        (
            "ok",
            {"on_mask": 300, "moving_mask": 0, "guard": 0, "damaged": 0, "rail_mv": 0},
            "out_of_range",
        ),
        ("greeting", {}, "odd_reply"),
        ("beat", {"token": 11}, "odd_reply"),
        ("no", {"code": 1}, "missing_key"),
    ):
        (event,) = host.receive(encode(ident, word, values))
        equal((type(event), event.error.code), (Damaged, code))
        equal(host.again(ident), data)
    (event,) = host.receive(encode(ident + 1, "ok", {}))
    equal(type(event), Late)


def a_fault_in_the_work_is_not_repeated_by_a_retry():
    board, host = met(11)
    board.refuse = OSError("broken")
    _, data = host.request("hold", {"p1_ns": 1500000})
    failed = False
    try:
        board.session.receive(data)
    except OSError:
        failed = True
    equal(failed, True)
    board.refuse = None
    (frame,) = Decoder().feed(board.session.receive(data))
    equal(table.name_of(table.ERRORS, frame.values["code"]), "old_id")
    equal(board.obeyed, ["hello", "hold"])


def a_whole_line_of_no_sense_is_refused_with_its_id():
    board, _ = met(11)
    for text, code in (
        ("9 hold token=11 p1_ns=1.5", "grammar"),
        ("9 dance token=11", "unknown_word"),
        ("9 hold p1_ns=1500000", "missing_key"),
        ("9 hold token=11 p9_ns=1500000", "unknown_key"),
        ("9 hold token=11 p1_ns=1500", "out_of_range"),
        ("9 hold token=12 p1_ns=1500000", "wrong_token"),
    ):
        (frame,) = Decoder().feed(board.session.receive(line(text)))
        equal((frame.ident, frame.word), (9, "no"))
        equal(table.name_of(table.ERRORS, frame.values["code"]), code)
    equal(board.obeyed, ["hello"])


def numbers_and_names_of_the_table_belong_together():
    for rows in (table.CLASSES, table.SHAPES, table.BOARDS, table.REASONS, table.MOTIONS):
        for row in rows:
            equal(table.name_of(rows, row[0]), row[1])
            equal(table.number_of(rows, row[1]), row[0])
    equal(table.name_of(table.SHAPES, 99), "unknown-99")
    try:
        table.number_of(table.SHAPES, "square")
    except KeyError:
        pass
    else:
        raise AssertionError("a shape that is not there was found")
    equal(complain(table.REFUSAL, {"code": 1, "ch": 0, "field": 0, "value": 0, "limit": 0}), None)
    (frame,) = Decoder().feed(encode(1, "dance", {}))
    refused(lambda: check_request(frame), RemoteProtocolError, "unknown_word")


CASES = (
    crc_has_the_published_check_value,
    every_message_survives_the_wire_at_both_ends_of_its_ranges,
    every_refusal_survives_the_wire_and_says_value_and_limit,
    a_decoder_gives_the_same_whole_bytewise_and_among_garbage,
    a_line_counts_only_with_its_newline,
    an_endless_line_is_cut_and_the_next_is_read,
    a_line_may_be_just_as_long_as_the_limit,
    only_one_form_of_an_integer_is_read,
    other_forms_of_a_line_are_damage_and_named,
    what_must_not_be_sent_is_refused_here,
    a_host_is_told_what_is_wrong_before_anything_is_sent,
    a_retry_is_obeyed_once_and_answered_every_time,
    a_refused_request_is_refused_again_without_a_second_look,
    an_id_is_never_obeyed_for_two_requests,
    ids_begin_again_after_the_last,
    a_new_hello_makes_older_tokens_void,
    a_restarted_board_obeys_nobody_before_hello,
    a_greeting_meant_for_another_program_is_not_taken,
    other_versions_refuse_each_other,
    after_quit_the_token_is_void_but_a_lost_reply_can_be_had,
    replies_that_break_the_table_are_damage_and_leave_the_request_open,
    a_fault_in_the_work_is_not_repeated_by_a_retry,
    a_whole_line_of_no_sense_is_refused_with_its_id,
    numbers_and_names_of_the_table_belong_together,
)

if __name__ == "__main__":
    run(CASES)
