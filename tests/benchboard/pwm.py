# ruff: noqa: UP031
"""Runs under MicroPython: the outputs on `machine.PWM`, against the strict stand-in for it."""

import time

import machine

from benchboard.boards import Board, board_named
from benchboard.pulses_pwm import PwmOutputs
from tests.support.cases import equal, run


def fails(call, *args):
    try:
        call(*args)
    except (RuntimeError, TypeError) as error:
        return str(error)
    raise AssertionError("nothing failed")


def outputs(name="simulated"):
    machine.forget()
    return PwmOutputs(board_named(name))


def the_stand_in_notices_what_the_chip_would_do_wrong():
    out = outputs()
    out.pulse(0, 1500000)
    equal(
        fails(out._pins[0].init, machine.Pin.OUT, None, 0),
        "GP0 taken from its counter in mid-pulse",
    )
    equal(fails(out._pwms[0].deinit), "GP0: deinit stops its counter in mid-pulse")
    equal(fails(out._pwms[1].freq, 60), "frequency of slice 0 set while GP0 sends pulses")
    equal(fails(out._pwms[0].duty_ns, -200), "GP0 given a width of -200 ns")
    equal(fails(out._pwms[0].duty_ns, 20000001), "GP0 given a width of 20000001 ns")
    fails(out._pwms[0].duty_ns, 1.5)
    out.silence(0)
    equal(fails(out.release, 0), "GP0 taken from its counter in mid-pulse")
    time.sleep_ms(21)
    out.release(0)
    equal(fails(machine.PWM, machine.Pin(9)), "GP9 routed to its counter without having been low")


def all_pins_are_low_before_any_counter_is_touched():
    outputs()
    first = machine.history.index(("pwm", 0))
    low = [entry[1] for entry in machine.history[:first] if entry[0] == "low"]
    equal(low, [0, 1, 2, 3, 4, 5, 6, 7])
    equal(machine.states(), dict.fromkeys(range(8), "low"))


def counters_are_emptied_before_a_pin_is_put_on_them():
    for name, base in (("rp2040", 0x40050000), ("rp2350", 0x400A8000)):
        outputs(name)
        for number in range(4):
            counter = base + 0x14 * number
            equal([machine.mem32[counter + n] for n in (0, 4, 12, 16)], [1, 16, 0, 0xFFFF])
        first = machine.history.index(("pwm", 0))
        equal([entry[0] for entry in machine.history[:first]].count("mem"), 4 * 8)


def a_neighbour_keeps_its_pulse_when_a_channel_starts_and_stops():
    out = outputs()
    out.pulse(0, 1500000)
    out.pulse(1, 1600000)
    out.pulse(1, 1700000)
    out.silence(0)
    time.sleep_ms(21)
    out.release(0)
    equal(machine.widths(), {0: 0, 1: 1700000})
    equal((machine.states()[0], machine.states()[1]), ("low", "pwm"))
    out.pulse(0, 1200000)
    equal(machine.widths(), {0: 1200000, 1: 1700000})


def the_frame_rate_is_set_for_every_counter():
    out = outputs()
    out.set_frame(100)
    equal(machine.frames(), {0: 100, 1: 100, 2: 100, 3: 100})
    equal((out.frame_hz, out.tick_ps()), (100, 153000))


def close_ends_pulses_with_their_frame_from_any_state():
    out = outputs()
    for index in range(8):
        out.pulse(index, 1000000 + index)
    out.silence(3)
    start_us = time.ticks_us()
    out.close()
    equal(time.ticks_diff(time.ticks_us(), start_us) >= 20000, True)
    equal(machine.states(), dict.fromkeys(range(8), "low"))
    equal(max(machine.widths().values()), 0)
    out.close()


def close_goes_on_past_an_output_that_fails():
    out = outputs()
    out.pulse(0, 1500000)
    out.pulse(5, 1500000)

    class Broken:
        def duty_ns(self, ns):
            raise RuntimeError("broken at %d" % ns)

    out._pwms[0] = Broken()
    equal(fails(out.close) != "", True)
    equal(machine.states()[5], "low")
    equal(machine.widths()[5], 0)


def pins_that_clash_are_refused_before_anything_is_touched():
    machine.forget()
    failed = ""
    try:
        PwmOutputs(Board("simulated", (0, 1, 2, 16), 125000000, 0, 22))
    except ValueError as error:
        failed = str(error)
    equal(("GP0 and GP16" in failed, machine.history), (True, []))


CASES = (
    the_stand_in_notices_what_the_chip_would_do_wrong,
    all_pins_are_low_before_any_counter_is_touched,
    counters_are_emptied_before_a_pin_is_put_on_them,
    a_neighbour_keeps_its_pulse_when_a_channel_starts_and_stops,
    the_frame_rate_is_set_for_every_counter,
    close_ends_pulses_with_their_frame_from_any_state,
    close_goes_on_past_an_output_that_fails,
    pins_that_clash_are_refused_before_anything_is_touched,
)

run(CASES)
