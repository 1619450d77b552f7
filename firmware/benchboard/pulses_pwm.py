"""The output contract on ``machine.PWM``, for any board that has it.

A pin belongs to the pulse hardware only while its channel gives pulses: it is handed over with
the width at zero, and taken back as a plain low output a frame after the width has become zero
again. Nothing is stopped in mid-pulse.
"""

from time import sleep_ms, sleep_us  # type: ignore[attr-defined]

import machine

from shared_protocol.table import FRAME_MARGIN_NS, PULSE_HIGH_NS, PULSE_LOW_NS

from .boards import Board, check_pins
from .pulses import Outputs

try:
    from typing import Any  # the board has no typing; nothing there looks at annotations
except ImportError:
    pass

_LONGEST_US = 2600  # a little more than the longest pulse
_LOOK_US = 10


def pins_low(board: Board) -> "list[Any]":
    """Make every servo pin a low output; return them."""
    return [machine.Pin(gpio, machine.Pin.OUT, value=0) for gpio in board.gpios]


class PwmOutputs(Outputs):
    """Outputs of a board whose pins have pulses of their own, at one common frame rate.

    Parameters
    ----------
    board : Board
        Row of the table of boards; every servo pin becomes a low output before anything else.
    frame_hz : int
        Frames per second.

    Raises
    ------
    ValueError
        When the pins cannot work together; the message names them.
    """

    # Some chips put a width to use a frame later than asked for (esp-idf issue 7288, which
    # machine_pwm.c of the ESP32 port cites), so zero is waited for one frame longer.
    stop_frames = 2

    def __init__(self, board: Board, frame_hz: int = 50):
        if board.gpios:
            check_pins(board)
        self._board = board
        self._pins = pins_low(board)
        self._pwms: list[Any] = [None] * len(self._pins)
        self.frame_hz = frame_hz

    def pulse(self, index: int, pulse_ns: int) -> None:
        """Send this pulse from the next frame on.

        Raises
        ------
        RuntimeError
            When no servo may ever get it, or it does not fit in a frame: a fault in the program.
        """
        _permit(index, pulse_ns, self.frame_hz)
        if self._pwms[index] is None:
            self._pwms[index] = self._take(index)
        self._pwms[index].duty_ns(pulse_ns)

    def silence(self, index: int) -> None:
        """Send no more pulses after the present frame."""
        self._pwms[index].duty_ns(0)

    def release(self, index: int) -> None:
        """Make the pin a low output."""
        try:
            if self._pwms[index] is not None:
                self._wait_low(index)
                self._give_back(index)
        finally:
            self._pwms[index] = None
            self._pins[index].init(machine.Pin.OUT, value=0)

    def set_frame(self, frame_hz: int) -> None:
        """Set the frame rate of all channels."""
        self.frame_hz = frame_hz  # each channel takes it up when it starts

    def tick_ps(self) -> int:
        """Return the step of the pulse width, from the chip's own clock where that sets it."""
        clock = machine.freq()
        return self._board.tick_ps(self.frame_hz, clock if isinstance(clock, int) else 0)

    def close(self) -> None:
        """End all pulses with the present frame, wait for that, leave all pins low.

        One output that fails does not keep the others from being stopped.
        """
        failed = None
        for index in range(len(self._pins)):
            try:
                if self._pwms[index] is not None:
                    self.silence(index)
            except Exception as error:
                failed = error
        sleep_ms(self.stop_frames * -(-1000 // self.frame_hz) + 2)
        for index in range(len(self._pins)):
            try:
                self.release(index)
            except Exception as error:
                failed = error
        if failed is not None:
            raise failed

    def _take(self, index: int) -> "Any":
        # Zero as duty_u16: the ESP32 port does not take duty_ns before the frequency is set.
        return machine.PWM(self._pins[index], freq=self.frame_hz, duty_u16=0)

    def _wait_low(self, index: int) -> None:
        # The level is looked at as well: where zero takes longer than thought, the last pulse is
        # waited for, which is short.
        for _ in range(_LONGEST_US // _LOOK_US):
            if not self._pins[index].value():
                return
            sleep_us(_LOOK_US)

    def _give_back(self, index: int) -> None:
        if self._board.family == "esp32":
            # Its output then rests low, and the next start attaches the pin anew. Elsewhere it
            # may stop neighbours that share a counter, and the pin is simply taken away.
            self._pwms[index].deinit()


def _permit(index: int, pulse_ns: int, frame_hz: int) -> None:
    # The last look before the hardware, whatever channels and limits say.
    room_ns = 1000000000 // frame_hz - FRAME_MARGIN_NS
    if not PULSE_LOW_NS <= pulse_ns <= PULSE_HIGH_NS or pulse_ns > room_ns:
        raise RuntimeError(
            "output %d: a pulse of %d ns is outside %d to %d ns, or does not fit in a frame at "
            "%d Hz" % (index + 1, pulse_ns, PULSE_LOW_NS, PULSE_HIGH_NS, frame_hz)
        )
