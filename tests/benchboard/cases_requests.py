# ruff: noqa: UP031 - these cases run under MicroPython too
from shared_protocol import table
from shared_protocol.framing import Decoder, crc_text
from shared_protocol.host_session import Refusal
from tests.support.cases import equal, run
from tests.support.core_bench import NOTHING, SWEEP, US, Bench, steps_of


def line(text):
    return text.encode() + b" " + crc_text(text.encode()).encode() + b"\n"


def code_of(reply):
    (frame,) = Decoder().feed(reply)
    equal(frame.word, "no")
    return table.name_of(table.ERRORS, frame.values["code"])


def nothing_goes_out_before_a_servo_is_set_up():
    bench = Bench()
    bench.ask("hello")
    for word, values in (
        ("hold", {"p1_ns": 1500 * US}),
        ("centre", {"mask": 1}),
        ("sweep", dict(SWEEP)),
        ("steps", {"mask": 1, "dwell_ms": 0, "s1_ns": 1500 * US}),
    ):
        equal(bench.no(word, **values)[:2], ("not_set_up", 1))
    bench.alive(1000)
    equal((bench.pulses(), bench.outputs.log), (NOTHING, []))
    equal(bench.get("state", ch=1)["class"], 0)


def the_greeting_tells_what_board_it_is():
    values = Bench(reason="crash").get("hello")
    equal(
        values,
        {
            "proto": table.VERSION,
            "fw": 200,
            "board": 9,
            "channels": 8,
            "tick_ps": 305500,
            "frame_hz": 50,
            "reason": table.number_of(table.REASONS, "crash"),
            "token": 100,
            "nonce": 7,
            "board_id": 1 << 63,
            "boots": 3,
            "settings": 0,
            "free_bytes": 180000,
            "rail_mv": 0,
        },
    )


def limits_must_suit_the_class_and_each_other():
    bench = Bench()
    bench.ask("hello")
    good = {"ch": 1, "klass": 1, "low_ns": 900 * US, "high_ns": 2100 * US}
    good.update({"centre_ns": 1500 * US, "slew_ns_per_ms": 2000})
    for change, wanted in (
        ({"low_ns": 499 * US}, ("class_limit", 1, 499 * US, 500 * US)),
        ({"klass": 2}, ("class_limit", 1, 2100 * US, 1100 * US)),
        ({"low_ns": 2100 * US}, ("wrong_order", 1, 2100 * US, 2100 * US)),
        ({"low_ns": 2200 * US}, ("wrong_order", 1, 2200 * US, 2100 * US)),
        ({"centre_ns": 899 * US}, ("wrong_order", 1, 899 * US, 900 * US)),
        ({"centre_ns": 2101 * US}, ("wrong_order", 1, 2101 * US, 2100 * US)),
    ):
        values = dict(good)
        values.update(change)
        equal(bench.no("setup", **values), wanted)
        equal(bench.get("state", ch=1)["class"], 0)
    bench.get("setup", **good)
    state = bench.get("state", ch=1)
    equal((state["class"], state["on"], state["now_ns"], state["target_ns"]), (1, 0, 0, 0))
    equal((state["low_ns"], state["high_ns"]), (900 * US, 2100 * US))
    equal((state["centre_ns"], state["slew_ns_per_ms"]), (1500 * US, 2000))


def a_narrow_servo_gets_no_standard_pulse():
    bench = Bench()
    bench.ask("hello")
    narrow = {"klass": 2, "low_ns": 460 * US, "high_ns": 1060 * US, "centre_ns": 760 * US}
    bench.get("setup", ch=1, slew_ns_per_ms=1000, **narrow)
    equal(bench.no("hold", p1_ns=1500 * US), ("above_limit", 1, 1500 * US, 1060 * US))
    bench.alive(500)
    equal((bench.pulses(), bench.outputs.log), (NOTHING, []))
    bench.get("centre", mask=1)
    bench.run(100)
    equal(bench.pulses(), [760] + [0] * 7)


