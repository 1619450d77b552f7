"""The output contract on the pulse counters of an RP2 chip.

Two pins share a counter. All counters run all the time at the frame rate with their widths at
zero; a channel starts by routing its pin to the counter and giving it a width, which counts
from the next frame. It stops by width zero and, a frame later, by making the pin a low output
again. A counter is never stopped, which would leave a pin high in mid-pulse, and its frequency
is set only while none of its pins is routed to it.
"""

from time import sleep_ms  # type: ignore[attr-defined]

import machine

from .boards import Board, counter_of, slice_of
from .pulses_pwm import PwmOutputs

try:
    from typing import Any  # the board has no typing; nothing there looks at annotations
except ImportError:
    pass

# Registers of one pulse counter: CH0_CSR, CH0_DIV, CH0_CC and CH0_TOP in hardware/regs/pwm.h of
# the maker's SDK, alike for both chips.
_ENABLE = 0x00
_DIVIDER = 0x04
_WIDTHS = 0x0C
_TOP = 0x10
_DIVIDE_BY_ONE = 0x10  # sixteenths


class Rp2Outputs(PwmOutputs):
    """Outputs of an RP2 board; parameters and errors as for ``PwmOutputs``."""

    stop_frames = 1

    def __init__(self, board: Board, frame_hz: int = 50):
        super().__init__(board, frame_hz)
        self._counters: list[Any] = []
        self._flush()
        for index, pin in enumerate(self._pins):
            self._counters.append(machine.PWM(pin, freq=frame_hz, duty_ns=0))
            self.release(index)

    def set_frame(self, frame_hz: int) -> None:
        """Set the frame rate of all counters."""
        done = set()
        for index, gpio in enumerate(self._board.gpios):
            if slice_of(gpio) not in done:
                done.add(slice_of(gpio))
                self._counters[index].freq(frame_hz)
        self.frame_hz = frame_hz

    def _take(self, index: int) -> "Any":
        # The width is zero and the counter runs: the pin stays low until the next frame.
        return machine.PWM(self._pins[index])

    def _give_back(self, index: int) -> None:
        pass  # the counter goes on, at width zero

    def _flush(self) -> None:
        # After a start without a reset a counter may still hold the width it had, or have been
        # stopped while its output was high; a pin routed to it would show that. So each runs once
        # round with zero width first, at full speed, with no pin on it.
        for gpio in self._board.gpios:
            counter = counter_of(self._board, gpio)
            machine.mem32[counter + _WIDTHS] = 0
            machine.mem32[counter + _DIVIDER] = _DIVIDE_BY_ONE
            machine.mem32[counter + _TOP] = 0xFFFF
            machine.mem32[counter + _ENABLE] = 1
        sleep_ms(2)  # 65536 counts last 0.5 ms at 125 MHz
