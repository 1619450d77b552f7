# ruff: noqa: UP031
"""Runs under MicroPython: the outputs on `machine.PWM`, against the strict stand-in for it."""

import time

import machine
import micropython

from benchboard import pulses_pwm
from benchboard.boards import board_from, board_named, with_pins
from benchboard.pulses_pwm import PwmOutputs
from benchboard.pulses_rp2 import Rp2Outputs
from benchboard.resets_rp2 import was_asked_for
from tests.support.cases import equal, run

US = 1000  # ns
ALL_LOW = dict.fromkeys(range(8), "low")


def fails(call, *args):
    try:
        call(*args)
    except (RuntimeError, TypeError) as error:
        return str(error)
    raise AssertionError("nothing failed")


def rp2(name="rp2040"):
    machine.forget("rp2")
    return Rp2Outputs(board_named(name))


def esp32():
    machine.forget("esp32")
    return PwmOutputs(board_named("esp32"))


def plain():
    machine.forget()
    return PwmOutputs(board_named("simulated"))


KINDS = (rp2, esp32, plain)


def stop(out, index):
    out.silence(index)
    time.sleep_ms(21)
    out.release(index)


def the_stand_in_notices_what_an_rp2_would_do_wrong():
    out = rp2()
    out.pulse(0, 1500 * US)
    equal(
        fails(out._pins[0].init, machine.Pin.OUT, None, 0),
        "GP0 taken from its counter in mid-pulse",
    )
    equal(fails(out._pwms[0].deinit), "GP0: deinit stops its counter in mid-pulse")
    equal(fails(out._counters[1].freq, 60), "frequency of slice 0 set while GP0 sends pulses")
    equal(fails(out._pwms[0].duty_ns, -200), "GP0 given a width of -200 ns")
    equal(fails(out._pwms[0].duty_ns, 20000001), "GP0 given a width of 20000001 ns")
    fails(out._pwms[0].duty_ns, 1.5)
    out.silence(0)
    equal(fails(out.release, 0), "GP0 taken from its counter in mid-pulse")
    time.sleep_ms(21)
    out.release(0)
    equal(fails(machine.PWM, machine.Pin(9)), "GP9 routed to its counter without having been low")
    machine.restart()
    low = machine.Pin(0, machine.Pin.OUT, value=0)
    equal(fails(machine.PWM, low), "GP0 routed to a counter that stands still")


def the_stand_in_notices_what_an_esp32_would_do_wrong():
    out = esp32()
    out.pulse(0, 1500 * US)
    equal(fails(out._pwms[0].deinit), "GP18: deinit in mid-pulse")
    stop(out, 0)
    low = machine.Pin(18, machine.Pin.OUT, value=0)
    equal(fails(machine.PWM, low), "GP18 begins with half its frame high")
    low.init(machine.Pin.OUT, value=0)
    equal(fails(machine.PWM, low), "GP18 attached again without deinit")


def all_pins_are_low_before_any_counter_is_touched():
    for kind in KINDS:
        out = kind()
        gpios = list(out._board.gpios)
        equal(machine.history[:8], [("low", gpio) for gpio in gpios])
        equal(machine.states(), dict.fromkeys(gpios, "low"))
    # Elsewhere than on an RP2 nothing but low pins is needed until a channel starts.
    equal(machine.history, [("low", gpio) for gpio in range(8)])


def counters_are_emptied_before_a_pin_is_put_on_them():
    for name, base in (("rp2040", 0x40050000), ("rp2350", 0x400A8000)):
        rp2(name)
        for number in range(4):
            counter = base + 0x14 * number
            equal([machine.mem32[counter + n] for n in (0, 12, 16)], [1, 0, 0xFFFF])
        first = machine.history.index(("pwm", 0))
        equal([entry[0] for entry in machine.history[:first]].count("mem"), 4 * 8)