def a_custom_servo_has_only_the_limits_stated():
    bench = Bench()
    bench.ask("hello")
    wide = {"klass": 3, "low_ns": 300 * US, "high_ns": 2500 * US, "centre_ns": 600 * US}
    bench.get("setup", ch=1, slew_ns_per_ms=1000, **wide)
    bench.get("setup", ch=2, slew_ns_per_ms=1000, **dict(wide, low_ns=550 * US, high_ns=650 * US))
    equal(bench.no("hold", p2_ns=651 * US), ("above_limit", 2, 651 * US, 650 * US))
    bench.get("hold", p1_ns=300 * US, p2_ns=650 * US)
    bench.run(100)
    equal((bench.pulses()[:2], bench.get("state", ch=1)["class"]), ([300, 650], 3))


def a_pulse_is_measured_only_while_it_is_held():
    bench = Bench().setup((1, 2))
    equal(bench.no("measure", ch=1), ("not_holding", 1, 0, 0))
    bench.get("centre", mask=1)
    equal(bench.no("measure", ch=1)[:2], ("not_holding", 1))
    bench.run(10)
    equal(bench.get("measure", ch=1), {"width_ns": 1500123, "step_ns": 16})
    bench.fitted.width_ns = 0
    equal(bench.get("measure", ch=1)["width_ns"], 0)
    bench.get("hold", p1_ns=1600 * US)
    equal(bench.no("measure", ch=1)[:2], ("not_holding", 1))
    bench.run(100)
    for word, values in (
        ("sweep", dict(SWEEP, mask=1, opposed_mask=0)),
        ("steps", {"mask": 1, "dwell_ms": 5000, "s1_ns": 1600 * US, "s2_ns": 1500 * US}),
        ("hold", {"p1_ns": 1600 * US, "ramp_ms": 5000}),
    ):
        bench.get(word, **values)
        bench.run(300)
        equal((word, bench.no("measure", ch=1)[0]), (word, "not_holding"))
    bench.get("freeze", mask=1)
    bench.get("measure", ch=1)
    equal(bench.no("measure", ch=2)[:2], ("not_holding", 2))


def silence_counts_only_while_a_host_has_the_word():
    bench = Bench()
    bench.run(10000)
    bench.setup((1,))
    equal(bench.get("beat")["guard"], 0)
    bench.get("centre", mask=1)
    bench.run(100)
    bench.get("quit")
    bench.run(10000)
    bench.setup((1,))
    equal(bench.get("beat")["guard"], 0)


def pulses_outside_the_limits_are_refused_not_clipped():
    bench = Bench().setup()
    equal(bench.no("hold", p2_ns=899999), ("below_limit", 2, 899999, 900000))
    equal(bench.no("hold", p2_ns=2100001), ("above_limit", 2, 2100001, 2100000))
    steps = {"mask": 4, "dwell_ms": 0, "s1_ns": 1500 * US, "s2_ns": 2101 * US}
    equal(bench.no("steps", **steps), ("above_limit", 3, 2101 * US, 2100 * US))
    for change, wanted in (
        ({"low_ns": 800 * US}, ("below_limit", 1, 800 * US, 900 * US)),
        ({"high_ns": 2200 * US}, ("above_limit", 1, 2200 * US, 2100 * US)),
        ({"low_ns": 2000 * US}, ("wrong_order", 0, 2000 * US, 2000 * US)),
        ({"opposed_mask": 4}, ("not_in_mask", 0, 4, 3)),
    ):
        values = dict(SWEEP)
        values.update(change)
        equal(bench.no("sweep", **values), wanted)
    # What a host never builds: other units, other forms, no pulse at all.
    for text, code in (
        ("1.5", "grammar"),
        ("1500000us", "grammar"),
        ("0", "out_of_range"),
        ("-1500", "out_of_range"),
        ("1500", "out_of_range"),
        ("50000000", "out_of_range"),
    ):
        equal(code_of(bench.feed(line("999 hold token=100 p1_ns=" + text))), code)
    bench.alive(500)
    equal((bench.pulses(), bench.outputs.log), (NOTHING, []))
    bench.get("hold", p1_ns=1500 * US)
    bench.run(5)
    equal(bench.pulses(), [1500] + [0] * 7)


