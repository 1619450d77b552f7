# ruff: noqa: UP031 - these cases run under MicroPython too
from benchboard import motions
from benchboard.guard import permit
from tests.support.cases import equal, run
from tests.support.core_bench import CLOCK, NOTHING, SWEEP, US, Bench, steps_of


def changes_go_at_the_slew_rate():
    bench = Bench().setup(slew=3000)
    bench.get("hold", p1_ns=1000 * US)
    bench.run(100)
    equal(bench.get("hold", p1_ns=2000 * US)["settle_ms"], 334)
    for _ in range(3):
        before = bench.outputs.pulses_ns[0]
        bench.run(100, 7300)
        equal(bench.outputs.pulses_ns[0] - before, 300000)
    equal(bench.get("beat")["moving_mask"], 1)
    bench.run(34)
    equal((bench.pulses()[0], bench.get("beat")["moving_mask"]), (2000, 0))
    # after a stall the pulse goes on from where it was, it does not leap
    bench.get("hold", p1_ns=1000 * US)
    bench.run(300, 300000)
    equal(bench.pulses()[0], 1850)


def first_pulses_come_one_by_one():
    bench = Bench().setup()
    reply = bench.get("hold", **dict([("p%d_ns" % n, 1500 * US) for n in range(1, 9)]))  # noqa: C404
    equal((reply["start_ms"], reply["settle_ms"]), (491, 491))
    state = bench.get("state", ch=8)
    equal((state["on"], state["now_ns"], state["motion"]), (0, 0, 1))
    bench.run(491)
    equal(bench.pulses(), [1500] * 8)
    starts = [at for at, _, _ in bench.outputs.log]
    equal([number for _, number, _ in bench.outputs.log], [1, 2, 3, 4, 5, 6, 7, 8])
    gaps = [starts[n + 1] - starts[n] for n in range(7)]
    # A pulse asked for is sent up to a frame (20 ms) later: 50 ms apart at the pins needs 70 here.
    equal(min(gaps) >= 70000, True)
    # also across requests
    bench.get("off", mask=3)
    bench.run(100)
    bench.outputs.log = []
    bench.get("centre", mask=1)
    bench.run(10)
    equal(bench.get("centre", mask=2)["start_ms"], 62)
    bench.run(100)
    equal(bench.outputs.log[1][0] - bench.outputs.log[0][0] >= 70000, True)


def a_sweep_begins_together_keeps_its_ends_and_stops_after_its_cycles():
    bench = Bench().setup()
    bench.get("hold", p1_ns=1900 * US)  # 900 us from its end of the sweep; channel 2 is off
    bench.run(10)
    reply = bench.get("sweep", **dict(SWEEP, cycles=2))
    equal((reply["start_ms"], reply["settle_ms"]), (62, 450))
    equal(bench.get("state", ch=1)["motion"], 3)
    bench.alive(450)
    equal(bench.pulses()[:2], [1000, 2000])
    for wanted in ([1500, 1500], [2000, 1000], [1500, 1500], [1000, 2000]) * 2:
        bench.alive(500)
        equal(bench.pulses()[:2], wanted)
    equal(bench.get("beat")["moving_mask"], 0)
    ends = steps_of(bench.outputs.log, 1)
    equal((min(ends), max(ends)), (1000 * US, 2000 * US))
    bench.alive(1000)
    equal(bench.pulses()[:2], [1000, 2000])


def a_smooth_sweep_is_slow_at_the_ends_and_steeper_in_the_middle():
    bench = Bench().setup()
    bench.get("sweep", **dict(SWEEP, mask=1, opposed_mask=0, shape=2))
    bench.run(1)
    taken = []
    for _ in range(10):
        taken.append(bench.outputs.pulses_ns[0])
        bench.alive(100)
    taken.append(bench.outputs.pulses_ns[0])
    for n, got in enumerate(taken):
        wanted = 1000000 + 1000000 * (3 * n * n * 10 - 2 * n * n * n) // 1000  # 3 f^2 - 2 f^3
        equal((n, abs(got - wanted) <= 305), (n, True))  # within one tick of the output