def a_start_without_a_reset_gives_no_old_pulse():
    machine.forget("rp2")
    others = []
    for gpio in (0, 1, 6):  # as another program would
        pin = machine.Pin(gpio, machine.Pin.OUT, value=0)
        others.append(machine.PWM(pin, freq=50, duty_ns=0))
    for other in others:
        other.duty_ns(1700 * US)
    equal(machine.widths(), {0: 1700 * US, 1: 1700 * US, 6: 1700 * US})
    machine.restart()
    out = Rp2Outputs(board_named("rp2040"))  # a pin routed to an old width would be a fault
    equal(machine.states(), ALL_LOW)
    equal(machine.widths(), {0: 0, 1: 0, 6: 0})
    out.pulse(1, 1200 * US)
    equal(machine.widths(), {0: 0, 1: 1200 * US, 6: 0})
    machine.forget("esp32")
    pin = machine.Pin(18, machine.Pin.OUT, value=0)
    machine.PWM(pin, freq=50, duty_u16=0).duty_ns(1700 * US)
    machine.restart()
    out = PwmOutputs(board_named("esp32"))
    out.pulse(0, 1200 * US)
    equal(machine.widths(), {18: 1200 * US})


def why_an_rp2_starts_is_read_from_its_registers():
    for name, reason in (("rp2040", 0x40058008), ("rp2350", 0x400D8008)):
        machine.forget("rp2")
        board = board_named(name)
        equal(was_asked_for(board), False)
        machine.mem32[reason] = 1
        equal(was_asked_for(board), False)  # the watchdog's time ran out: nobody asked
        machine.mem32[reason] = 2
        equal(was_asked_for(board), True)
    rp2()
    equal(was_asked_for(board_named("rp2040")), True)  # its counters have run


def a_neighbour_keeps_its_pulse_when_a_channel_starts_and_stops():
    for kind in KINDS:
        out = kind()
        one, two = out._board.gpios[:2]
        out.pulse(0, 1500 * US)
        out.pulse(1, 1600 * US)
        out.pulse(1, 1700 * US)
        stop(out, 0)
        equal(machine.widths(), {one: 0, two: 1700 * US})
        equal((machine.states()[one], machine.states()[two]), ("low", "pwm"))
        out.pulse(0, 1200 * US)
        equal(machine.widths(), {one: 1200 * US, two: 1700 * US})


def the_frame_rate_is_set_with_all_pins_released():
    out = rp2()
    out.set_frame(100)
    equal(machine.frames(), {0: 100, 1: 100, 2: 100, 3: 100})
    equal((out.frame_hz, out.tick_ps()), (100, 153000))
    for kind in (esp32, plain):
        out = kind()
        one, two = out._board.gpios[:2]
        out.pulse(0, 1500 * US)
        stop(out, 0)
        out.set_frame(100)
        out.pulse(0, 1500 * US)
        out.pulse(1, 1500 * US)
        equal(machine.frames(), {one: 100, two: 100})


def the_step_of_the_width_is_told_as_it_is():
    equal(rp2().tick_ps(), 305500)
    equal(esp32().tick_ps(), 305176)  # 20 ms / 2**16
    machine.forget("esp32")
    shorter = with_pins(board_from("Invented board with ESP32S3", "esp32"), {"gpios": [4, 5]})
    equal((shorter.family, PwmOutputs(shorter).tick_ps()), ("esp32", 2441406))  # 20 ms / 2**13
    unknown = with_pins(board_from("Invented board with ABC123", "abc"), {"gpios": [4, 5]})
    equal(PwmOutputs(unknown).tick_ps(), 100000000)
    told = with_pins(unknown, {"bits": 12})
    equal(PwmOutputs(told, 100).tick_ps(), 2441406)


def what_no_servo_may_get_stops_the_program():
    for kind in KINDS:
        out = kind()
        for pulse_ns in (299999, 2500001, 0, -1, 20000001):
            said = fails(out.pulse, 0, pulse_ns)
            equal(("output 1" in said, str(pulse_ns) in said), (True, True))
        out.set_frame(333)
        equal("333 Hz" in fails(out.pulse, 0, 2300 * US), True)
        equal(machine.widths(), {})
        fails(out.pulse, 0, 1500.5)
        out.pulse(0, 2200 * US)
        equal(list(machine.widths().values()), [2200 * US])