def a_request_for_several_is_for_all_or_none():
    bench = Bench().setup((1, 2))
    for word, values in (
        ("hold", {"p1_ns": 1500 * US, "p2_ns": 1500 * US, "p3_ns": 1500 * US}),
        ("centre", {"mask": 7}),
        ("sweep", dict(SWEEP, mask=7)),
        ("steps", {"mask": 7, "dwell_ms": 0, "s1_ns": 1500 * US}),
    ):
        equal(bench.no(word, **values)[:2], ("not_set_up", 3))
    equal(bench.no("hold", p1_ns=1500 * US, p2_ns=2200 * US)[:2], ("above_limit", 2))
    equal(bench.no("hold"), ("nothing_chosen", 0, 0, 0))
    bench.alive(500)
    equal((bench.outputs.log, bench.get("beat")["on_mask"]), ([], 0))
    bench.get("centre", mask=3)
    bench.alive(500)
    bench.outputs.log = []
    reply = bench.get("hold", p1_ns=1600 * US, p2_ns=1400 * US)
    equal((reply["start_ms"], reply["settle_ms"]), (0, 50))
    bench.run(60)
    equal(len(bench.outputs.log), 100)
    times = [at for at, _, _ in bench.outputs.log]
    equal(times[0::2], times[1::2])  # both channels at the same moments


def the_frame_rate_changes_only_with_everything_off():
    bench = Bench().setup((1, 2), high=2200)
    bench.get("centre", mask=2)
    equal(bench.no("frame", frame_hz=100)[:2], ("channel_on", 2))  # waits for its first pulse
    bench.run(10)
    equal(bench.no("frame", frame_hz=100)[:2], ("channel_on", 2))
    bench.get("off", mask=2)
    equal(bench.no("frame", frame_hz=100)[:2], ("channel_on", 2))  # the pin is not yet released
    bench.run(30)
    equal(bench.get("frame", frame_hz=333), {"tick_ps": 46000})
    bench.get("centre", mask=1)
    bench.run(100)
    equal(bench.get("hello")["frame_hz"], 333)  # still on: it has to stay
    equal(bench.get("off", mask=1), {"off_ms": 6})
    bench.run(10)
    equal(bench.get("hello")["frame_hz"], 50)  # every session begins as the settings say


def a_frame_rate_that_is_there_already_is_not_set_again():
    bench = Bench()
    asked = []
    bench.outputs.set_frame = asked.append
    bench.setup((1,))
    bench.get("frame", frame_hz=50)
    bench.get("frame", frame_hz=51)
    equal(asked, [51])


def a_pulse_must_fit_its_frame_with_room_to_spare():
    bench = Bench().setup((1,), high=2500)
    # 333 Hz: frames of 3003003 ns; 2500 us and 800 us do not fit, 2000 us and 800 us do
    equal(bench.no("frame", frame_hz=333), ("frame_too_short", 1, 3300000, 3003003))
    equal(bench.outputs.frame_hz, 50)
    bench.setup((1,), high=2000)
    bench.get("frame", frame_hz=333)
    bench.get("hold", p1_ns=2000 * US)
    bench.run(50)
    equal(bench.pulses()[0], 2000)
    event = bench.ask(
        "setup",
        ch=2,
        klass=1,
        low_ns=900 * US,
        high_ns=2204 * US,
        centre_ns=1500 * US,
        slew_ns_per_ms=2000,
    )
    equal((event.code, event.value, event.limit), ("frame_too_short", 3004000, 3003003))
    token = bench.host.token
    equal(code_of(bench.feed(line("999 frame token=%d frame_hz=560" % token))), "out_of_range")


