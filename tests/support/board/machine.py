# ruff: noqa: UP031, PTH116, PTH123, ARG001, ARG002 - for MicroPython, which has no pathlib
"""Stands in for the board's `machine` under MicroPython on a computer; takes note of the pins.

It is strict where chips are treacherous: what would make a wrong pulse there, or leave a pin
high, is a fault here. Three kinds of chip, by HINGELINE_CHIP in the environment or by
``forget(chip)``:

- "rp2": two pins share a counter, and with it the frame rate; the output of GPn is that of
  GP(n+16) too; a counter must not be stopped, nor its rate set while its pins send.
- "esp32": each pin has an output of its own; attached once it stays so until `deinit`; widths
  in nanoseconds only after the frequency is set.
- "plain" (if nothing is said): each pin has an output of its own, and nothing is known of it.

With HINGELINE_PINS in the environment every change of a width is written to that file as a line
`<microseconds> GP<n> <width in ns>`, faults as `FAULT <text>`; with HINGELINE_LIGHT every change
of the light to that file as `<microseconds> <0 or 1>`; with HINGELINE_STATES every change of
what a pin is to that file as `<microseconds> GP<n> <low, in or pwm>`. While the file named by
HINGELINE_BUTTON exists, the button is down. HINGELINE_ANALOGUE names a file that says what the
analogue inputs read, for instance `26=30000,27=40000`. HINGELINE_WATCHDOG_MS shortens the time
after which a watchdog that was not fed is a fault. HINGELINE_UNIQUE is the chip's own number, in
hex, 16 digits.
"""

import os
import time

PWRON_RESET = 1
WDT_RESET = 3

history = []  # ("low", gpio), ("in", gpio), ("pwm", gpio), ("mem", address, value) and the like
levels = {}  # gpio -> what an input reads, where it is not high; a list is read one by one
analogue = {}  # gpio -> what an analogue input reads
jumper = {}  # measuring pin -> servo pin that a wire joins to it
cause = [PWRON_RESET]
_record = os.getenv("HINGELINE_PINS")
_light = os.getenv("HINGELINE_LIGHT")
_states = os.getenv("HINGELINE_STATES")
_button = os.getenv("HINGELINE_BUTTON")
_chip = [os.getenv("HINGELINE_CHIP") or "plain"]
_pins = {}  # gpio -> "low", "in" or "pwm"
_widths = {}  # output -> width of its pulses, ns
_written = {}  # output -> True once its width was other than zero
_zeroed = {}  # output -> when the width was last made zero
_frames = {}  # counter -> frames per second
_stopped = {}  # counter -> True while it stands still
_attached = {}  # gpio -> True until deinit, on chips where that counts
_analogue = os.getenv("HINGELINE_ANALOGUE")


def _write(text, path=_record):
    if path:
        with open(path, "a") as file:
            file.write(text + "\n")


def _fault(text):
    _write("FAULT " + text)
    raise RuntimeError(text)


def _become(gpio, state):
    if _pins.get(gpio) != state:
        _write("%d GP%s %s" % (time.ticks_us(), gpio, state), _states)
    _pins[gpio] = state
    history.append((state, gpio))


def _output(gpio):
    """Return what makes the pulses of a pin: its counter, and which side of it."""
    return ((gpio >> 1) & 7, gpio & 1) if _chip[0] == "rp2" else (gpio, 0)


