import re

from shared_protocol import describe, table, texts
from shared_protocol.messages import RefusedError, build_refusal, build_reply, build_request


def longest(fields):
    return {f.key: max(f.low, f.high, key=lambda value: len(str(value))) for f in fields}


def test_page_agrees_with_the_table():
    assert describe.PAGE.read_text(encoding="utf-8") == describe.page(), (
        "run `python -m shared_protocol.describe`"
    )


def test_page_names_every_word_key_and_code():
    page = describe.page()
    for word in table.REQUESTS:
        assert f"### {word.name}\n" in page
        for field in word.fields + word.reply:
            assert f"| `{field.key}` | {field.low} to {field.high} |" in page
    for number, name in table.ERRORS:
        text = texts.ERRORS[name]
        assert (f"| {number} | {name} | {text} |" if number else f"| {name} | {text} |") in page


def test_each_numbered_name_has_its_text_and_no_text_is_left_over():
    for name in ("SHAPES", "REASONS", "MOTIONS", "SETTINGS", "GUARDS", "ERRORS"):
        named = {row[1] for row in getattr(table, name)}
        explained = getattr(texts, name)
        assert set(explained) == named, name
        assert all(explained.values())


def test_longest_messages_fit_a_line():
    lengths = {}
    for word in table.REQUESTS:
        lengths[word.name] = len(build_request(65535, word.name, longest(word.fields))) - 1
        build_reply(65535, word.name, longest(word.reply))
    refused = RefusedError("class_limit", 8, "slew_ns_per_ms", -table.BIGGEST, -table.BIGGEST)
    build_refusal(65535, refused)
    # The figure that the table's comment gives for the greatest length of a line.
    assert max(lengths.items(), key=lambda item: item[1]) == ("steps", 308)


def test_numbers_and_names_are_there_once():
    for rows in (
        table.CLASSES,
        table.SHAPES,
        table.BOARDS,
        table.REASONS,
        table.MOTIONS,
        table.SETTINGS,
        table.GUARDS,
    ):
        assert len({row[0] for row in rows}) == len({row[1] for row in rows}) == len(rows)
    sent = [row[0] for row in table.ERRORS if row[0]]
    assert sent == list(range(1, len(sent) + 1))
    assert len({row[1] for row in table.ERRORS}) == len(table.ERRORS)
    assert len({word.name for word in table.REQUESTS}) == len(table.REQUESTS)
    assert len(set(table.KEYS)) == len(table.KEYS) <= 99


def test_ranges_are_the_right_way_round_and_keys_carry_their_unit():
    plain = re.compile(
        r"proto|nonce|token|ch|class|mask|\w+_mask|cycles|shape|on|motion|guard|damaged"
        r"|fw|board|channels|reason|board_id|boots|settings|knob|slew_ns_per_ms"
    )
    for word in table.REQUESTS:
        for field in word.fields + word.reply:
            assert field.low < field.high, field.key
            assert re.search(r"_(ns|ms|mv|hz|ps|bytes)$", field.key) or plain.fullmatch(field.key)


def test_classes_lie_inside_what_a_pulse_key_can_hold():
    assert min(row[2] for row in table.CLASSES) == table.PULSE_LOW_NS
    assert max(row[3] for row in table.CLASSES) == table.PULSE_HIGH_NS
    classes = {row[1]: row[2:] for row in table.CLASSES}
    # The safe ranges agreed for the two kinds of servo; common practice, no source.
    wanted = {"standard": (500_000, 2_500_000), "narrow": (300_000, 1_100_000)}
    assert classes == {**wanted, "custom": (table.PULSE_LOW_NS, table.PULSE_HIGH_NS)}