def a_servo_is_not_renamed_under_power():
    bench = Bench().setup()
    setup = {"ch": 1, "klass": 2, "low_ns": 460 * US, "high_ns": 1060 * US, "centre_ns": 760 * US}
    setup["slew_ns_per_ms"] = 1000
    bench.get("centre", mask=1)
    for ms in (0, 100):
        bench.run(ms)
        equal(bench.no("setup", **setup)[:2], ("channel_on", 1))
    bench.get("off", mask=1)
    equal(bench.no("setup", **setup)[:2], ("channel_on", 1))
    bench.run(30)
    bench.get("setup", **setup)


def a_silent_host_stops_motion_and_then_pulses():
    bench = Bench().setup((1, 2))
    bench.get("sweep", **SWEEP)
    bench.run(1499)
    equal(bench.core.bank.moving_mask(), 3)
    bench.run(1)
    held = bench.pulses()
    equal((bench.core.bank.moving_mask(), 0 in held[:2]), (0, False))
    bench.run(2499)
    equal(bench.pulses(), held)
    bench.run(1)
    equal(bench.pulses(), NOTHING)
    equal(bench.get("beat")["guard"], 2)
    equal(bench.get("beat")["guard"], 0)
    bench.alive(1000)
    equal(bench.pulses(), NOTHING)  # nothing starts again by itself
    bench.get("centre", mask=1)
    bench.run(1600)
    bench.get("sweep", **dict(SWEEP, mask=1, opposed_mask=0))
    equal(bench.get("beat")["guard"], 1)
    bench.alive(1000)
    wanted = {"on_mask": 1, "moving_mask": 1, "guard": 0, "damaged": 0, "rail_mv": 0}
    equal(bench.get("beat"), wanted)


def the_times_of_silence_can_be_set_within_reason():
    bench = Bench().setup((1,))
    equal(bench.no("silence", hold_ms=500, off_ms=500), ("wrong_order", 0, 500, 500))
    bench.get("silence", hold_ms=200, off_ms=500)
    bench.get("centre", mask=1)
    bench.run(499)
    equal(bench.pulses()[0], 1500)
    bench.run(1)
    equal(bench.pulses()[0], 0)
    bench.run(30)
    equal(bench.outputs.released, [True] * 8)
    # Lines that no current token stands in are no sign of life.
    bench.get("silence", hold_ms=200, off_ms=500)
    bench.get("centre", mask=1)
    for _ in range(50):
        bench.run(10)
        bench.feed(b"M105\n" + line("9 beat token=1") + b"\n2 beat token=100")
    equal(bench.pulses()[0], 0)


def half_a_line_stops_nothing_and_counts_once_when_whole():
    bench = Bench().setup((1, 2, 3))
    bench.get("sweep", **SWEEP)
    _, data = bench.host.request("hold", {"p3_ns": 1500 * US})
    equal(bench.feed(data[:12]), b"")
    sent = len(steps_of(bench.outputs.log, 1))
    bench.core.silence.hold_ms, bench.core.silence.off_ms = 20000, 40000
    bench.run(10000)
    moved = len(steps_of(bench.outputs.log, 1)) - sent
    equal((moved > 9900, bench.pulses()[2]), (True, 0))  # went on at every millisecond
    (reply,) = bench.host.receive(bench.feed(data[12:]))
    equal((reply.word, reply.values["start_ms"]), ("hold", 1))
    bench.run(10)
    equal((bench.pulses()[2], steps_of(bench.outputs.log, 3)), (1500, [1500 * US]))


def what_other_programs_send_changes_nothing():
    bench = Bench().setup((1,))
    bench.get("centre", mask=1)
    bench.run(20)
    log = len(bench.outputs.log)
    seed, noise = 12345, bytearray()
    for _ in range(200):
        seed = (seed * 1103515245 + 12345) & 0x7FFFFFFF  # constants from the C standard's example
        noise.append(seed >> 16 & 0xFF)
    for probe in (bytes(noise), b"AT\r", b"\x7e\x00", b"M105\n", b"\x03\x03\x04", b"x" * 5000):
        equal(bench.feed(probe), b"")
        bench.run(50)
        equal((bench.pulses()[0], len(bench.outputs.log)), (1500, log))
        bench.get("beat")
    equal(bench.get("beat")["damaged"] >= 5, True)


