# ruff: noqa: UP031 - these cases run under MicroPython too
import json

from benchboard.settings import (
    NO_CHANNEL,
    USUAL,
    USUAL_CHANNEL,
    Settings,
    as_text,
    damaged,
    settings_from,
    usual,
)
from shared_protocol.framing import crc_text
from shared_protocol.messages import RefusedError
from tests.support.cases import equal, run
from tests.support.core_bench import US, Bench

NARROW = {"low_ns": 460 * US, "high_ns": 1060 * US, "centre_ns": 760 * US, "slew_ns_per_ms": 300}
GOOD = Settings(
    dict(USUAL, frame_hz=100, hold_ms=700, off_ms=2500, knob=1, rail_full_mv=9900, shape=1),
    [dict(NARROW, **{"class": 2}), NO_CHANNEL] + [USUAL_CHANNEL] * 6,
    "kept",
)


def begun(settings=None):
    bench = Bench(settings=settings)
    bench.ask("hello")
    return bench


def all_of(settings):
    return (settings.values(), [kept.values() for kept in settings.channels], settings.source)


def whole(body):
    """Return the text of a file with this inside, its check agreeing."""
    return '{"crc":"%s","settings":%s}\n' % (crc_text(body.encode()), body)


def without_a_file_the_settings_are_the_usual_ones():
    bench = begun()
    equal(bench.get("hello")["settings"], 0)
    equal(bench.get("settings"), USUAL)
    for ch in (1, 8):
        equal(bench.get("kept", ch=ch), USUAL_CHANNEL)


def what_is_kept_is_told_and_in_force_at_the_start():
    bench = begun(GOOD)
    greeting = bench.get("hello")
    equal((greeting["settings"], greeting["frame_hz"]), (1, 100))
    equal(bench.get("settings"), GOOD.values())
    equal(bench.get("kept", ch=1), dict(NARROW, **{"class": 2}))
    equal(bench.get("kept", ch=2), NO_CHANNEL)
    equal((bench.core.silence.hold_ms, bench.core.silence.off_ms), (700, 2500))


def a_change_is_kept_and_in_force_at_once():
    bench = begun()
    bench.get("change", frame_hz=100, hold_ms=300, off_ms=900)
    wanted = dict(USUAL, frame_hz=100, hold_ms=300, off_ms=900)
    equal(bench.get("settings"), wanted)
    equal([all_of(kept) for kept in bench.kept], [(wanted, [USUAL_CHANNEL] * 8, "kept")])
    equal(bench.outputs.frame_hz, 100)
    equal((bench.core.silence.hold_ms, bench.core.silence.off_ms), (300, 900))
    bench.get("change", rail_full_mv=10000, rail_low_mv=4000)
    equal(bench.core.rail.low_mv, 4000)
    equal(bench.get("hello")["settings"], 1)


def a_session_begins_as_the_settings_say():
    bench = begun(GOOD)
    bench.get("silence", hold_ms=5000, off_ms=50000)
    bench.get("frame", frame_hz=50)
    equal(bench.get("hello")["frame_hz"], 100)
    equal((bench.core.silence.hold_ms, bench.core.silence.off_ms), (700, 2500))


def a_session_begins_with_nothing_set_up_but_what_still_has_pulses():
    bench = begun()
    standard = {"low_ns": 900 * US, "high_ns": 2500 * US, "centre_ns": 1500 * US}
    for ch in (1, 2):
        bench.get("setup", ch=ch, klass=1, slew_ns_per_ms=1000, **standard)
    bench.get("centre", mask=2)
    bench.alive(200)
    bench.get("hello")
    equal(bench.no("centre", mask=1)[:2], ("not_set_up", 1))
    equal(bench.get("state", ch=2)["high_ns"], 2500 * US)
    bench.get("off", mask=2)
    bench.alive(100)
    bench.get("hello")
    equal([bench.get("state", ch=ch)["class"] for ch in (1, 2)], [0, 0])
    # so that 2500 us of an earlier servo do not stand against a faster frame
    bench.get("frame", frame_hz=333)