def a_sweep_that_the_slew_cannot_follow_is_refused():
    bench = Bench().setup(slew=1000)
    wrong = dict(SWEEP, period_ms=1999)
    equal(bench.no("sweep", **wrong), ("too_fast", 1, 1999, 2000))
    equal(bench.no("sweep", **dict(SWEEP, period_ms=2999, shape=2)), ("too_fast", 1, 2999, 3000))
    bench.get("sweep", **dict(SWEEP, period_ms=3000, shape=2))


def steps_wait_at_each_pulse_and_hold_the_last():
    bench = Bench().setup((1, 2), slew=2000)
    bench.get("hold", p1_ns=1500 * US)
    bench.run(20)
    reply = bench.get(
        "steps", mask=3, dwell_ms=100, s1_ns=1500 * US, s2_ns=1700 * US, s3_ns=1400 * US
    )
    # channel 2 starts 52 ms from now at the latest; ways of 200 and 300 us at 2 us per ms
    equal(reply, {"start_ms": 52, "settle_ms": 52, "lasts_ms": 152 + 200 + 250})
    bench.run(151)
    equal(bench.pulses()[:2], [1500, 1500])
    bench.run(101)
    equal(bench.pulses()[:2], [1700, 1700])
    bench.run(99)
    equal((bench.pulses()[:2], bench.get("state", ch=1)["motion"]), ([1700, 1700], 4))
    bench.run(151)
    equal(bench.pulses()[:2], [1400, 1400])
    bench.alive(1000)
    equal((bench.pulses()[:2], bench.get("beat")["moving_mask"]), ([1400, 1400], 0))
    gap = {"mask": 1, "dwell_ms": 0, "s1_ns": 1500 * US, "s3_ns": 1500 * US}
    equal(bench.no("steps", **gap)[:2], ("missing_key", 0))
    bench.get("steps", mask=1, dwell_ms=0, s1_ns=1500 * US)
    bench.run(100)
    equal(bench.pulses()[0], 1500)


def a_ramp_takes_the_time_asked_for_and_all_arrive_together():
    bench = Bench().setup((1, 2, 3, 4), slew=2000)
    bench.get("hold", p1_ns=1000 * US, p2_ns=1900 * US, p3_ns=1500 * US)
    bench.run(300)
    bench.outputs.log = []
    aims = {"p1_ns": 2000 * US, "p2_ns": 1800 * US, "p3_ns": 1500 * US}
    equal(bench.get("hold", ramp_ms=1000, **aims), {"start_ms": 0, "settle_ms": 1000})
    equal([bench.get("state", ch=ch)["motion"] for ch in (1, 2, 3, 4)], [6, 6, 6, 0])
    for n in range(1, 10):
        bench.run(100)
        # within 1/16384 of the way
        for ch, wanted in ((1, 1000 + 100 * n), (2, 1900 - 10 * n), (3, 1500)):
            got = bench.outputs.pulses_ns[ch - 1]
            equal((n, ch, abs(got - wanted * US) <= 62), (n, ch, True))
    bench.run(99)
    equal(bench.get("beat")["moving_mask"], 7)
    bench.run(1)
    equal((bench.pulses()[:3], bench.get("beat")["moving_mask"]), ([2000, 1800, 1500], 0))
    last = {}
    for at, ch, _ in bench.outputs.log:
        last[ch] = at
    equal(last[1], last[2])


def a_ramp_begins_once_what_was_off_has_started():
    bench = Bench().setup((1, 2, 3), slew=2000)
    bench.get("hold", p1_ns=1000 * US)
    bench.run(100)
    aims = {"p1_ns": 2000 * US, "p2_ns": 1600 * US, "p3_ns": 1700 * US}
    equal(bench.get("hold", ramp_ms=600, **aims), {"start_ms": 71, "settle_ms": 671})
    bench.run(71)
    equal(bench.pulses()[:3], [1000, 1600, 1700])
    equal([bench.get("state", ch=ch)["motion"] for ch in (1, 2, 3)], [6, 2, 2])
    bench.run(300)
    equal(bench.pulses()[:3], [1500, 1600, 1700])
    bench.run(300)
    equal(bench.pulses()[:3], [2000, 1600, 1700])
    # alone, one that was off simply starts
    bench.get("off", mask=1)
    bench.run(200)
    equal(bench.get("centre", mask=1, ramp_ms=60000), {"start_ms": 1, "settle_ms": 1})
    bench.run(1)
    equal(bench.pulses()[0], 1500)


