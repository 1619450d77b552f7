"""The one table of the wire: words, keys, ranges, codes.

Both ends and PROTOCOL.md are made from it; nothing about the wire is written
down twice. Pulses are integer nanoseconds, and the unit stands in the key.
"""

# Hosts and boards of different versions refuse each other. `hello` and `leave` keep their form in
# every version, so that a host can always put its own firmware on a board.
VERSION = 2

MAX_LINE_BYTES = 320  # with the newline; the longest request (steps, 16 pulses) takes 308
MAX_ID = 65535  # then 1 again; 0 is never used
ID_HALF = 32768  # ids up to this far ahead of the last one are newer
CRC_DIGITS = 8
MAX_DIGITS = 20  # enough for a 64-bit board id
BIGGEST = 18446744073709551615

CHANNELS = 8
STEPS = 16
MASK = 255
PULSE_LOW_NS = 300000  # no class reaches further down ...
PULSE_HIGH_NS = 2500000  # ... or up; what one servo may get is set per channel
FRAME_MARGIN_NS = 800000  # silence a pulse leaves in its frame; common practice, no source

# Number on the wire, name, lowest and highest pulse that any servo of the class may be given.
# Common practice, no source: makers' sheets give 500-2500 us as the widest travel of standard
# servos, and about 760 us as the centre of narrow-pulse ones.
CLASSES = (
    (1, "standard", 500000, 2500000),
    (2, "narrow", 300000, 1100000),
    (3, "custom", PULSE_LOW_NS, PULSE_HIGH_NS),  # whoever chooses it states the limits himself
)
SHAPES = ((1, "triangle"), (2, "smooth"))
BOARDS = (
    (1, "rp2040"),
    (2, "rp2350"),
    (3, "esp32"),
    (4, "generic"),
    (9, "simulated"),
)
REASONS = (
    (0, "unknown"),
    (1, "power"),
    (2, "button"),
    (3, "soft"),
    (4, "watchdog"),
    (5, "crash"),
    (6, "pins"),
)
MOTIONS = (
    (0, "off"),
    (1, "starting"),
    (2, "hold"),
    (3, "sweep"),
    (4, "steps"),
    (5, "stopping"),
    (6, "ramp"),
)
SETTINGS = ((0, "usual"), (1, "kept"), (2, "damaged"))
GUARDS = ((0, "clear"), (1, "held"), (2, "stopped"), (3, "rail"), (4, "button"))

# Number on the wire (0: never sent), name.
ERRORS = (
    (1, "grammar"),
    (2, "unknown_word"),
    (3, "unknown_key"),
    (4, "missing_key"),
    (5, "out_of_range"),
    (6, "wrong_version"),
    (7, "wrong_token"),
    (8, "old_id"),
    (9, "no_such_channel"),
    (10, "not_set_up"),
    (11, "channel_on"),
    (12, "below_limit"),
    (13, "above_limit"),
    (14, "class_limit"),
    (15, "wrong_order"),
    (16, "frame_too_short"),
    (17, "too_fast"),
    (18, "nothing_chosen"),
    (19, "not_in_mask"),
    (20, "rail_low"),
    (21, "not_kept"),
    (22, "not_holding"),
    (0, "too_long"),
    (0, "unprintable"),
    (0, "no_crc"),
    (0, "bad_crc"),
    (0, "not_integer"),
    (0, "no_greeting"),
    (0, "no_request"),
    (0, "odd_reply"),
)


class Field:
    """One key: the range of its value, whether it must be there, what it says."""

    def __init__(self, key: str, low: int, high: int, text: str, needed: bool = True):
        self.key = key
        self.low = low
        self.high = high
        self.text = text
        self.needed = needed


class Word:
    """One request with the fields of the request and of the reply to it."""

    def __init__(self, name: str, text: str, fields: tuple[Field, ...], reply: tuple[Field, ...]):
        self.name = name
        self.text = text
        self.fields = fields
        self.reply = reply


def _pulse(key: str, text: str, needed: bool = True) -> Field:
    return Field(key, PULSE_LOW_NS, PULSE_HIGH_NS, text, needed)


def _pulses(letter: str, first: int, last: int, text: str) -> tuple[Field, ...]:
    numbers = range(first, last + 1)
    return tuple([_pulse("%s%d_ns" % (letter, n), "%s %d" % (text, n), False) for n in numbers])


_TOKEN = Field("token", 1, 1073741823, "from the greeting")
_MASK = Field("mask", 1, MASK, "channels, bit 0 is channel 1")
_CH = Field("ch", 1, CHANNELS, "channel")
_CLASS = Field("class", 1, 3, "pulse class")
_FRAME = Field("frame_hz", 50, 333, "frames per second")
_RAMP = Field("ramp_ms", 1, 600000, "take so long; left out: as fast as the slew allows", False)
_LAG = Field("lag_ms", 0, 120000, "each next channel of mask follows so much later", False)
_SLEW = Field("slew_ns_per_ms", 10, 100000, "greatest change of pulse per millisecond")
_ON_MASK = Field("on_mask", 0, MASK, "channels that give pulses, or wait for their first")
_START = Field(
    "start_ms", 0, 3600000, "until the last first pulse is sent, at most; 0: all were on"
)
_SETTLE = Field("settle_ms", 0, 3600000, "until all are at their pulse, or the motion begins")
_RAIL = Field("rail_mv", 0, 60000, "voltage of the servo supply; 0: not measured")
_NONCE = Field("nonce", 1, 1073741823, "picked at random by the host, given back by the board")

