"""The output contract on ``machine.PWM``.

A pulse counter runs all the time at the frame rate with its width at zero; a
channel starts by routing its pin to the counter and giving it a width, which
counts from the next frame. It stops by width zero and, a frame later, by making
the pin a low output again. Nothing is stopped in mid-pulse, and a counter's
frequency is set only while none of its pins is routed to it: both would send
wrong pulses or leave the pin high.
"""

from time import sleep_ms  # type: ignore[attr-defined]

import machine

from .boards import Board, check_pins, rp2_tick_ps, slice_of
from .pulses import Outputs

# Registers of one pulse counter, and their distance from the next: CH0_CSR, CH0_DIV, CH0_CC,
# CH0_TOP and CH1_CSR in hardware/regs/pwm.h of the maker's SDK, alike for both chips.
_ENABLE = 0x00
_DIVIDER = 0x04
_WIDTHS = 0x0C
_TOP = 0x10
_STRIDE = 0x14
_DIVIDE_BY_ONE = 0x10  # sixteenths


class PwmOutputs(Outputs):
    """Outputs of an RP2 board.

    Every pin is a low output before the first counter is touched.

    Raises
    ------
    ValueError
        When two pins share one output of a counter; the message names them.
    """

    def __init__(self, board: Board, frame_hz: int = 50):
        check_pins(board.gpios)
        self._board = board
        self._pins = [machine.Pin(gpio, machine.Pin.OUT, value=0) for gpio in board.gpios]
        self._routed = [False] * len(self._pins)
        if board.pwm_base:
            self._flush()
        self.frame_hz = frame_hz
        self._pwms = []
        for index, pin in enumerate(self._pins):
            self._pwms.append(machine.PWM(pin, freq=frame_hz, duty_ns=0))
            self.release(index)

    def pulse(self, index: int, pulse_ns: int) -> None:
        """Send this pulse from the next frame on."""
        if not self._routed[index]:
            # The width is zero and the counter runs: the pin stays low until the next frame.
            self._pwms[index] = machine.PWM(self._pins[index])
            self._routed[index] = True
        self._pwms[index].duty_ns(pulse_ns)

    def silence(self, index: int) -> None:
        """Send no more pulses after the present frame."""
        self._pwms[index].duty_ns(0)

    def release(self, index: int) -> None:
        """Make the pin a low output."""
        self._pins[index].init(machine.Pin.OUT, value=0)
        self._routed[index] = False

    def set_frame(self, frame_hz: int) -> None:
        """Set the frame rate of all counters."""
        done = set()
        for index, gpio in enumerate(self._board.gpios):
            if slice_of(gpio) not in done:
                done.add(slice_of(gpio))
                self._pwms[index].freq(frame_hz)
        self.frame_hz = frame_hz

    def tick_ps(self) -> int:
        """Return the step of the pulse width from the chip's own clock."""
        return rp2_tick_ps(_clock_hz(self._board), self.frame_hz)

    def close(self) -> None:
        """End all pulses with the present frame, wait for that, leave all pins low.

        One output that fails does not keep the others from being stopped.
        """
        failed = None
        for index in range(len(self._pwms)):
            try:
                if self._routed[index]:
                    self.silence(index)
            except Exception as error:
                failed = error
        sleep_ms(-(-1000 // self.frame_hz) + 2)
        for index in range(len(self._pins)):
            try:
                self.release(index)
            except Exception as error:
                failed = error
        if failed is not None:
            raise failed

    def _flush(self) -> None:
        # After a start without a reset a counter may still hold the width it had, or have been
        # stopped while its output was high; a pin routed to it would show that. So each runs once
        # round with zero width first, at full speed, with no pin on it.
        for gpio in self._board.gpios:
            counter = self._board.pwm_base + _STRIDE * slice_of(gpio)
            machine.mem32[counter + _WIDTHS] = 0
            machine.mem32[counter + _DIVIDER] = _DIVIDE_BY_ONE
            machine.mem32[counter + _TOP] = 0xFFFF
            machine.mem32[counter + _ENABLE] = 1
        sleep_ms(2)  # 65536 counts last 0.5 ms at 125 MHz


def _clock_hz(board: Board) -> int:
    clock = machine.freq()
    return clock if isinstance(clock, int) else board.clock_hz