def a_ramp_that_the_slew_cannot_follow_is_refused_with_the_shortest_time():
    bench = Bench().setup((1, 2), slew=1000)
    bench.get("hold", p1_ns=1500 * US, p2_ns=1000 * US)
    bench.run(100)
    # channel 1 has 400 us to go, channel 2 1000 us
    aims = {"p1_ns": 1900 * US, "p2_ns": 2000 * US}
    equal(bench.no("hold", ramp_ms=399, **aims), ("too_fast", 1, 399, 1000))
    equal(bench.no("hold", ramp_ms=999, **aims), ("too_fast", 2, 999, 1000))
    equal(bench.no("centre", mask=2, ramp_ms=499), ("too_fast", 2, 499, 500))
    equal(bench.get("beat")["moving_mask"], 0)
    bench.get("hold", ramp_ms=1000, **aims)
    bench.run(1001)
    equal((bench.pulses()[:2], bench.get("beat")["moving_mask"]), ([1900, 2000], 0))


def a_ramp_of_ten_minutes_is_exact_at_every_minute():
    bench = Bench(CLOCK - 90000000).setup((1,), slew=100)
    bench.get("silence", hold_ms=10000, off_ms=60000)
    bench.get("hold", p1_ns=1000 * US)
    bench.run(100)
    bench.outputs.logging = False
    bench.get("hold", p1_ns=2000 * US, ramp_ms=600000)
    for minute in range(1, 11):
        for _ in range(12):
            bench.run(5000, 50000)
            bench.get("beat")
        equal((minute, abs(bench.outputs.pulses_ns[0] - (10 + minute) * 100 * US) <= 62),
              (minute, True))  # fmt: skip
    equal(bench.get("beat")["moving_mask"], 0)


def a_ramp_can_be_broken_off_from_where_it_is():
    bench = Bench().setup((1, 2))
    bench.get("hold", p1_ns=1000 * US, p2_ns=1000 * US)
    bench.run(100)
    bench.get("hold", p1_ns=2000 * US, p2_ns=2000 * US, ramp_ms=1000)
    bench.run(500)
    bench.get("freeze", mask=1)
    bench.get("hold", p2_ns=1000 * US, ramp_ms=500)
    bench.run(250)
    equal(bench.pulses()[:2], [1500, 1250])
    bench.run(250)
    equal(bench.pulses()[:2], [1500, 1000])


def a_lag_lets_each_next_channel_of_a_sweep_follow_later():
    bench = Bench().setup((1, 2, 4))
    bench.get("hold", p1_ns=1000 * US, p2_ns=2000 * US, p4_ns=1000 * US)
    bench.run(300)
    reply = bench.get("sweep", **dict(SWEEP, mask=11, cycles=1, lag_ms=500))
    equal(reply, {"start_ms": 0, "settle_ms": 0})
    for wanted in (
        [1500, 2000, 1000],
        [2000, 1500, 1000],
        [1500, 1000, 1500],
        [1000, 1500, 2000],
        [1000, 2000, 1500],
        [1000, 2000, 1000],
    ):
        bench.alive(500)
        pulses = bench.pulses()
        equal([pulses[0], pulses[1], pulses[3]], wanted)
    equal(bench.get("beat")["moving_mask"], 0)


def a_lag_lets_each_next_channel_of_steps_follow_later():
    bench = Bench().setup((1, 3), slew=10000)
    bench.get("hold", p1_ns=1000 * US, p3_ns=1000 * US)
    bench.run(300)
    reply = bench.get("steps", mask=5, dwell_ms=200, lag_ms=300, s1_ns=1000 * US, s2_ns=2000 * US)
    # 200 at the first, 100 on the way, 200 at the second, and the last channel 300 later
    equal(reply, {"start_ms": 0, "settle_ms": 0, "lasts_ms": 800})
    for wanted in ([1000, 1000], [1990, 1000], [2000, 1000], [2000, 1000], [2000, 1990]):
        bench.run(200 if wanted == [1000, 1000] else 100)
        equal((abs(bench.pulses()[0] - wanted[0]) <= 20), True)
        equal((abs(bench.pulses()[2] - wanted[1]) <= 20), True)
    bench.run(200)
    equal((bench.pulses()[:3], bench.get("beat")["moving_mask"]), ([2000, 0, 2000], 0))