def a_retry_does_not_move_anything_twice():
    bench = Bench().setup((1,))
    ident, data = bench.host.request("hold", {"p1_ns": 1500 * US})
    first = bench.feed(data)
    bench.run(500)
    bench.core.bank.stop(255)  # so that a second obedience would show
    bench.run(100)
    equal(bench.feed(bench.host.again(ident)), first)
    bench.run(100)
    equal((bench.pulses(), steps_of(bench.outputs.log, 1)), (NOTHING, [1500 * US, 0, -1]))


def another_program_takes_over_and_motion_stops():
    bench = Bench().setup((1, 2))
    bench.get("sweep", **SWEEP)
    bench.alive(800)
    old = bench.host.token
    moving = bench.pulses()
    bench.get("hello", nonce=8)
    bench.run(500)
    equal((bench.pulses(), bench.get("beat")["moving_mask"]), (moving, 0))
    equal(code_of(bench.feed(line("999 hold token=%d p1_ns=1500000" % old))), "wrong_token")
    bench.run(100)
    equal(bench.pulses(), moving)


def quit_ends_everything():
    for word in ("quit", "leave"):
        bench = Bench().setup((1, 2))
        bench.get("centre", mask=3)
        bench.run(100)
        token = bench.host.token
        equal(bench.get(word), {})
        bench.run(30)
        equal((bench.pulses(), bench.outputs.released), (NOTHING, [True] * 8))
        equal(code_of(bench.feed(line("999 beat token=%d" % token))), "wrong_token")
        equal(bench.core.leaving, word == "leave")


def channels_beyond_the_board_are_refused():
    bench = Bench()
    bench.core.bank.channels = bench.core.bank.channels[:2]
    bench.setup((1, 2))
    equal(bench.no("hold", p3_ns=1500 * US), ("no_such_channel", 3, 3, 2))
    equal(bench.no("off", mask=255), ("no_such_channel", 3, 3, 2))
    equal(bench.no("state", ch=3), ("no_such_channel", 3, 3, 2))


def every_command_of_the_table_is_obeyed_or_refused_by_name():
    bench = Bench().setup()
    for word in table.REQUESTS:
        if word.name not in ("hello", "quit", "leave"):
            values = dict([(field.key, field.low) for field in word.fields])  # noqa: C404
            values.pop("token")
            event = bench.ask(word.name, **values)
            equal(event.word, word.name)
            if isinstance(event, Refusal) and event.code == "unknown_word":
                raise AssertionError(word.name)


CASES = (
    nothing_goes_out_before_a_servo_is_set_up,
    the_greeting_tells_what_board_it_is,
    limits_must_suit_the_class_and_each_other,
    a_narrow_servo_gets_no_standard_pulse,
    a_custom_servo_has_only_the_limits_stated,
    a_pulse_is_measured_only_while_it_is_held,
    silence_counts_only_while_a_host_has_the_word,
    pulses_outside_the_limits_are_refused_not_clipped,
    a_request_for_several_is_for_all_or_none,
    the_frame_rate_changes_only_with_everything_off,
    a_frame_rate_that_is_there_already_is_not_set_again,
    a_pulse_must_fit_its_frame_with_room_to_spare,
    a_servo_is_not_renamed_under_power,
    a_silent_host_stops_motion_and_then_pulses,
    the_times_of_silence_can_be_set_within_reason,
    half_a_line_stops_nothing_and_counts_once_when_whole,
    what_other_programs_send_changes_nothing,
    a_retry_does_not_move_anything_twice,
    another_program_takes_over_and_motion_stops,
    quit_ends_everything,
    channels_beyond_the_board_are_refused,
    every_command_of_the_table_is_obeyed_or_refused_by_name,
)

if __name__ == "__main__":
    run(CASES)