GREETING = (
    Field("proto", 1, 999, "protocol version"),
    Field("fw", 0, 999999, "firmware version, major * 10000 + minor * 100 + patch"),
    Field("board", 0, 99, "kind of board"),
    Field("channels", 0, CHANNELS, "number of channels"),
    Field("tick_ps", 1, 100000000, "step of the pulse width at this frame rate, picoseconds"),
    _FRAME,
    Field("reason", 0, 99, "why the board last started"),
    _TOKEN,
    _NONCE,
    Field("board_id", 0, BIGGEST, "the board's own number"),
    Field("boots", 0, 1000000000, "starts so far; 0: not counted"),
    Field("settings", 0, 2, "where the settings come from"),
    Field("free_bytes", 0, 100000000, "free memory after the start; 0: not known"),
    _RAIL,
)


def _settings(needed: bool) -> tuple[Field, ...]:
    return (
        Field("frame_hz", 50, 333, "frames per second at the start", needed),
        Field("hold_ms", 200, 10000, "silence of the host: then motion stops", needed),
        Field("off_ms", 500, 60000, "then pulses stop; more than hold_ms", needed),
        Field("period_ms", 200, 120000, "the button's sweep, there and back", needed),
        Field("shape", 1, 2, "shape of that sweep", needed),
        Field("knob", 0, 1, "1: a knob is fitted", needed),
        Field(
            "rail_full_mv", 0, 60000, "supply at which the input reads full; 0: no divider", needed
        ),
        Field("rail_low_mv", 0, 60000, "supply below which pulses stop", needed),
    )


def _kept(least_class: int, needed: bool) -> tuple[Field, ...]:
    low = 0 if needed else PULSE_LOW_NS
    return (
        Field("class", least_class, 3, "pulse class; 0: the button leaves this channel alone"),
        Field("low_ns", low, PULSE_HIGH_NS, "low limit", needed),
        Field("high_ns", low, PULSE_HIGH_NS, "high limit", needed),
        Field("centre_ns", low, PULSE_HIGH_NS, "centre", needed),
        Field("slew_ns_per_ms", 0 if needed else 10, 100000, "greatest change per ms", needed),
    )


REFUSAL = (
    Field("code", 1, 99, "error"),
    Field("ch", 0, CHANNELS, "channel concerned; 0: none"),
    Field("field", 0, 99, "number of the key concerned; 0: none"),
    Field("value", -BIGGEST, BIGGEST, "the value refused"),
    Field("limit", -BIGGEST, BIGGEST, "the limit it met"),
)