def a_channel_is_kept_whole_or_in_part():
    bench = begun()
    bench.get("keep", ch=1, klass=2, **NARROW)
    equal(bench.get("kept", ch=1), dict(NARROW, **{"class": 2}))
    bench.get("keep", ch=1, klass=2, centre_ns=780 * US)
    equal(bench.get("kept", ch=1), dict(NARROW, **{"class": 2, "centre_ns": 780 * US}))
    bench.get("keep", ch=1, klass=0)
    equal(bench.get("kept", ch=1), NO_CHANNEL)
    equal(bench.get("kept", ch=2), USUAL_CHANNEL)
    equal(len(bench.kept), 3)
    equal(all_of(bench.kept[2]), (USUAL, [NO_CHANNEL] + [USUAL_CHANNEL] * 7, "kept"))


def keeping_a_channel_leaves_the_session_as_it_is():
    bench = begun()
    bench.get("frame", frame_hz=100)
    bench.get("silence", hold_ms=300, off_ms=900)
    bench.get("keep", ch=1, klass=0)
    equal((bench.outputs.frame_hz, bench.core.silence.hold_ms), (100, 300))


def what_does_not_agree_is_not_kept():
    bench = begun()
    before = (bench.get("settings"), [bench.get("kept", ch=ch) for ch in range(1, 9)])
    for word, values, wanted in (
        ("change", {}, ("missing_key", 0, 0, 0)),
        ("change", {"off_ms": 1500}, ("wrong_order", 0, 1500, 1500)),
        ("change", {"hold_ms": 4000}, ("wrong_order", 0, 4000, 4000)),
        ("change", {"rail_low_mv": 5000}, ("wrong_order", 0, 5000, 0)),
        ("change", {"rail_full_mv": 5000, "rail_low_mv": 5000}, ("wrong_order", 0, 5000, 5000)),
        ("keep", {"klass": 2}, ("missing_key", 3, 0, 0)),
        ("keep", {"klass": 3}, ("missing_key", 3, 0, 0)),
        ("keep", dict(NARROW, klass=1), ("class_limit", 3, 460 * US, 500 * US)),
        ("keep", {"klass": 1, "low_ns": 499 * US}, ("class_limit", 3, 499 * US, 500 * US)),
        ("keep", {"klass": 1, "low_ns": 2000 * US}, ("wrong_order", 3, 2000 * US, 2000 * US)),
        ("keep", {"klass": 1, "centre_ns": 900 * US}, ("wrong_order", 3, 900 * US, 1000 * US)),
        ("keep", {"klass": 1, "centre_ns": 2100 * US}, ("wrong_order", 3, 2100 * US, 2000 * US)),
        ("keep", {"klass": 0, "low_ns": 900 * US}, ("not_set_up", 3, 900 * US, 0)),
    ):
        if word == "keep":
            values = dict(values, ch=3)
        equal((word, values, bench.no(word, **values)), (word, values, wanted))
    bench.get("keep", ch=8, klass=0)
    equal(bench.no("keep", ch=8, klass=1, low_ns=900 * US), ("missing_key", 8, 0, 0))
    bench.get("keep", ch=8, klass=1, **dict([(k, USUAL_CHANNEL[k]) for k in NARROW]))  # noqa: C404
    # 333 Hz leaves 2203 us for a pulse
    bench.get("keep", ch=5, klass=1, high_ns=2204 * US)
    equal(bench.no("change", frame_hz=333), ("frame_too_short", 5, 3004 * US, 3003003))
    equal(bench.ask("change", frame_hz=333).key, "frame_hz")
    bench.get("keep", ch=5, klass=1, high_ns=2000 * US)
    after = (bench.get("settings"), [bench.get("kept", ch=ch) for ch in range(1, 9)])
    equal(after, before)
    bench.get("change", frame_hz=333)
    equal(
        bench.no("keep", ch=5, klass=1, high_ns=2204 * US),
        ("frame_too_short", 5, 3004 * US, 3003003),
    )