def _in_pulse(gpio):
    """Whether a pulse may still be going on at a pin given to its output."""
    output = _output(gpio)
    if _pins.get(gpio) != "pwm" or _stopped.get(output[0]):
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
    PULL_DOWN = 2

    def __init__(self, gpio, mode=None, pull=None, value=None):
        if not isinstance(gpio, int) and gpio != "LED":
            raise ValueError("unknown named pin")
        if isinstance(gpio, int) and not 0 <= gpio < 48:
            raise ValueError("invalid pin")
        self.gpio = gpio
        if mode is not None:
            self.init(mode, pull, value=value)

    def init(self, mode, pull=None, value=None):
        if self.gpio != "LED" and _in_pulse(self.gpio):
            _fault("GP%d taken from its counter in mid-pulse" % self.gpio)
        if mode == self.OUT and value != 0:
            _fault("GP%s made an output that is not low" % self.gpio)
        _become(self.gpio, "low" if mode == self.OUT else "in")

    def value(self, level=None):
        if level is not None:
            if _pins.get(self.gpio) != "low":
                _fault("GP%s given a level without being an output" % self.gpio)
            history.append(("level", self.gpio, level))
            _write("%d %d" % (time.ticks_us(), level), _light)
            return None
        if self.gpio in levels:
            given = levels[self.gpio]
            if isinstance(given, list):
                return given.pop(0) if len(given) > 1 else given[0]
            return given
        if _pins.get(self.gpio) != "in":
            return 0
        if _button:
            try:
                os.stat(_button)
                return 0
            except OSError:
                pass
        return 1


class PWM:
    def __init__(self, pin, freq=None, duty_u16=None, duty_ns=None):
        self.gpio = pin.gpio
        output = _output(self.gpio)
        if _pins.get(self.gpio) != "low":
            _fault("GP%d routed to its counter without having been low" % self.gpio)
        if _widths.get(output, 0):
            _fault("GP%d routed to a counter with a width" % self.gpio)
        if _stopped.get(output[0]) and freq is None:
            _fault("GP%d routed to a counter that stands still" % self.gpio)
        if _chip[0] == "esp32":
            if duty_ns is not None:
                raise RuntimeError("PWM is inactive")
            if _attached.get(self.gpio):
                _fault("GP%d attached again without deinit" % self.gpio)
            _attached[self.gpio] = True
        if _chip[0] != "rp2" and (freq is None or duty_u16 != 0):
            _fault("GP%d begins with half its frame high" % self.gpio)
        if duty_u16:
            _fault("GP%d given a part of the frame" % self.gpio)
        _become(self.gpio, "pwm")
        if freq is not None:
            self._set_freq(freq)
        if duty_ns is not None:
            self.duty_ns(duty_ns)

    def freq(self, hz):
        if _chip[0] != "rp2":
            _fault("GP%d: another frequency may move it to another timer" % self.gpio)
        self._set_freq(hz)

    def _set_freq(self, hz):
        number = _output(self.gpio)[0]
        for gpio in _pins:
            if gpio != "LED" and _output(gpio)[0] == number and _in_pulse(gpio):
                _fault("frequency of slice %d set while GP%d sends pulses" % (number, gpio))
        _frames[number] = hz
        _stopped[number] = False
        if _chip[0] == "rp2":
            for base in _BASES:
                mem32.values[base + 0x14 * number + 4] = 97  # what the divider then is, or near

    def duty_ns(self, ns):
        if not isinstance(ns, int):
            raise TypeError("can't convert %s to int" % type(ns))
        _starved()
        output = _output(self.gpio)
        if output[0] not in _frames:
            _fault("GP%d given a width before its counter has a frequency" % self.gpio)
        if not 0 <= ns < 1000000000 // _frames[output[0]]:
            _fault("GP%d given a width of %d ns" % (self.gpio, ns))
        if _pins.get(self.gpio) != "pwm" and ns:
            _fault("GP%d given a width while it is not routed" % self.gpio)
        if ns == 0 and _widths.get(output, 0):
            _zeroed[output] = time.ticks_us()
        if _widths.get(output, 0) != ns:
            _write("%d GP%d %d" % (time.ticks_us(), self.gpio, ns))
        _widths[output] = ns
        if ns:
            _written[output] = True

    def deinit(self):
        if _chip[0] == "rp2":
            _fault("GP%d: deinit stops its counter in mid-pulse" % self.gpio)
        if _chip[0] == "plain":
            _fault("GP%d: deinit may stop others" % self.gpio)
        if _in_pulse(self.gpio):
            _fault("GP%d: deinit in mid-pulse" % self.gpio)
        _attached[self.gpio] = False
        history.append(("deinit", self.gpio))


