"""The table of boards: pins, clock, and which pins may not be used together."""

from shared_protocol.table import BOARDS, number_of

TOP_MAX = 65534  # largest count per frame that the RP2 port of MicroPython uses


class Board:
    """One kind of board.

    Parameters
    ----------
    name : str
        As in the table of the wire.
    gpios : tuple of int
        Servo pins, channel 1 first.
    clock_hz : int
        Clock of the pulse counters.
    pwm_base : int
        Address of the pulse counters' registers; 0 where there are none.
    strap_gpio : int
        Pin that, tied to ground at start, keeps the program from running.
    """

    def __init__(
        self, name: str, gpios: tuple[int, ...], clock_hz: int, pwm_base: int, strap_gpio: int
    ):
        self.name = name
        self.number = number_of(BOARDS, name)
        self.gpios = gpios
        self.clock_hz = clock_hz
        self.pwm_base = pwm_base
        self.strap_gpio = strap_gpio


# Addresses: PWM_BASE in hardware/regs/addressmap.h of the maker's SDK, one file for each chip.
# The first eight pins are four whole counters, two pins each; no other pin shares them here.
TABLE = (
    Board("rp2040", (0, 1, 2, 3, 4, 5, 6, 7), 125000000, 0x40050000, 22),
    Board("rp2350", (0, 1, 2, 3, 4, 5, 6, 7), 150000000, 0x400A8000, 22),
    Board("simulated", (0, 1, 2, 3, 4, 5, 6, 7), 125000000, 0, 22),
)


def board_named(name: str) -> Board:
    """Return the row of a board.

    Raises
    ------
    ValueError
        When the table has no such board; the message lists those it has.
    """
    for board in TABLE:
        if board.name == name:
            return board
    names = ", ".join([board.name for board in TABLE])
    raise ValueError("no board %r in the table; there are: %s" % (name, names))


def board_from(machine_text: str) -> Board:
    """Return the board whose chip stands in the interpreter's description of its machine."""
    for board in TABLE:
        if board.name in machine_text.lower():
            return board
    return board_named("simulated")


def slice_of(gpio: int) -> int:
    """Return the pulse counter behind a pin of an RP2 chip."""
    return (gpio >> 1) & 7


def check_pins(gpios: tuple[int, ...]) -> None:
    """Refuse pins of an RP2 chip that share one output of one pulse counter.

    Raises
    ------
    ValueError
        Naming the two pins.
    """
    for n, gpio in enumerate(gpios):
        for other in gpios[:n]:
            if slice_of(gpio) == slice_of(other) and gpio & 1 == other & 1:
                raise ValueError(
                    "GP%d and GP%d are the same pulse output (slice %d, channel %s): use another "
                    "pin for one of them" % (other, gpio, slice_of(gpio), "AB"[gpio & 1])
                )


def rp2_tick_ps(clock_hz: int, frame_hz: int) -> int:
    """Return the step of the pulse width on an RP2 chip, in picoseconds.

    The divider is the smallest, in sixteenths, with which a frame still fits the counter: the
    choice that the RP2 port of MicroPython makes in ``ports/rp2/machine_pwm.c``.
    """
    steps = TOP_MAX * frame_hz
    div16 = max(16, (16 * clock_hz + steps - 1) // steps)
    return (div16 * 62500000000 + clock_hz // 2) // clock_hz
