"""Why a program on an RP2 chip starts, from what the chip's registers still say."""

import machine

from .boards import Board, counter_of

# WATCHDOG_REASON in hardware/regs/watchdog.h of the maker's SDK: bit 0 the timer ran out, bit 1
# a program forced it. Addresses: WATCHDOG_BASE in hardware/regs/addressmap.h, and 8.
_REASON = {"rp2040": 0x40058008, "rp2350": 0x400D8008}
_FORCED = 2
_DIVIDER = 0x04  # CH0_DIV in hardware/regs/pwm.h
_AFTER_RESET = 0x10  # sixteenths: divided by one


def was_asked_for(board: Board) -> bool:
    """Return whether a program started this one, with a reset or without.

    The port of MicroPython cannot tell: it names the watchdog after every reset that a program
    orders, and after a start without a reset it names the cause of the last one.
    """
    if machine.mem32[_REASON[board.name]] & _FORCED:
        return True
    # A program that made pulses before has left dividers other than one: at 50 to 333 frames per
    # second they always are.
    for gpio in board.gpios:
        if machine.mem32[counter_of(board, gpio) + _DIVIDER] != _AFTER_RESET:
            return True
    return False