def a_rate_too_quick_for_what_is_set_up_is_not_kept():
    bench = Bench().setup((4,), high=2500)
    equal(bench.no("change", frame_hz=333), ("frame_too_short", 4, 3300 * US, 3003003))
    equal((bench.outputs.frame_hz, bench.kept), (50, []))


def nothing_is_kept_while_a_channel_is_on():
    bench = Bench().setup((2,))
    bench.get("centre", mask=2)
    for word, values in (
        ("change", {"knob": 1}),
        ("keep", {"ch": 1, "klass": 0}),
        ("usual", {}),
    ):
        equal(bench.no(word, **values)[:2], ("channel_on", 2))
    bench.run(10)
    equal(bench.no("usual")[:2], ("channel_on", 2))
    bench.get("off", mask=2)
    equal(bench.no("usual")[:2], ("channel_on", 2))
    bench.run(30)
    bench.get("usual")
    equal([kept.source for kept in bench.kept], ["usual"])


def what_cannot_be_written_changes_nothing():
    bench = begun(GOOD)
    bench.full = True
    for word, values in (
        ("change", {"frame_hz": 50}),
        ("keep", {"ch": 1, "klass": 0}),
        ("usual", {}),
    ):
        equal(bench.no(word, **values), ("not_kept", 0, 0, 0))
        equal((bench.get("settings"), bench.outputs.frame_hz), (GOOD.values(), 100))
        equal(bench.get("kept", ch=1)["class"], 2)
    bench.full = False
    bench.core._keeping._keep = None
    equal(bench.no("usual"), ("not_kept", 0, 0, 0))


def back_to_the_usual():
    bench = begun(GOOD)
    bench.get("usual")
    equal(bench.get("settings"), USUAL)
    equal(bench.get("kept", ch=2), USUAL_CHANNEL)
    equal((bench.outputs.frame_hz, bench.get("hello")["settings"]), (50, 0))


def damaged_settings_are_told_and_the_usual_ones_hold():
    bench = begun(damaged())
    equal(bench.get("hello")["settings"], 2)
    equal(bench.get("settings"), USUAL)
    bench.get("keep", ch=1, klass=2, **NARROW)
    equal(bench.get("hello")["settings"], 1)


def channels_the_board_lacks_are_refused():
    bench = begun()
    bench.core.bank.channels = bench.core.bank.channels[:2]
    equal(bench.no("kept", ch=3), ("no_such_channel", 3, 3, 2))
    equal(bench.no("keep", ch=3, klass=0), ("no_such_channel", 3, 3, 2))
    bench.get("keep", ch=2, klass=0)


def what_is_written_is_read_again_and_is_json():
    for settings in (usual(), GOOD):
        text = as_text(settings)
        read = settings_from(text)
        equal(all_of(read), (settings.values(), all_of(settings)[1], "kept"))
        equal(as_text(read), text)
        equal(json.loads(text)["settings"]["board"], settings.values())
        equal(len(text) < 1500, True)


