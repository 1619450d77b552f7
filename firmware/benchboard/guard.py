"""What may go out, and when: limits, silence of the host, first pulses one by one."""

HOLD_MS = 1500  # a host beats every half second or so: two may be lost
OFF_MS = 4000
STAGGER_MS = 50  # between first pulses: the starting current of one servo has passed by then
STALL_MS = 50  # a tick later than this counts as this for the slew: no leap after a stall


class Silence:
    """Stops motion, then pulses, when the host is not heard.

    Attributes
    ----------
    hold_ms, off_ms : int
        Silence after which motion stops, and pulses stop.
    worst : int
        The most it has led to since somebody last asked: 0, 1 held, 2 stopped.
    """

    def __init__(self) -> None:
        self.hold_ms = HOLD_MS
        self.off_ms = OFF_MS
        self.worst = 0
        self._silent_ms = 0
        self._stage = 0

    def heard(self) -> None:
        """Take note that the host is there."""
        self._silent_ms = 0
        self._stage = 0

    def advance(self, ms: int) -> int:
        """Move the time on; return 1 when motion is to stop now, 2 when pulses are, else 0."""
        if self._stage == 2:
            return 0
        self._silent_ms += ms
        if self._silent_ms >= self.off_ms:
            self._stage = 2
            return 2
        if self._silent_ms >= self.hold_ms and self._stage == 0:
            self._stage = 1
            return 1
        return 0


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
