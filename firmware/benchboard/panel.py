"""The board worked by its button, without a computer: one button, one light, perhaps a knob.

A short press goes on: from off to centre, to sweep, to knob where one is fitted, and to centre
again. A long press ends all pulses. The servos are those that the settings name, with the limits
kept there; first pulses, slew and supply are guarded as for a computer.

Everything here is called from the tick and takes no heap, except ``use``.
"""

from shared_protocol.table import SHAPES, number_of

from .bank import Bank
from .channels import Channel
from .fittings import FULL, Fittings
from .guard import Rail
from .motions import ONE, Sweep, between, shortest_period_ms
from .settings import Settings

OFF, CENTRE, SWEEP, KNOB, HOST, FAULT = 0, 1, 2, 3, 4, 5  # rows of the next table
# What the light says: name, milliseconds on and off by turns, text. No pattern flashes more than
# five times a second.
LIGHTS = (
    ("resting", (60, 1940), "a short flash every two seconds: no pulses, the button is obeyed"),
    ("centre", (1000, 0), "steady: every servo is at its centre, or on the way to it"),
    ("sweep", (200, 200, 200, 900), "two flashes, pause: the servos sweep"),
    ("knob", (200, 200, 200, 200, 200, 900), "three flashes, pause: the servos follow the knob"),
    ("computer", (1800, 200), "on, with a short gap every two seconds: a computer has the word"),
    (
        "fault",
        (120, 120),
        "quick even flashing: the supply is too low, the settings or the list of pins are "
        "damaged, no channel may be worked by the button, or the program failed and began again",
    ),
)

DEBOUNCE_MS = 20
LONG_MS = 1000
KNOB_EVERY_MS = 5
KNOB_SLACK = 128  # of 65535: less than this is noise, and a resting knob gives a resting pulse
KNOB_EDGE = 512  # of 65535: inputs do not quite reach their ends, the servo shall
SMOOTH = number_of(SHAPES, "smooth")

NOTHING, DOWN, SHORT, LONG = 0, 1, 2, 3  # what the button says; the last two ask something


class Panel:
    """Button, light and knob as a state machine over the channels.

    Attributes
    ----------
    state : int
        ``OFF``, ``CENTRE``, ``SWEEP`` or ``KNOB``; ``OFF`` while a computer has the word.
    """

    def __init__(self, bank: Bank, rail: Rail, fittings: Fittings, settings: Settings):
        self.state = OFF
        self._bank = bank
        self._rail = rail
        self._fittings = fittings
        self._button = Button()
        self._knob = Knob(fittings)
        self._light = Light(fittings)
        self._complaining = False
        self.use(settings)

    def use(self, settings: Settings) -> None:
        """Work by these settings; every channel must be at rest."""
        self._settings = settings
        self._damaged = settings.source == "damaged"
        self._smooth = settings.shape == SMOOTH
        self._worked = [
            channel
            for channel in self._bank.channels
            if settings.channels[channel.number - 1].pulse_class
        ]
        self._sweeps = [Sweep(0, 0, 2, 0, False, 0) for _ in self._worked]

    def complain(self) -> None:
        """Show a fault until the button is pressed, or a computer has the word."""
        self._complaining = True

    def leave(self) -> None:
        """Leave the channels to a computer, as they are."""
        self.state = OFF
        self._complaining = False

    def end(self) -> None:
        """End all pulses."""
        self.state = OFF
        self._bank.stop(255)

    def was_pressed(self, ms: int) -> bool:
        """Let time pass; return whether the button went down. Nothing else comes of it."""
        if self._button.advance(ms, self._fittings.pressed()) != DOWN:
            return False
        self._button.spend()
        return True

    def advance(self, ms: int) -> bool:
        """Let time pass and do what the button asks; return whether it asked anything."""
        said = self._button.advance(ms, self._fittings.pressed())
        if said == LONG:
            self._complaining = False
            self.end()
        elif said == SHORT:
            if self._complaining or not self._worked:
                self._complaining = not self._worked  # this press only takes note of the fault
            else:
                self._go_on()
        elif self.state == KNOB and self._knob.advance(ms):
            self._follow()
        return said >= SHORT

    def show(self, ms: int, host: bool) -> None:
        """Let time pass for the light."""
        row = self.state
        if self._rail.low:
            row = FAULT
        elif host:
            row = HOST
        elif row == OFF and (self._complaining or self._damaged):
            row = FAULT
        self._light.advance(ms, row)

    def _go_on(self) -> None:
        if self.state == OFF:
            self._start()
        elif self.state == CENTRE:
            self._sweep()
        elif self.state == SWEEP and self._settings.knob and self._fittings.has_knob:
            self.state = KNOB
            self._knob.begin()
            self._follow()
        else:
            self._centre()

    def _start(self) -> None:
        if self._rail.low or not self._bank.at_rest():
            return
        for channel in self._bank.channels:
            kept = self._settings.channels[channel.number - 1]
            channel.set_up(
                kept.pulse_class, kept.low_ns, kept.high_ns, kept.centre_ns, kept.slew_ns_per_ms
            )
        self._bank.set_frame(self._settings.frame_hz)
        self._centre()

    def _centre(self) -> None:
        self.state = CENTRE
        for channel in self._worked:
            channel.aim(channel.centre_ns, None)

    def _sweep(self) -> None:
        self.state = SWEEP
        # All keep one time, that of the slowest, and begin when all are at their lower end.
        period_ms = self._settings.period_ms
        wait_ms = self._bank.start_ms(self._worked)
        for channel in self._worked:
            span_ns = channel.high_ns - channel.low_ns
            least_ms = shortest_period_ms(span_ns, self._smooth, channel.slew_ns_per_ms)
            period_ms = max(period_ms, least_ms)
            wait_ms = max(wait_ms, channel.way_ms(channel.low_ns))
        for n in range(len(self._worked)):
            channel, sweep = self._worked[n], self._sweeps[n]
            sweep.begin(channel.low_ns, channel.high_ns, period_ms, 0, self._smooth, wait_ms)
            channel.aim(channel.low_ns, sweep)

    def _follow(self) -> None:
        for channel in self._worked:
            channel.aim(knob_ns(channel, self._knob.position), None)