def a_pin_that_is_still_high_is_waited_for():
    out = esp32()
    out.pulse(0, 1500 * US)
    out.silence(0)
    time.sleep_ms(21)
    machine.levels[18] = [1] * 40 + [0]
    start_us = time.ticks_us()
    out.release(0)
    equal(machine.levels[18], [0])
    equal(time.ticks_diff(time.ticks_us(), start_us) >= 400, True)
    equal(machine.history[-2:], [("deinit", 18), ("low", 18)])
    out.pulse(0, 1500 * US)
    out.silence(0)
    time.sleep_ms(21)
    machine.levels[18] = 1  # held high from outside: not for ever
    start_us = time.ticks_us()
    out.release(0)
    equal(2500 <= time.ticks_diff(time.ticks_us(), start_us) < 100000, True)


def close_ends_pulses_with_their_frame_from_any_state():
    for kind in KINDS:
        out = kind()
        for index in range(8):
            out.pulse(index, 1000 * US + index)
        out.silence(3)
        start_us = time.ticks_us()
        out.close()
        took_us = time.ticks_diff(time.ticks_us(), start_us)
        equal(took_us >= 20000 * out.stop_frames, True)
        equal(machine.states(), dict.fromkeys(out._board.gpios, "low"))
        equal(max(machine.widths().values()), 0)
        out.close()
        out.pulse(2, 1500 * US)
        equal(machine.widths()[out._board.gpios[2]], 1500 * US)


def close_goes_on_past_an_output_that_fails():
    for kind in KINDS:
        out = kind()
        out.pulse(0, 1500 * US)
        out.pulse(5, 1500 * US)

        class Broken:
            def duty_ns(self, ns):
                raise RuntimeError("broken at %d" % ns)

            deinit = None

        out._pwms[0] = Broken()
        equal(fails(out.close) != "", True)
        gpio = out._board.gpios[5]
        equal((machine.states()[gpio], machine.widths()[gpio]), ("low", 0))


def pins_that_clash_are_refused_before_anything_is_touched():
    for kind, board in ((Rp2Outputs, "rp2040"), (PwmOutputs, "simulated")):
        machine.forget()
        failed = ""
        try:
            kind(with_pins(board_named(board), {"gpios": [0, 1, 2, 16], "probe": None}))
        except ValueError as error:
            failed = str(error)
        equal(("GP0 and GP16" in failed, machine.history), (True, []))


def a_board_without_channels_has_nothing_to_stop():
    machine.forget()
    out = PwmOutputs(board_named("generic"))
    out.set_frame(100)
    out.close()
    equal((machine.history, out.frame_hz), ([], 100))


def the_longest_wait_covers_the_longest_pulse():
    equal(pulses_pwm._LONGEST_US * 1000 > pulses_pwm.PULSE_HIGH_NS, True)


def a_new_width_takes_no_heap():
    class Silent:
        def duty_ns(self, ns):
            pass

    for kind in KINDS:
        out = kind()
        out._pwms[0] = Silent()  # the stand-in's own notes take heap
        micropython.heap_lock()
        try:
            for _ in range(20):
                out.pulse(0, 1500000)
                out.pulse(0, 2499999)
                out.silence(0)
        finally:
            micropython.heap_unlock()


CASES = (
    the_stand_in_notices_what_an_rp2_would_do_wrong,
    the_stand_in_notices_what_an_esp32_would_do_wrong,
    all_pins_are_low_before_any_counter_is_touched,
    counters_are_emptied_before_a_pin_is_put_on_them,
    a_start_without_a_reset_gives_no_old_pulse,
    why_an_rp2_starts_is_read_from_its_registers,
    a_neighbour_keeps_its_pulse_when_a_channel_starts_and_stops,
    the_frame_rate_is_set_with_all_pins_released,
    the_step_of_the_width_is_told_as_it_is,
    what_no_servo_may_get_stops_the_program,
    a_pin_that_is_still_high_is_waited_for,
    close_ends_pulses_with_their_frame_from_any_state,
    close_goes_on_past_an_output_that_fails,
    pins_that_clash_are_refused_before_anything_is_touched,
    a_board_without_channels_has_nothing_to_stop,
    the_longest_wait_covers_the_longest_pulse,
    a_new_width_takes_no_heap,
)

run(CASES)