def freeze_holds_what_moves_and_puts_off_what_has_not_begun():
    bench = Bench().setup()
    bench.get("hold", p1_ns=1500 * US)
    bench.run(10)
    bench.get("hold", p1_ns=2000 * US, p2_ns=1500 * US, p3_ns=1500 * US)
    bench.run(50)
    equal(bench.get("freeze", mask=255), {"on_mask": 1})
    bench.alive(1000)
    equal(bench.pulses(), [1600] + [0] * 7)
    equal(bench.get("beat")["moving_mask"], 0)


def stopping_ends_pulses_a_frame_before_the_pin_is_released():
    bench = Bench().setup()
    bench.get("centre", mask=3)
    bench.run(100)
    bench.outputs.log = []
    equal(bench.get("off", mask=1), {"off_ms": 22})
    equal(bench.pulses()[:2], [0, 1500])
    equal(bench.get("state", ch=1)["motion"], 5)
    bench.run(30, 300)
    equal([entry[1:] for entry in bench.outputs.log], [(1, 0), (1, -1)])
    waited_us = bench.outputs.log[1][0] - bench.outputs.log[0][0]
    equal(20000 <= waited_us <= 23000, True)
    equal((bench.pulses()[:2], bench.get("state", ch=1)["motion"]), ([0, 1500], 0))


def a_channel_stopped_and_wanted_again_rests_in_between():
    bench = Bench().setup()
    bench.get("centre", mask=1)
    bench.run(100)
    bench.outputs.log = []
    bench.get("off", mask=1)
    equal(bench.get("hold", p1_ns=1600 * US)["start_ms"], 23)
    bench.run(30)
    equal([entry[1:] for entry in bench.outputs.log], [(1, 0), (1, -1), (1, 1600 * US)])
    bench.get("off", mask=1)
    bench.run(30)
    bench.get("hold", p1_ns=1600 * US)
    bench.get("off", mask=1)  # before its turn came
    bench.run(100)
    equal(bench.pulses(), NOTHING)