class ADC:
    def __init__(self, pin, atten=None):
        if (_chip[0] == "esp32") is (atten is None):
            _fault("GP%d: attenuation %r on this chip" % (self.gpio, atten))
        self.gpio = pin.gpio
        if _pins.get(self.gpio) in ("low", "pwm"):
            _fault("GP%d is a servo pin and an analogue input" % self.gpio)
        history.append(("adc", self.gpio))

    def read_u16(self):
        if _analogue:
            with open(_analogue) as file:
                for entry in file.read().split(","):
                    gpio, value = entry.split("=")
                    analogue[int(gpio)] = int(value)
        return analogue.get(self.gpio, 0)


def _attenuate():
    """Give the analogue inputs what they have on this kind of chip only."""
    if _chip[0] == "esp32":
        ADC.ATTN_11DB = 3
    elif hasattr(ADC, "ATTN_11DB"):
        del ADC.ATTN_11DB


_attenuate()


class WDT:
    def __init__(self, timeout):
        if not 1 <= timeout <= 8388:
            raise ValueError("timeout exceeds 8388")
        history.append(("watchdog", timeout))
        # A test has no time for the real one.
        _hunger[:] = [int(os.getenv("HINGELINE_WATCHDOG_MS") or timeout), time.ticks_ms()]

    def feed(self):
        _starved()
        _hunger[1] = time.ticks_ms()


_hunger = []  # the watchdog's time, and when it was last fed; empty while it is not started


def _starved():
    if _hunger and time.ticks_diff(time.ticks_ms(), _hunger[1]) > _hunger[0]:
        _hunger.clear()
        _write("FAULT the watchdog would have reset the chip")
        raise SystemExit


_BASES = (0x40050000, 0x400A8000)  # of the pulse counters of RP2040 and RP2350


class _Memory:
    def __init__(self):
        self.values = {}

    def __setitem__(self, address, value):
        history.append(("mem", address, value))
        self.values[address] = value
        for base in _BASES:
            if 0 <= address - base < 0x14 * 8:
                number, register = divmod(address - base, 0x14)
                if register == 0x0C and not value:
                    _widths[number, 0] = _widths[number, 1] = 0
                if register == 0x00 and value & 1:
                    _stopped[number] = False

    def __getitem__(self, address):
        usual = 0
        for base in _BASES:
            if 0 <= address - base < 0x14 * 8 and (address - base) % 0x14 == 4:
                usual = 16  # a divider of one, in sixteenths
        return self.values.get(address, usual)

    def clear(self):
        self.values.clear()


mem32 = _Memory()


def forget(chip="plain"):
    """Begin afresh, as after a reset, on a chip of this kind."""
    for notes in (_pins, _widths, _written, _zeroed, _frames, _stopped, _attached, mem32):
        notes.clear()
    for notes in (levels, analogue, jumper):
        notes.clear()
    history.clear()
    _chip[0] = chip
    _hunger.clear()
    _attenuate()
    cause[0] = PWRON_RESET


def restart():
    """Leave the chip as a program that is started again without a reset finds it.

    On an RP2 chip the port stops counters 0 to 3 wherever they are, with their pins on them and
    their widths kept; 4 to 7 go on. On an ESP32 every output is ended.
    """
    if _chip[0] == "rp2":
        for number in range(4):
            _stopped[number] = True
    else:
        for notes in (_widths, _zeroed, _attached):
            notes.clear()


def states():
    """Return what each pin is: "low", "in" or "pwm"."""
    return dict(_pins)


def widths():
    """Return the width of the pulses by gpio, where one was ever other than zero."""
    return {
        gpio: _widths[_output(gpio)]
        for gpio in _pins
        if gpio != "LED" and _output(gpio) in _written
    }


def frames():
    """Return the frame rate by counter."""
    return dict(_frames)


def time_pulse_us(pin, level, timeout_us):
    width = _widths.get(_output(jumper[pin.gpio]), 0) if pin.gpio in jumper else 0
    if not width:
        time.sleep_us(timeout_us)
        return -1
    return width // 1000


def freq():
    return 125000000


def unique_id():
    told = os.getenv("HINGELINE_UNIQUE")
    return bytes.fromhex(told) if told else b"\x01\x02\x03\x04\x05\x06\x07\x08"


def reset_cause():
    return cause[0]


def reset():
    _write("RESET")
    raise SystemExit