def a_file_that_is_not_whole_and_right_is_damaged():
    good = as_text(GOOD)
    body = good[good.index('{"version"') : -2]
    equal(whole(body), good)
    bad = [
        "",
        "\n",
        "{}",
        "null",
        body,
        good + "\n",
        good[:-1],
        " " + good,
        good.replace("100", "101"),
        good.replace("1060000", "1070000"),
        "[" * 4000,
        "x" * 100000,
    ]
    inside = [
        "",
        "null",
        "7",
        "[]",
        '["board","channels","version"]',
        "{}",
        "[" * 3000,
        '{"a":' * 600,
        body[:-1],
        body + "}",
        body.replace('"version":1', '"version":2'),
        body.replace('"version":1', '"version":1,"more":1'),
        body.replace('"knob":1', '"knob":2'),
        body.replace('"knob":1', '"knob":1.0'),
        body.replace('"knob":1', '"knob":true'),
        body.replace('"knob":1', '"knob":null'),
        body.replace('"knob":1', '"knob":"1"'),
        body.replace('"knob":1', '"knob":[1]'),
        body.replace('"knob":1', '"nob":1'),
        body.replace('"knob":1,', ""),
        body.replace('"knob":1', '"knob":1,"spare":1'),
        body.replace('"off_ms":2500', '"off_ms":700'),
        body.replace('"rail_low_mv":0', '"rail_low_mv":9900'),
        body.replace('"frame_hz":100', '"frame_hz":49'),
        body.replace('"frame_hz":100', '"frame_hz":560'),
        body.replace('"frame_hz":100', '"frame_hz":1e999'),
        body.replace('"channels":[', '"channels":[{},'),
        body.replace('"channels":[{', '"channels":[[],{'),
        body.replace('"class":2', '"class":1'),
        body.replace('"class":2', '"class":4'),
        body.replace('"class":2', '"class":0'),
        body.replace('"centre_ns":760000', '"centre_ns":1500000'),
        body.replace('"low_ns":460000', '"low_ns":1060000'),
        body.replace('"slew_ns_per_ms":300', '"slew_ns_per_ms":0'),
        body.replace('"slew_ns_per_ms":300', '"slew_ns_per_ms":9'),
        '{"version":1,"board":[],"channels":[1,2,3,4,5,6,7,8]}',
        '{"version":1,"board":{},"channels":{}}',
    ]
    for text in inside:
        if text == body:
            raise AssertionError("nothing was replaced")
        bad.append(whole(text))
    for text in bad:
        read = settings_from(text)
        equal((text[:300], all_of(read)), (text[:300], (USUAL, [NO_CHANNEL] * 8, "damaged")))


def impossible_settings_cannot_be_built():
    for board, channel, code in (
        (dict(USUAL, off_ms=1500), USUAL_CHANNEL, "wrong_order"),
        (dict(USUAL, hold_ms=100), USUAL_CHANNEL, "out_of_range"),
        (dict(USUAL, knob=True), USUAL_CHANNEL, "not_integer"),
        (USUAL, dict(USUAL_CHANNEL, low_ns=499999), "class_limit"),
        (USUAL, dict(USUAL_CHANNEL, slew_ns_per_ms=9), "out_of_range"),
        (USUAL, dict(NO_CHANNEL, low_ns=900000), "not_set_up"),
        (dict(USUAL, frame_hz=333), dict(USUAL_CHANNEL, high_ns=2300000), "frame_too_short"),
    ):
        refused = ""
        try:
            Settings(board, [USUAL_CHANNEL] * 7 + [channel], "kept")
        except RefusedError as error:
            refused = error.code
        equal(refused, code)


CASES = (
    without_a_file_the_settings_are_the_usual_ones,
    what_is_kept_is_told_and_in_force_at_the_start,
    a_change_is_kept_and_in_force_at_once,
    a_session_begins_as_the_settings_say,
    a_session_begins_with_nothing_set_up_but_what_still_has_pulses,
    a_channel_is_kept_whole_or_in_part,
    keeping_a_channel_leaves_the_session_as_it_is,
    what_does_not_agree_is_not_kept,
    a_rate_too_quick_for_what_is_set_up_is_not_kept,
    nothing_is_kept_while_a_channel_is_on,
    what_cannot_be_written_changes_nothing,
    back_to_the_usual,
    damaged_settings_are_told_and_the_usual_ones_hold,
    channels_the_board_lacks_are_refused,
    what_is_written_is_read_again_and_is_json,
    a_file_that_is_not_whole_and_right_is_damaged,
    impossible_settings_cannot_be_built,
)

if __name__ == "__main__":
    run(CASES)