def a_clock_that_begins_again_changes_nothing():
    logs = []
    for start_us in (0, CLOCK - 500, CLOCK - 1500700, CLOCK // 2):
        bench = Bench(start_us).setup((1, 2))
        bench.get("sweep", **SWEEP)
        bench.alive(1500, 1300)
        bench.run(800)
        logs.append(bench.outputs.log)
    for log in logs[1:]:
        equal((len(log) > 1500, log), (True, logs[0]))


def a_clock_that_begins_again_in_any_motion_changes_nothing():
    for word, values in (
        ("sweep", dict(SWEEP, shape=2, lag_ms=123)),
        (
            "steps",
            {"mask": 3, "dwell_ms": 170, "s1_ns": 1000 * US, "s2_ns": 1900 * US, "lag_ms": 7},
        ),
        ("hold", {"p1_ns": 2000 * US, "p2_ns": 1100 * US, "ramp_ms": 1500}),
    ):
        logs = []
        for start_us in (0, CLOCK - 1000001, CLOCK - 300500):
            bench = Bench(start_us).setup((1, 2))
            bench.get("hold", p1_ns=1200 * US, p2_ns=1500 * US)
            bench.run(200)
            bench.get(word, **values)
            bench.alive(1600, 1700)
            logs.append(bench.outputs.log)
        for log in logs[1:]:
            equal((word, len(log) > 200, log == logs[0]), (word, True, True))


def a_long_sweep_over_many_turns_of_the_clock_does_not_drift():
    bench = Bench(CLOCK - 500).setup((1, 2))
    bench.core.silence.hold_ms = bench.core.silence.off_ms = 1 << 29
    bench.outputs.logging = False
    reply = bench.get("sweep", **dict(SWEEP, period_ms=1999))
    bench.run(reply["settle_ms"])
    turns = 0
    # 3 turns of the clock in uneven steps; then on to a whole number of periods
    for n in range(33000):
        before = bench.now_us()
        step_ms = 97 + n % 3
        bench.run(step_ms, step_ms * 1000)
        turns += bench.now_us() < before
    passed_ms = bench.passed_us // 1000 - reply["settle_ms"]
    bench.run(1999 - passed_ms % 1999, 1000)
    equal((turns >= 3, bench.pulses()[:2]), (True, [1000, 2000]))


def a_clock_that_goes_back_a_little_is_waited_for():
    bench = Bench(1000).setup((1,))
    bench.get("centre", mask=1)
    bench.run(100)
    bench.get("hold", p1_ns=1600 * US)
    bench.core.tick(500)  # earlier than the start
    equal(bench.pulses()[0], 1500)
    bench.run(60)
    equal(bench.pulses()[0], 1600)


def the_last_look_stops_a_pulse_outside_its_limits():
    equal(permit(1, 1500, 1000, 2000), 1500)
    for pulse_ns, low_ns, high_ns in ((999, 1000, 2000), (2001, 1000, 2000), (0, 0, 0), (5, 0, 9)):
        failed = ""
        try:
            permit(4, pulse_ns, low_ns, high_ns)
        except RuntimeError as error:
            failed = str(error)
        equal(
            failed, "channel 4: pulse of %d ns is not in %d to %d ns" % (pulse_ns, low_ns, high_ns)
        )


def parts_of_a_way_are_exact_whatever_the_way():
    for span in (0, 1, 1023, 1024, 1025, 999999, 1000000, 2200000):
        for fraction in (0, 1, 8191, 8192, 16383, motions.ONE):
            wanted = span * fraction // motions.ONE
            equal(motions.between(300000, 300000 + span, fraction), 300000 + wanted)
            equal(motions.between(2500000, 2500000 - span, fraction), 2500000 - wanted)


def a_stop_by_the_board_itself_waits_its_whole_frame_however_late_the_tick():
    for late_ms in (1, 7, 20, 45):
        bench = Bench().setup((1,))
        bench.get("silence", hold_ms=200, off_ms=500)
        bench.get("centre", mask=1)
        bench.run(100)
        bench.outputs.log = []
        bench.run(1000, late_ms * 1000)
        equal([pulse for _, _, pulse in bench.outputs.log], [0, -1])
        (ended, _, _), (released, _, _) = bench.outputs.log
        equal((late_ms, released - ended >= 20000), (late_ms, True))


def time_spent_on_a_request_is_no_time_waited_for_the_frame():
    bench = Bench().setup((1,))
    bench.get("centre", mask=1)
    bench.run(100)
    bench.outputs.log = []
    bench.get("off", mask=1)
    ended_us = bench.passed_us + 21000  # the clock ran on while the request was worked on
    bench.passed_us = ended_us
    bench.core.tick(bench.now_us())
    bench.run(60)
    equal([pulse for _, _, pulse in bench.outputs.log], [0, -1])
    equal(bench.outputs.log[1][0] - ended_us >= 20000, True)


CASES = (
    changes_go_at_the_slew_rate,
    first_pulses_come_one_by_one,
    a_sweep_begins_together_keeps_its_ends_and_stops_after_its_cycles,
    a_smooth_sweep_is_slow_at_the_ends_and_steeper_in_the_middle,
    a_sweep_that_the_slew_cannot_follow_is_refused,
    steps_wait_at_each_pulse_and_hold_the_last,
    a_ramp_takes_the_time_asked_for_and_all_arrive_together,
    a_ramp_begins_once_what_was_off_has_started,
    a_ramp_that_the_slew_cannot_follow_is_refused_with_the_shortest_time,
    a_ramp_of_ten_minutes_is_exact_at_every_minute,
    a_ramp_can_be_broken_off_from_where_it_is,
    a_lag_lets_each_next_channel_of_a_sweep_follow_later,
    a_lag_lets_each_next_channel_of_steps_follow_later,
    freeze_holds_what_moves_and_puts_off_what_has_not_begun,
    stopping_ends_pulses_a_frame_before_the_pin_is_released,
    a_channel_stopped_and_wanted_again_rests_in_between,
    a_clock_that_begins_again_changes_nothing,
    a_clock_that_begins_again_in_any_motion_changes_nothing,
    a_long_sweep_over_many_turns_of_the_clock_does_not_drift,
    a_clock_that_goes_back_a_little_is_waited_for,
    the_last_look_stops_a_pulse_outside_its_limits,
    parts_of_a_way_are_exact_whatever_the_way,
    a_stop_by_the_board_itself_waits_its_whole_frame_however_late_the_tick,
    time_spent_on_a_request_is_no_time_waited_for_the_frame,
)

if __name__ == "__main__":
    run(CASES)
