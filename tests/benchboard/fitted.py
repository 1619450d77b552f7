"""Runs under MicroPython: button, light, knob, supply divider and measuring pin on their pins."""

import time

import machine
import micropython

from benchboard.boards import board_named, with_pins
from benchboard.fittings_pins import PinFittings, button_of
from benchboard.pulses_pwm import PwmOutputs
from tests.support.cases import equal, run


def fitted(name="simulated", chip="plain", **pins):
    machine.forget(chip)
    return PinFittings(with_pins(board_named(name), pins))


def the_button_is_down_while_its_pin_is_at_ground():
    here = fitted()
    equal(here.pressed(), False)
    machine.levels[22] = 0
    equal(here.pressed(), True)
    machine.levels[22] = 1
    equal(here.pressed(), False)
    equal(("in", 22) in machine.history, True)
    equal(fitted(button=None).pressed(), False)
    equal(button_of(with_pins(board_named("rp2040"), {"button": None})), None)


def the_light_begins_dark_and_is_told_changes_only():
    here = fitted()
    equal([entry for entry in machine.history if entry[1] == "LED"], [("low", "LED")])
    for on in (False, True, True, True, False, False):
        here.light(on)
    told = [entry[2] for entry in machine.history if entry[0] == "level"]
    equal(told, [1, 0])
    here = fitted(light=25)
    here.light(True)
    equal(machine.history[-1], ("level", 25, 1))
    fitted(light=None).light(True)
    equal([entry for entry in machine.history if entry[0] == "level"], [])


def a_board_without_a_light_of_that_name_has_none():
    here = fitted(light="LAMP")
    here.light(True)
    equal([entry for entry in machine.history if entry[0] == "level"], [])
    failed = ""
    try:
        fitted("generic", gpios=[2], light=99)
    except ValueError as error:
        failed = str(error)
    equal(failed, "invalid pin")  # a number was meant: whoever wrote it is told


def analogue_inputs_are_read_as_they_are():
    here = fitted()
    machine.analogue.update({26: 30000, 27: 65535})
    equal((here.knob(), here.rail()), (30000, 65535))
    bare = fitted(knob=None, rail=None)
    equal((bare.knob(), bare.rail()), (0, 0))
    equal([entry for entry in machine.history if entry[0] == "adc"], [])


def an_esp32_s_inputs_are_opened_wide():
    given = []

    class Wide(machine.ADC):
        ATTN_11DB = 3

        def __init__(self, pin, atten=None):
            super().__init__(pin, atten)
            given.append((pin.gpio, atten))

    narrow, machine.ADC = machine.ADC, Wide
    try:
        fitted("esp32", "esp32")
    finally:
        machine.ADC = narrow
    equal(given, [(34, 3), (35, 3)])


def a_pulse_is_measured_in_whole_microseconds():
    here = fitted()
    out = PwmOutputs(board_named("simulated"))
    equal(here.probe_step_ns, 1000)
    machine.jumper[16] = 2
    machine.levels[16] = [1, 1, 1, 0]  # part of a pulse first
    out.pulse(2, 1523456)
    equal(here.measure(), 1523000)
    equal(machine.levels[16], [0])
    out.silence(2)
    equal(here.measure(), 0)
    machine.levels[16] = 1  # stuck high
    start_us = time.ticks_us()
    equal(here.measure(), 0)
    equal(40000 <= time.ticks_diff(time.ticks_us(), start_us) < 400000, True)
    equal(fitted(probe=None).measure(), 0)


def an_rp2_measures_to_two_cycles():
    here = fitted("rp2040", "rp2")
    equal(here.probe_step_ns, 16)
    equal(here.measure(), 0)  # the stand-in's state machine never sees a pulse


def what_the_tick_calls_takes_no_heap():
    here = fitted()
    machine.levels.update({22: 1})
    here.light(True)
    here.light(False)
    pin = here._light
    plain, pin.value = pin.value, lambda _: None  # the stand-in's own notes take heap
    micropython.heap_lock()
    try:
        for _ in range(50):
            here.pressed()
            here.knob()
            here.rail()
            here.light(True)
            here.light(False)
    finally:
        micropython.heap_unlock()
        pin.value = plain


CASES = (
    the_button_is_down_while_its_pin_is_at_ground,
    the_light_begins_dark_and_is_told_changes_only,
    a_board_without_a_light_of_that_name_has_none,
    analogue_inputs_are_read_as_they_are,
    an_esp32_s_inputs_are_opened_wide,
    a_pulse_is_measured_in_whole_microseconds,
    an_rp2_measures_to_two_cycles,
    what_the_tick_calls_takes_no_heap,
)

run(CASES)
