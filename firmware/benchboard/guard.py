"""What may go out, and when: the host's silence, the supply, first pulses one by one."""

from .fittings import Fittings

# The usual times of silence: a host beats every half second or so, and two may be lost.
HOLD_MS = 1500
OFF_MS = 4000
STAGGER_MS = 50  # between first pulses: the starting current of one servo has passed by then
STALL_MS = 50  # a tick later than this counts as this for the slew: no leap after a stall
RAIL_EVERY_MS = 5
RAIL_LOW_MS = 50  # a dip while a servo starts is shorter


class Silence:
    """Knows whether a host has the word; stops motion, then pulses, when it is not heard.

    Attributes
    ----------
    host : bool
        A host has the word: it was heard, has not ended, and was not silent until pulses stopped.
    hold_ms, off_ms : int
        Silence after which motion stops, and pulses stop.
    """

    def __init__(self, hold_ms: int, off_ms: int):
        self.host = False
        self.hold_ms = hold_ms
        self.off_ms = off_ms
        self._silent_ms = 0
        self._held = False

    def heard(self) -> None:
        """Take note that the host is there."""
        self.host = True
        self._silent_ms = 0
        self._held = False

    def end(self) -> None:
        """Take note that no host has the word any more."""
        self.host = False

    def advance(self, ms: int) -> int:
        """Move the time on; return 1 when motion is to stop now, 2 when pulses are, else 0."""
        if not self.host:
            return 0
        self._silent_ms += ms
        if self._silent_ms >= self.off_ms:
            self.host = False
            return 2
        if self._silent_ms >= self.hold_ms and not self._held:
            self._held = True
            return 1
        return 0


class Rail:
    """Watches the servos' supply, where a divider is fitted.

    Attributes
    ----------
    low : bool
        It is too low to start anything.
    """

    def __init__(self, fittings: Fittings):
        self.low = False
        self.low_mv = 0
        self._fittings = fittings
        self._full_mv = 0
        self._smooth = 0
        self._since_ms = 0
        self._below_ms = 0

    def set(self, full_mv: int, low_mv: int) -> None:
        """Say what full reading means, and how low the supply may fall; 0: not watched."""
        self._full_mv = full_mv
        self.low_mv = low_mv
        self._smooth = self._read() << 4 if full_mv else 0
        self._below_ms = 0
        # At the start nothing moves yet, so there is no dip to wait for.
        self.low = self._is_below()

    def mv(self) -> int:
        """Return the voltage; 0 when there is no divider, at least 1 when there is."""
        if self._full_mv == 0:
            return 0
        mv = (self._smooth >> 4) * self._full_mv // 4095
        return mv if mv else 1

    def advance(self, ms: int) -> None:
        """Move the time on. Takes no heap."""
        if self._full_mv == 0:
            return
        self._since_ms += ms
        if self._since_ms < RAIL_EVERY_MS:
            return
        # After a stall one reading stands for no more than two.
        since_ms = min(self._since_ms, 2 * RAIL_EVERY_MS)
        self._since_ms = 0
        # smooth is sixteen times a reading of 12 bits: every product stays a small int
        self._smooth += ((self._read() << 4) - self._smooth) >> 2
        if not self._is_below():
            self._below_ms = 0
            self.low = False
        elif not self.low:
            self._below_ms += since_ms
            self.low = self._below_ms >= RAIL_LOW_MS

    def _read(self) -> int:
        return self._fittings.rail() >> 4

    def _is_below(self) -> bool:
        return self.low_mv > 0 and self.mv() < self.low_mv


class Stagger:
    """Keeps first pulses of channels apart, at the pins, not only in the program."""

    def __init__(self, frame_ms: int):
        self.wait_ms = 0
        self.gap_ms = STAGGER_MS + frame_ms

    def set_frame(self, frame_ms: int) -> None:
        """Take the longest time between asking for a pulse and its being sent into account."""
        self.gap_ms = STAGGER_MS + frame_ms

    def advance(self, ms: int) -> None:
        """Move the time on."""
        self.wait_ms -= ms
        if self.wait_ms < 0:
            self.wait_ms = 0

    def take(self) -> bool:
        """Return whether a channel may start now; if so, the next has to wait."""
        if self.wait_ms > 0:
            return False
        self.wait_ms = self.gap_ms
        return True


def permit(number: int, pulse_ns: int, low_ns: int, high_ns: int) -> int:
    """Return the pulse if it lies in the limits.

    The last look before the pin. Requests are refused long before, so this failing means a fault
    in the program, and the program's end stops all pulses.

    Raises
    ------
    RuntimeError
        When it does not.
    """
    if not 0 < low_ns <= pulse_ns <= high_ns:
        raise RuntimeError(
            "channel %d: pulse of %d ns is not in %d to %d ns"
            % (number, pulse_ns, low_ns, high_ns)
        )
    return pulse_ns
