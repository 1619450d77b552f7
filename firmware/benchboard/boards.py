"""The table of boards: pins, clock, how fine the pulses are, which pins cannot work together."""

from shared_protocol.table import BOARDS, CHANNELS, number_of

try:
    from typing import Any  # the board has no typing; nothing there looks at annotations
except ImportError:
    pass

TOP_MAX = 65534  # largest count per frame that the RP2 port of MicroPython uses
COUNTER_BYTES = 0x14  # CH1_CSR less CH0_CSR in hardware/regs/pwm.h of the RP2 maker's SDK
UNKNOWN_TICK_PS = 100000000  # the coarsest step that the wire can tell: hosts refuse it

# Pins that a chip has, and those of them that no servo may hang on.
# RP2: bank 0 of the RP2040 datasheet, section 1.4.3, and of the RP2350A; the two port's boards
# use GP23 to GP25 and GP29 for themselves, but other boards bring them out.
RP2_PINS = tuple(range(30))
# ESP32: GPIO page of the maker's ESP-IDF programming guide for the classic chip. GPIO34 to 39
# are inputs only, GPIO6 to 11 belong to the flash memory, GPIO1 and 3 are the serial port.
ESP32_PINS = tuple(range(20)) + (21, 22, 23, 25, 26, 27) + tuple(range(32, 40))  # noqa: RUF005
ESP32_NOT_OUT = (1, 3) + tuple(range(6, 12)) + tuple(range(34, 40))  # noqa: RUF005

# Chips of the ESP32 family whose pulse timers count 14 bits: SOC_LEDC_TIMER_BIT_WIDTH in
# soc_caps.h of ESP-IDF, one file for each chip; all others count 20.
ESP32_SHORT_TIMERS = ("esp32s2", "esp32s3", "esp32c2", "esp32c3")

PIN_KEYS = ("gpios", "button", "light", "knob", "rail", "probe", "bits")


