# ruff: noqa: UP031, PTH123, ARG002 - for MicroPython, which has no pathlib
"""Stands in for the board's `machine` under MicroPython on a computer; takes note of the pins.

It is strict where the RP2 chip is treacherous: what would make a wrong pulse there, or leave a
pin high, is a fault here. With HINGELINE_PINS in the environment every change is written to
that file as a line `<microseconds> GP<n> <width in ns>`, faults as `FAULT <text>`.
"""

import os
import time

PWRON_RESET = 1
WDT_RESET = 3

history = []  # ("low", gpio), ("in", gpio), ("pwm", gpio), ("mem", address, value)
_record = os.getenv("HINGELINE_PINS")
_pins = {}  # gpio -> "low", "in" or "pwm"
_widths = {}  # (slice, side) -> width of its pulses, ns
_written = {}  # (slice, side) -> True once its width was other than zero
_zeroed = {}  # (slice, side) -> when the width was last made zero
_frames = {}  # slice -> frames per second


def _write(text):
    if _record:
        with open(_record, "a") as file:
            file.write(text + "\n")


def _fault(text):
    _write("FAULT " + text)
    raise RuntimeError(text)


def _output(gpio):
    return ((gpio >> 1) & 7, gpio & 1)


def _in_pulse(gpio):
    """Whether a pulse may still be going on at a pin routed to its counter."""
    output = _output(gpio)
    if _pins.get(gpio) != "pwm":
        return False
    if _widths.get(output, 0):
        return True
    if output not in _zeroed:
        return False
    frame_us = 1000000 // _frames[output[0]]
    return time.ticks_diff(time.ticks_us(), _zeroed[output]) < frame_us


class Pin:
    IN = 0
    OUT = 1
    PULL_UP = 1

    def __init__(self, gpio, mode=None, pull=None, value=None):
        self.gpio = gpio
        if mode is not None:
            self.init(mode, pull, value=value)

    def init(self, mode, pull=None, value=None):
        if _in_pulse(self.gpio):
            _fault("GP%d taken from its counter in mid-pulse" % self.gpio)
        if mode == self.OUT and value != 0:
            _fault("GP%d made an output that is not low" % self.gpio)
        _pins[self.gpio] = "low" if mode == self.OUT else "in"
        history.append((_pins[self.gpio], self.gpio))

    def value(self):
        return 1  # no strap


class PWM:
    def __init__(self, pin, freq=None, duty_ns=None):
        self.gpio = pin.gpio
        if _pins.get(self.gpio) != "low":
            _fault("GP%d routed to its counter without having been low" % self.gpio)
        if _widths.get(_output(self.gpio), 0):
            _fault("GP%d routed to a counter with a width" % self.gpio)
        _pins[self.gpio] = "pwm"
        history.append(("pwm", self.gpio))
        if freq is not None:
            self._set_freq(freq)
        if duty_ns is not None:
            self.duty_ns(duty_ns)

    def freq(self, hz):
        self._set_freq(hz)

    def _set_freq(self, hz):
        number = _output(self.gpio)[0]
        for gpio in _pins:
            if _output(gpio)[0] == number and _in_pulse(gpio):
                _fault("frequency of slice %d set while GP%d sends pulses" % (number, gpio))
        _frames[number] = hz

    def duty_ns(self, ns):
        if not isinstance(ns, int):
            raise TypeError("can't convert %s to int" % type(ns))
        output = _output(self.gpio)
        if output[0] not in _frames:
            _fault("GP%d given a width before its counter has a frequency" % self.gpio)
        if not 0 <= ns < 1000000000 // _frames[output[0]]:
            _fault("GP%d given a width of %d ns" % (self.gpio, ns))
        if ns == 0 and _widths.get(output, 0):
            _zeroed[output] = time.ticks_us()
        if _widths.get(output, 0) != ns:
            _write("%d GP%d %d" % (time.ticks_us(), self.gpio, ns))
        _widths[output] = ns
        if ns:
            _written[output] = True

    def deinit(self):
        _fault("GP%d: deinit stops its counter in mid-pulse" % self.gpio)


class WDT:
    def __init__(self, timeout):
        if not 1 <= timeout <= 8388:
            raise ValueError("timeout exceeds 8388")

    def feed(self):
        pass


class _Memory:
    def __init__(self):
        self.values = {}

    def __setitem__(self, address, value):
        history.append(("mem", address, value))
        self.values[address] = value

    def __getitem__(self, address):
        return self.values[address]

    def clear(self):
        self.values.clear()


mem32 = _Memory()


def forget():
    """Begin afresh, as after a reset."""
    for notes in (_pins, _widths, _written, _zeroed, _frames, mem32):
        notes.clear()
    history.clear()


def states():
    """Return what each pin is: "low", "in" or "pwm"."""
    return dict(_pins)


def widths():
    """Return the width of the pulses by gpio, where one was ever other than zero."""
    return {gpio: _widths[_output(gpio)] for gpio in _pins if _output(gpio) in _written}


def frames():
    """Return the frame rate by counter."""
    return dict(_frames)


def freq():
    return 125000000


def unique_id():
    return b"\x01\x02\x03\x04\x05\x06\x07\x08"


def reset_cause():
    return PWRON_RESET


def reset():
    _write("RESET")
    raise SystemExit
