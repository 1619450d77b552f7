"""The loop round the core: ports, clock, crash, watchdog.

A plain loop, no tasks: every turn takes what came in, lets the motion follow the
clock, and sends what can go at once. Nothing in it waits for the host.
"""

import os
import sys
from time import sleep_ms, ticks_us  # type: ignore[attr-defined]

import machine
import micropython

from .boards import Board, board_from
from .core import Core
from .link_usb import Link
from .pulses import Outputs
from .pulses_pwm import PwmOutputs
from .starts import ask_to_stay_out, count_start, note_crash, told_to_stay_out

WATCHDOG_MS = 4000  # at most 8388 on RP2040
CRASH_PAUSE_MS = 200  # a fault that comes back at once does not fill all the time


def start() -> None:
    """Run the board, unless its strap is tied to ground or the last `leave` asked to stay out."""
    board = board_from(getattr(sys.implementation, "_machine", ""))
    strap = machine.Pin(board.strap_gpio, machine.Pin.IN, machine.Pin.PULL_UP)
    outputs = PwmOutputs(board)
    if strap.value() == 0 or told_to_stay_out():
        return
    # Once started the watchdog cannot be stopped, so it is started last.
    watchdog = machine.WDT(timeout=WATCHDOG_MS)
    micropython.kbd_intr(-1)  # byte 3 is data here, and damages only its own line
    try:
        if run(board, outputs, Link(), watchdog):
            ask_to_stay_out()
            machine.reset()
    finally:
        micropython.kbd_intr(3)


def run(board: Board, outputs: Outputs, link: Link, watchdog: "machine.WDT") -> bool:
    """Serve hosts until one says `leave` (then True) or the port is closed (then False).

    A fault ends all pulses; the core then begins again and names the crash in its greeting.
    """
    reason = start_reason()
    while True:
        boots = count_start()
        core = Core(outputs, board, new_token, reason, boots, board_id(), ticks_us())
        try:
            serve(core, link, watchdog)
            return core.leaving
        except Exception as error:
            crash = error
        finally:
            outputs.close()
        reason = "crash"
        note_crash(crash)
        watchdog.feed()
        sleep_ms(CRASH_PAUSE_MS)


def serve(core: Core, link: Link, watchdog: "machine.WDT") -> None:
    """Go round until the port is closed, or a `leave` has been answered."""
    while not link.closed:
        watchdog.feed()
        data = link.read()
        if data:
            link.write(core.feed(data, ticks_us()))
        else:
            core.tick(ticks_us())
            link.send()
        if core.leaving and link.drained():
            return
    for _ in range(64):  # the other end may still read what was answered last
        link.send()


def start_reason() -> str:
    """Return why the chip last started, as far as it can tell."""
    cause = machine.reset_cause()
    for name, reason in (("PWRON_RESET", "power"), ("WDT_RESET", "watchdog")):
        if cause == getattr(machine, name, None):
            return reason
    return "unknown"


def board_id() -> int:
    """Return the chip's own number."""
    return int.from_bytes(machine.unique_id(), "big")


def new_token() -> int:
    """Return a random number that the wire accepts as a token."""
    return int.from_bytes(os.urandom(4), "big") % 1073741823 + 1