class Board:
    """One kind of board.

    Parameters
    ----------
    name : str
        As in the table of the wire.
    family : str
        "rp2", "esp32", "other", or "none" for a simulated one: how its pulses are made.
    gpios : tuple of int
        Servo pins, channel 1 first.
    clock_hz : int
        Clock of the pulse counters; 0 where it does not set the step of the pulses.
    pwm_base : int
        Address of the pulse counters' registers; 0 where there are none.
    button_gpio : int or None
        Pin that the button joins to ground; tied to ground at start it keeps the program from
        running. None, here and below: not fitted.
    light : int, str or None
        Pin of the light, or the name that the port gives it.
    knob_gpio, rail_gpio : int or None
        Analogue inputs of the knob and of the supply divider.
    probe_gpio : int or None
        Pin that measures pulses.
    bits : int
        Where ``clock_hz`` is 0: a frame has 2**bits steps; 0: not known.
    """

    def __init__(
        self,
        name: str,
        family: str,
        gpios: tuple[int, ...],
        clock_hz: int,
        pwm_base: int,
        button_gpio: int | None,
        light: int | str | None,
        knob_gpio: int | None,
        rail_gpio: int | None,
        probe_gpio: int | None,
        bits: int = 0,
    ):
        self.name = name
        self.number = number_of(BOARDS, name)
        self.family = family
        self.gpios = gpios
        self.clock_hz = clock_hz
        self.pwm_base = pwm_base
        self.button_gpio = button_gpio
        self.light = light
        self.knob_gpio = knob_gpio
        self.rail_gpio = rail_gpio
        self.probe_gpio = probe_gpio
        self.bits = bits

    def tick_ps(self, frame_hz: int, clock_hz: int = 0) -> int:
        """Return the step of the pulse width in picoseconds.

        Parameters
        ----------
        frame_hz : int
            Frames per second.
        clock_hz : int
            Clock that the chip says it runs at; 0: as in the table.
        """
        if self.clock_hz:
            return rp2_tick_ps(clock_hz or self.clock_hz, frame_hz)
        if not self.bits:
            return UNKNOWN_TICK_PS
        steps = frame_hz << self.bits
        return (1000000000000 + steps // 2) // steps


EIGHT = (0, 1, 2, 3, 4, 5, 6, 7)
# Addresses: PWM_BASE in hardware/regs/addressmap.h of the RP2 maker's SDK, one file for each chip.
# Its first eight pins are four whole counters, two pins each; no other pin of these rows is on
# one of those counters except the measuring pin, which is only read. GP26 and GP27 are analogue.
# On the ESP32 the servo pins are outputs that no strapping, flash memory or serial port uses;
# GPIO32 to 39 are the analogue inputs that also work beside its radio. 16 bits: its port limits
# the resolution to those of `duty_u16` (find_suitable_duty_resolution in machine_pwm.c).
TABLE = (
    Board("rp2040", "rp2", EIGHT, 125000000, 0x40050000, 22, "LED", 26, 27, 16),
    Board("rp2350", "rp2", EIGHT, 150000000, 0x400A8000, 22, "LED", 26, 27, 16),
    Board("esp32", "esp32", (18, 19, 21, 22, 23, 25, 26, 27), 0, 0, 13, 2, 34, 35, 32, 16),
    Board("generic", "other", (), 0, 0, None, None, None, None, None),
    Board("simulated", "none", EIGHT, 125000000, 0, 22, "LED", 26, 27, 16),
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


def board_from(machine_text: str, platform: str) -> Board:
    """Return the board on which the interpreter runs.

    Parameters
    ----------
    machine_text : str
        The interpreter's description of its machine; the last word is the chip. The whole word
        counts: an ESP32S3 has other pins than an ESP32.
    platform : str
        The port of the interpreter.
    """
    if platform in ("linux", "darwin", "win32"):
        return board_named("simulated")
    chip = machine_text.lower().split(" ")[-1]
    for board in TABLE:
        # An RP2350 may carry its kind of core behind a hyphen; its pins are the same.
        if chip == board.name or (board.family == "rp2" and chip.startswith(board.name + "-")):
            return board
    row = board_named("generic")
    if platform != "esp32":
        return row
    # Another chip of that family: its pins are for the user to say, but the pulses are known.
    # The port leaves out the last bit of a timer that it would fill.
    bits = 13 if "".join(chip.split("-")) in ESP32_SHORT_TIMERS else 16
    return Board(row.name, "esp32", (), 0, 0, None, None, None, None, None, bits)


def with_pins(board: Board, pins: "dict[str, Any]") -> Board:
    """Return a board with pins of the user's choice; what he leaves out stays as in the table.

    Parameters
    ----------
    pins : dict
        ``gpios``, a list of servo pins, channel 1 first; ``button``, ``light``, ``knob``,
        ``rail``, ``probe``, each a pin or None; ``bits``, how many bits the port's pulse widths
        have, for boards that the table does not know.

    Raises
    ------
    ValueError
        When a key or a value is not of that form.
    """
    if not isinstance(pins, dict):
        raise ValueError("the list of pins is not an object of names and pins")
    for key in pins:
        if key not in PIN_KEYS:
            raise ValueError("%r is no pin; there are: %s" % (key, ", ".join(PIN_KEYS)))
    gpios = pins.get("gpios", board.gpios)
    if not isinstance(gpios, (list, tuple)) or len(gpios) > CHANNELS:
        raise ValueError("gpios: a list of at most %d servo pins, not %r" % (CHANNELS, gpios))
    for gpio in gpios:
        _need_pin("gpios", gpio)
    light = pins.get("light", board.light)
    if not isinstance(light, str):
        light = _pin_of(pins, "light", light)
    bits = pins.get("bits", board.bits)
    if not isinstance(bits, int) or isinstance(bits, bool) or not 0 <= bits <= 20:
        raise ValueError("bits: 0 to 20, not %r" % (bits,))
    return Board(
        board.name,
        board.family,
        tuple(gpios),
        board.clock_hz,
        board.pwm_base,
        _pin_of(pins, "button", board.button_gpio),
        light,
        _pin_of(pins, "knob", board.knob_gpio),
        _pin_of(pins, "rail", board.rail_gpio),
        _pin_of(pins, "probe", board.probe_gpio),
        bits,
    )


def without_channels(board: Board) -> Board:
    """Return a board that can do nothing but tell so: only its button is left."""
    nothing = {"gpios": (), "light": None, "knob": None, "rail": None, "probe": None}
    return with_pins(board, nothing)


def check_pins(board: Board) -> None:
    """Refuse pins that a board does not have, or that cannot work together.

    Raises
    ------
    ValueError
        Naming the pins.
    """
    if not board.gpios:
        raise ValueError('no servo pins: name them in pins.json, for instance {"gpios": [2, 3]}')
    used: list[tuple[int, str]] = []
    for n, gpio in enumerate(board.gpios):
        _take(board, used, gpio, "channel %d" % (n + 1))
        if board.name == "esp32" and gpio in ESP32_NOT_OUT:
            raise ValueError(
                "GPIO%d of an ESP32 cannot drive a servo: it is an input, or belongs to the "
                "flash memory or the serial port; use another pin for channel %d" % (gpio, n + 1)
            )
        for other in board.gpios[:n]:
            if board.family in ("rp2", "none") and _output_of(gpio) == _output_of(other):
                raise ValueError(
                    "GP%d and GP%d are the same pulse output (slice %d, channel %s): use another "
                    "pin for one of them" % (other, gpio, slice_of(gpio), "AB"[gpio & 1])
                )
    for name, pin in (
        ("button", board.button_gpio),
        ("light", board.light),
        ("knob", board.knob_gpio),
        ("rail", board.rail_gpio),
        ("probe", board.probe_gpio),
    ):
        if isinstance(pin, int):
            _take(board, used, pin, name)
            if name in ("knob", "rail") and board.family == "rp2" and pin not in (26, 27, 28, 29):
                raise ValueError("GP%d is not analogue: %s needs GP26 to GP28" % (pin, name))


def slice_of(gpio: int) -> int:
    """Return the pulse counter behind a pin of an RP2 chip.

    Source: RP2040 datasheet, section 4.5.2; the same for the first 32 pins of an RP2350.
    """
    return (gpio >> 1) & 7


def counter_of(board: Board, gpio: int) -> int:
    """Return the address of the registers of the pulse counter behind a pin of an RP2 board."""
    return board.pwm_base + COUNTER_BYTES * slice_of(gpio)


def rp2_tick_ps(clock_hz: int, frame_hz: int) -> int:
    """Return the step of the pulse width on an RP2 chip, in picoseconds.

    The divider is the smallest, in sixteenths, with which a frame still fits the counter: the
    choice that the RP2 port of MicroPython makes in ``ports/rp2/machine_pwm.c``.
    """
    steps = TOP_MAX * frame_hz
    div16 = max(16, (16 * clock_hz + steps - 1) // steps)
    return (div16 * 62500000000 + clock_hz // 2) // clock_hz


def _output_of(gpio: int) -> tuple[int, int]:
    return (slice_of(gpio), gpio & 1)


def _pin_of(pins: "dict[str, Any]", key: str, usual: "Any") -> "Any":
    pin = pins.get(key, usual)
    if pin is not None:
        _need_pin(key, pin)
    return pin


def _need_pin(key: str, pin: "Any") -> None:
    if not isinstance(pin, int) or isinstance(pin, bool) or pin < 0:
        raise ValueError("%s: a pin is a number from 0, not %r" % (key, pin))


def _take(board: Board, used: list[tuple[int, str]], pin: int, name: str) -> None:
    for other, user in used:
        if other == pin:
            raise ValueError("pin %d is used twice, for %s and for %s" % (pin, user, name))
    there = ESP32_PINS if board.name == "esp32" else RP2_PINS
    if board.family != "other" and board.name != "generic" and pin not in there:
        raise ValueError("a board with an %s has no pin %d (%s)" % (board.name, pin, name))
    used.append((pin, name))