class Button:
    """Tells presses from bounces, and long ones from short ones.

    A button that is down when the board starts says nothing until it was released.
    """

    def __init__(self) -> None:
        self._down = True
        self._spent = True
        self._other_ms = 0
        self._held_ms = 0

    def spend(self) -> None:
        """Let nothing more come of this press."""
        self._spent = True

    def advance(self, ms: int, pressed: bool) -> int:
        """Move the time on; return ``DOWN``, ``SHORT`` (at its end), ``LONG`` or ``NOTHING``."""
        if pressed == self._down:
            self._other_ms = 0
            return self._hold(ms)
        # After a stall one look is not enough to tell a press from a bounce.
        self._other_ms += min(ms, DEBOUNCE_MS // 2)
        if self._other_ms < DEBOUNCE_MS:
            return NOTHING
        self._other_ms = 0
        self._down = pressed
        if pressed:
            self._spent = False
            self._held_ms = 0
            return DOWN
        return NOTHING if self._spent else SHORT

    def _hold(self, ms: int) -> int:
        if self._spent or not self._down:
            return NOTHING
        self._held_ms += ms
        if self._held_ms < LONG_MS:
            return NOTHING
        self._spent = True
        return LONG


class Knob:
    """Where a knob stands: smoothed, and at rest while the knob is.

    Attributes
    ----------
    position : int
        0 to twice ``motions.ONE``; ``ONE`` is the middle.
    """

    def __init__(self, fittings: Fittings):
        self.position = 0
        self._fittings = fittings
        self._since_ms = 0
        self._smooth = 0
        self._shown = 0

    def begin(self) -> None:
        """Take a first reading."""
        reading = self._fittings.knob()
        self._smooth = reading << 8
        self._show(reading)

    def advance(self, ms: int) -> bool:
        """Move the time on; return whether the position has changed."""
        self._since_ms += ms
        if self._since_ms < KNOB_EVERY_MS:
            return False
        self._since_ms = 0
        self._smooth += ((self._fittings.knob() << 8) - self._smooth) >> 4
        smooth = self._smooth >> 8
        if abs(smooth - self._shown) < KNOB_SLACK:
            return False
        self._show(smooth)
        return True

    def _show(self, reading: int) -> None:
        self._shown = reading
        # in quarters, so that the product stays a small int
        whole = (FULL - 2 * KNOB_EDGE) >> 2
        part = min(max((reading - KNOB_EDGE) >> 2, 0), whole)
        self.position = part * 2 * ONE // whole


class Light:
    """Shows one pattern of ``LIGHTS`` over and over."""

    def __init__(self, fittings: Fittings):
        self._fittings = fittings
        self._row = -1
        self._part = 0
        self._left_ms = 0

    def advance(self, ms: int, row: int) -> None:
        """Move the time on; a new pattern begins at once."""
        pattern = LIGHTS[row][1]
        if row != self._row:
            self._row = row
            self._part = 0
            self._left_ms = pattern[0]
            self._fittings.light(True)
            return
        self._left_ms -= min(ms, LONG_MS)
        if self._left_ms > 0:
            return
        while self._left_ms <= 0:
            self._part = (self._part + 1) % len(pattern)
            self._left_ms += pattern[self._part]
        self._fittings.light(self._part % 2 == 0)


def knob_ns(channel: Channel, position: int) -> int:
    """Return a channel's pulse for a position of the knob: low, centre in the middle, high."""
    if position < ONE:
        return between(channel.low_ns, channel.centre_ns, position)
    return between(channel.centre_ns, channel.high_ns, position - ONE)