# Tuples are joined by + below: MicroPython does not unpack in a display.
REQUESTS = (
    Word(
        "hello",
        "Begin. The reply is a greeting with a new token; every older token becomes void, and "
        "motion stops (pulses hold). What was set up for channels that are off is forgotten; "
        "times of silence return to the settings, and with every channel off the frame rate does "
        "so too. Needs no token.",
        (Field("proto", 1, 999, "protocol version"), _NONCE),
        GREETING,
    ),
    Word(
        "setup",
        "Say what servo hangs on a channel. Only while the channel is off; nothing is sent to it "
        "before.",
        (
            _TOKEN,
            _CH,
            _CLASS,
            _pulse("low_ns", "low limit"),
            _pulse("high_ns", "high limit"),
            _pulse("centre_ns", "centre"),
            _SLEW,
        ),
        (),
    ),
    Word(
        "hold",
        "Go to a pulse on each channel named and hold it. A channel that was off starts with "
        "that pulse.",
        (_TOKEN, _RAMP) + _pulses("p", 1, CHANNELS, "pulse, channel"),  # noqa: RUF005
        (_START, _SETTLE),
    ),
    Word("centre", "Go to centre and hold.", (_TOKEN, _MASK, _RAMP), (_START, _SETTLE)),
    Word(
        "sweep",
        "Run from low to high and back. Opposed channels run from high to low and back.",
        (
            _TOKEN,
            _MASK,
            Field("opposed_mask", 0, MASK, "those of mask that run the other way"),
            _pulse("low_ns", "lower end"),
            _pulse("high_ns", "upper end"),
            Field("period_ms", 200, 120000, "there and back"),
            Field("cycles", 0, 10000, "0: until told otherwise"),
            Field("shape", 1, 2, "shape of the motion"),
            _LAG,
        ),
        (_START, _SETTLE),
    ),
    Word(
        "steps",
        "Go through a list of pulses, waiting at each, and hold the last.",
        (  # noqa: RUF005
            _TOKEN,
            _MASK,
            Field("dwell_ms", 0, 600000, "wait at each pulse, after arriving"),
            _LAG,
            _pulse("s1_ns", "first pulse"),
        )
        + _pulses("s", 2, STEPS, "pulse"),
        (
            _START,
            _SETTLE,
            Field("lasts_ms", 0, 100000000, "until the wait at the last pulse ends"),
        ),
    ),
    Word(
        "freeze",
        "Stop where they are and hold; a channel that waits for its first pulse is put off.",
        (_TOKEN, _MASK),
        (_ON_MASK,),
    ),
    Word(
        "off",
        "Stop the pulses at the end of the frame.",
        (_TOKEN, _MASK),
        (Field("off_ms", 0, 1000, "until the pins are released; a busy board takes longer"),),
    ),
    Word(
        "frame",
        "Set the frame rate, with every channel off.",
        (_TOKEN, _FRAME),
        (Field("tick_ps", 1, 100000000, "step of the pulse width, picoseconds"),),
    ),
    Word(
        "silence",
        "Say how long the host may be silent before motion stops, and before pulses stop.",
        (
            _TOKEN,
            Field("hold_ms", 200, 10000, "then motion stops and pulses hold"),
            Field("off_ms", 500, 60000, "then pulses stop; more than hold_ms"),
        ),
        (),
    ),
    Word(
        "state",
        "Ask about one channel.",
        (_TOKEN, _CH),
        (
            Field("class", 0, 3, "pulse class; 0: not set up, then the pulses below are 0"),
            Field("on", 0, 1, "1: gives pulses"),
            Field("now_ns", 0, PULSE_HIGH_NS, "pulse that goes out now; 0: none"),
            Field("target_ns", 0, PULSE_HIGH_NS, "pulse it is on the way to; 0: none"),
            Field("low_ns", 0, PULSE_HIGH_NS, "low limit"),
            Field("high_ns", 0, PULSE_HIGH_NS, "high limit"),
            Field("centre_ns", 0, PULSE_HIGH_NS, "centre"),
            Field("slew_ns_per_ms", 0, 100000, "greatest change of pulse per millisecond"),
            Field("motion", 0, 6, "what the channel is doing"),
        ),
    ),
    Word(
        "beat",
        "Show that the host is there.",
        (_TOKEN,),
        (
            _ON_MASK,
            Field("moving_mask", 0, MASK, "channels whose pulse has still to change"),
            Field("guard", 0, 4, "the most that the guard did since the last beat"),
            Field("damaged", 0, 1000000000, "damaged lines since the board started"),
            _RAIL,
        ),
    ),
    Word(
        "measure",
        "Measure one pulse of a channel that holds, at the board's own measuring pin.",
        (_TOKEN, _CH),
        (
            Field("width_ns", 0, 100000000, "width of the pulse; 0: none came"),
            Field("step_ns", 1, 100000, "finest difference that the measuring pin can tell"),
        ),
    ),
    Word("settings", "Ask for the settings of the whole board.", (_TOKEN,), _settings(True)),
    Word(
        "change",
        "Keep these settings of the whole board, and begin to use them. Only while every channel "
        "is off.",
        (_TOKEN,) + _settings(False),  # noqa: RUF005
        (),
    ),
    Word(
        "kept",
        "Ask what the board uses for a channel when it is worked by its button.",
        (_TOKEN, _CH),
        _kept(0, True),
    ),
    Word(
        "keep",
        "Keep what the board uses for a channel when it is worked by its button. Only while every "
        "channel is off.",
        (_TOKEN, _CH) + _kept(0, False),  # noqa: RUF005
        (),
    ),
    Word(
        "usual",
        "Forget everything that was kept: back to the usual settings. Only while every channel "
        "is off.",
        (_TOKEN,),
        (),
    ),
    Word("quit", "End: every channel off, the token void.", (_TOKEN,), ()),
    Word(
        "leave",
        "End as by quit; then the board's program ends too, so that another can be put on the "
        "board. The port goes away for a moment. The program runs again from the next start on.",
        (_TOKEN,),
        (),
    ),
)


def _all_keys() -> tuple[str, ...]:
    keys: list[str] = []
    for word in REQUESTS:
        for field in word.fields:
            if field.key not in keys:
                keys.append(field.key)
    return tuple(keys)


KEYS = _all_keys()  # a refusal's `field` counts from 1 in this order


def word_named(name: str) -> Word | None:
    """Return the request of this name, or None."""
    for word in REQUESTS:
        if word.name == name:
            return word
    return None


def name_of(rows: tuple[tuple, ...], number: int) -> str:  # type: ignore[type-arg]
    """Return the name that stands for a number in one of the lists above, or ``unknown-N``."""
    for row in rows:
        if row[0] == number:
            return str(row[1])
    return "unknown-%d" % number


def number_of(rows: tuple[tuple, ...], name: str) -> int:  # type: ignore[type-arg]
    """Return the number that stands for a name in one of the lists above.

    Raises
    ------
    KeyError
        When the list has no such name.
    """
    for row in rows:
        if row[1] == name:
            return int(row[0])
    raise KeyError(name)
