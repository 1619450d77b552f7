"""One channel: what hangs on it, what it sends, where it is going."""

from .motions import Ramp, Steps, Sweep


class Channel:
    """State of one channel.

    Attributes
    ----------
    number : int
        From 1.
    pulse_class : int
        0 until set up.
    low_ns, high_ns, centre_ns, slew_ns_per_ms : int
        As set up.
    wanted : bool
        Somebody wants pulses on it.
    on : bool
        It sends pulses.
    quiet_ms : int
        Time left until its pin can be released, after pulses ended.
    ending : bool
        They ended since the last tick, so that what the next one counts is not yet time waited.
    now_ns, target_ns : int
        Pulse that goes out, and the one it is on the way to; 0 when there is none.
    motion : Ramp, Sweep, Steps or None
        What moves the target.
    """

    def __init__(self, number: int):
        self.number = number
        self.pulse_class = 0
        self.low_ns = 0
        self.high_ns = 0
        self.centre_ns = 0
        self.slew_ns_per_ms = 0
        self.wanted = False
        self.on = False
        self.quiet_ms = 0
        self.ending = False
        self.now_ns = 0
        self.target_ns = 0
        self.motion: Ramp | Sweep | Steps | None = None

    def set_up(
        self, pulse_class: int, low_ns: int, high_ns: int, centre_ns: int, slew_ns_per_ms: int
    ) -> None:
        """Say what servo hangs on it; class 0: none. Only at rest, with figures that agree."""
        self.pulse_class = pulse_class
        self.low_ns = low_ns
        self.high_ns = high_ns
        self.centre_ns = centre_ns
        self.slew_ns_per_ms = slew_ns_per_ms

    def at_rest(self) -> bool:
        """Return whether it is wholly off, its pin released."""
        return not self.wanted and not self.on and self.quiet_ms == 0

    def is_moving(self) -> bool:
        """Return whether its pulse has still to change."""
        return self.wanted and (not self.on or self.motion is not None or self._way_ns() != 0)

    def aim(self, target_ns: int, motion: Ramp | Sweep | Steps | None) -> None:
        """Want pulses, this one first."""
        self.wanted = True
        self.target_ns = target_ns
        self.motion = motion

    def way_ms(self, target_ns: int) -> int:
        """Return the time in which it gets to a pulse; 0 when its first pulse may be that."""
        if not self.on:
            return 0
        way = abs(target_ns - self.now_ns)
        return (way + self.slew_ns_per_ms - 1) // self.slew_ns_per_ms

    def advance_target(self, ms: int) -> None:
        """Let the motion move the target."""
        motion = self.motion
        if motion is not None:
            self.target_ns = motion.advance(ms)
            if motion.done:
                self.motion = None

    def next_ns(self, ms: int) -> int:
        """Return the pulse that the slew allows after ``ms`` on the way to the target."""
        most = self.slew_ns_per_ms * ms
        way = self._way_ns()
        if way > most:
            way = most
        elif way < -most:
            way = -most
        return self.now_ns + way

    def _way_ns(self) -> int:
        return self.target_ns - self.now_ns
