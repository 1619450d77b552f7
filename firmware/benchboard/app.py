"""The loop round the core: pins, ports, clock, crash, watchdog.

A plain loop, no tasks: every turn takes what came in, lets the motion follow the
clock, and sends what can go at once. Nothing in it waits for the host.
"""

import gc
import os
import sys
from time import sleep_ms, ticks_diff, ticks_ms, ticks_us  # type: ignore[attr-defined]

import machine
import micropython

from .boards import Board, board_from, check_pins, with_pins, without_channels
from .core import Core
from .fittings import Fittings
from .fittings_pins import PinFittings, button_of
from .link_usb import Link
from .pulses import Outputs
from .pulses_pwm import PwmOutputs, pins_low
from .settings import Settings, load, save
from .starts import ask_to_stay_out, count_start, note_crash, own_pins, told_to_stay_out

WATCHDOG_MS = 4000  # at most 8388 on RP2040
CRASH_PAUSE_MS = 100  # doubled with every fault that comes back at once ...
CRASH_PAUSE_MOST_MS = 3000  # ... up to what the watchdog allows
SOUND_MS = 10000  # a fault after so long is a new one
FAULTS_NOTED = 3  # of a row

# The ESP32 port before this one sends half a frame's pulse when it attaches a pin (50 % in
# configure_channel of machine_pwm.c until pull request 10854 of micropython/micropython). That
# the change came with this release is from memory.
ESP32_NEEDS = (1, 26)


def start() -> None:
    """Run the board, unless its button is held down or the last `leave` asked to stay out."""
    row = board_from(getattr(sys.implementation, "_machine", ""), sys.platform)
    start_on(row)


def start_on(row: Board) -> None:
    """Run a board of this kind, with the user's own pins if there are any.

    Every servo pin is a low output before anything else is done.
    """
    try:
        board = with_pins(row, own_pins())
        check_pins(board)
        pins_low(board)
        fittings: Fittings = PinFittings(board)
        reason = start_reason(board)
    except Exception as error:  # ports differ in what they raise
        # A pin that cannot be what its list says: nothing must come out of any.
        note_crash(error)
        board, fittings, reason = without_channels(row), Fittings(), "pins"
    if is_held(board) or told_to_stay_out():
        return
    if board.family == "esp32" and sys.implementation.version[:2] < ESP32_NEEDS:
        print("The servos need MicroPython %d.%d or newer on this board." % ESP32_NEEDS)  # noqa: T201
        return
    settings = load()
    outputs = outputs_of(board, settings.frame_hz)
    # Once started the watchdog cannot be stopped, so it is started last.
    watchdog = watchdog_of_this_port()
    micropython.kbd_intr(-1)  # byte 3 is data here, and damages only its own line
    try:
        if run(board, reason, outputs, fittings, settings, Link(), watchdog):
            ask_to_stay_out()
            machine.reset()
    finally:
        micropython.kbd_intr(3)


def outputs_of(board: Board, frame_hz: int) -> Outputs:
    """Return what makes the pulses of this kind of board."""
    if board.family == "rp2":
        from .pulses_rp2 import Rp2Outputs  # other boards need not load it

        return Rp2Outputs(board, frame_hz)
    return PwmOutputs(board, frame_hz)


def run(
    board: Board,
    reason: str,
    outputs: Outputs,
    fittings: Fittings,
    settings: Settings,
    link: Link,
    watchdog: "machine.WDT",
) -> bool:
    """Serve hosts until one says `leave` (then True) or the port is closed (then False).

    A fault ends all pulses; the core then begins again and names the crash in its greeting.
    Whatever ends this, an interruption too, ends all pulses.
    """
    faults = 0
    while True:
        began_ms = ticks_ms()
        # A fault that comes back at once must not wear out the store.
        if faults < FAULTS_NOTED:
            boots = count_start()
        gc.collect()
        core = Core(
            outputs,
            board,
            new_token,
            reason=reason,
            boots=boots,
            board_id=board_id(),
            now_us=ticks_us(),
            fittings=fittings,
            settings=settings,
            keep=save,
            free_bytes=gc.mem_free(),  # type: ignore[attr-defined]
        )
        try:
            serve(core, link, watchdog)
            return core.leaving
        except Exception as error:
            crash = error
        finally:
            outputs.close()
            fittings.light(False)
        reason = "crash"
        faults = faults + 1 if ticks_diff(ticks_ms(), began_ms) < SOUND_MS else 1
        if faults <= FAULTS_NOTED:
            note_crash(crash)
        settings = load()
        watchdog.feed()
        sleep_ms(min(CRASH_PAUSE_MS << faults, CRASH_PAUSE_MOST_MS))
        watchdog.feed()


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


def is_held(board: Board) -> bool:
    """Return whether the button is down, or its pin tied to ground."""
    button = button_of(board)
    return button is not None and button.value() == 0


def watchdog_of_this_port() -> "machine.WDT":
    """Start the watchdog; where its time cannot be chosen, with the port's own."""
    try:
        return machine.WDT(timeout=WATCHDOG_MS)
    except (TypeError, ValueError):
        return machine.WDT()


def start_reason(board: Board) -> str:
    """Return why the program starts, as far as the chip can tell."""
    if board.family == "rp2":
        from .resets_rp2 import was_asked_for

        if was_asked_for(board):
            return "soft"
    cause = machine.reset_cause()
    for name, reason in (
        ("PWRON_RESET", "power"),
        ("WDT_RESET", "watchdog"),
        ("SOFT_RESET", "soft"),
    ):
        if cause == getattr(machine, name, None):
            return reason
    return "unknown"


def board_id() -> int:
    """Return the chip's own number."""
    return int.from_bytes(machine.unique_id(), "big")


def new_token() -> int:
    """Return a random number that the wire accepts as a token."""
    return int.from_bytes(os.urandom(4), "big") % 1073741823 + 1
