"""Motions as functions of elapsed time, in integers that fit a small int.

``advance(ms)`` moves the time on and returns the pulse wanted now; it takes nothing from the
heap. Time is kept as a phase, so that no length of run overflows, jumps or drifts.
"""

ONE = 16384  # the fraction 1; with it every product below stays under 2**30


class Ramp:
    """From one pulse to another in a given time, at a steady rate; then stay.

    Parameters
    ----------
    first_ns, second_ns : int
        Where it begins and ends.
    lasts_ms : int
        Time on the way; at most 600000.
    wait_ms : int
        Stay at the first pulse so long before beginning.
    """

    name = "ramp"

    def __init__(self, first_ns: int, second_ns: int, lasts_ms: int, wait_ms: int):
        self.first_ns = first_ns
        self.second_ns = second_ns
        self.lasts_ms = lasts_ms
        self.elapsed_ms = -wait_ms
        self.done = False

    def advance(self, ms: int) -> int:
        """Move the time on by ``ms``; return the pulse in ns."""
        if not self.done:
            self.elapsed_ms += ms
            self.done = self.elapsed_ms >= self.lasts_ms
        if self.done:
            return self.second_ns
        if self.elapsed_ms <= 0:
            return self.first_ns
        return between(self.first_ns, self.second_ns, fraction_of(self.elapsed_ms, self.lasts_ms))


class Sweep:
    """From ``first`` to ``second`` and back, ``cycles`` times (0: for ever).

    Parameters
    ----------
    first_ns, second_ns : int
        The two ends; the motion begins and ends at the first.
    period_ms : int
        There and back; at most 16000000.
    cycles : int
        Number of periods; 0 for no end.
    smooth : bool
        Slow at the ends; else at a steady rate.
    wait_ms : int
        Stay at the first end so long before beginning.
    """

    name = "sweep"

    def __init__(
        self,
        first_ns: int,
        second_ns: int,
        period_ms: int,
        cycles: int,
        smooth: bool,
        wait_ms: int,
    ):
        self.begin(first_ns, second_ns, period_ms, cycles, smooth, wait_ms)

    def begin(
        self,
        first_ns: int,
        second_ns: int,
        period_ms: int,
        cycles: int,
        smooth: bool,
        wait_ms: int,
    ) -> None:
        """Be a new sweep; takes no heap."""
        self.first_ns = first_ns
        self.second_ns = second_ns
        self.period_ms = period_ms
        self.half_ms = period_ms // 2
        self.cycles_left = cycles
        self.endless = cycles == 0
        self.smooth = smooth
        self.phase_ms = -wait_ms
        self.done = False

    def advance(self, ms: int) -> int:
        """Move the time on by ``ms``; return the pulse in ns."""
        if self.done:
            return self.first_ns
        self.phase_ms += ms
        while self.phase_ms >= self.period_ms:
            self.phase_ms -= self.period_ms
            if not self.endless:
                self.cycles_left -= 1
                if self.cycles_left <= 0:
                    self.done = True
                    return self.first_ns
        if self.phase_ms <= 0:
            return self.first_ns
        return between(self.first_ns, self.second_ns, self._fraction())

    def _fraction(self) -> int:
        if self.phase_ms < self.half_ms:
            fraction = fraction_of(self.phase_ms, self.half_ms)
        else:
            rest_ms = self.period_ms - self.half_ms
            fraction = ONE - fraction_of(self.phase_ms - self.half_ms, rest_ms)
        if self.smooth:
            # 3 f^2 - 2 f^3: its steepest slope is 1.5, in the middle
            fraction = (fraction * fraction // ONE) * (3 * ONE - 2 * fraction) // ONE
        return fraction


class Steps:
    """Through a list of pulses, each for its own time, then stay at the last.

    Parameters
    ----------
    pulses_ns : tuple of int
        The pulses.
    lasts_ms : tuple of int
        How long each but the last is wanted.
    """

    name = "steps"

    def __init__(self, pulses_ns: tuple[int, ...], lasts_ms: tuple[int, ...]):
        self.pulses_ns = pulses_ns
        self.lasts_ms = lasts_ms
        self.number = 0
        self.elapsed_ms = 0
        self.done = len(pulses_ns) == 1

    def advance(self, ms: int) -> int:
        """Move the time on by ``ms``; return the pulse in ns."""
        self.elapsed_ms += ms
        while not self.done and self.elapsed_ms >= self.lasts_ms[self.number]:
            self.elapsed_ms -= self.lasts_ms[self.number]
            self.number += 1
            self.done = self.number == len(self.pulses_ns) - 1
        if self.done:
            self.elapsed_ms = 0
        return self.pulses_ns[self.number]


def fraction_of(elapsed_ms: int, whole_ms: int) -> int:
    """Return ``elapsed_ms * ONE // whole_ms``, for up to 8000000 ms, without a big integer."""
    first = elapsed_ms * 128
    return first // whole_ms * 128 + first % whole_ms * 128 // whole_ms


def between(first_ns: int, second_ns: int, fraction: int) -> int:
    """Return the pulse ``fraction`` (of ``ONE``) of the way from the first to the second."""
    span = second_ns - first_ns
    if span < 0:
        return first_ns - _part(-span, fraction)
    return first_ns + _part(span, fraction)


def _part(span: int, fraction: int) -> int:
    # span * fraction // ONE exactly, by halves: the whole product would need a big integer
    return ((span >> 10) * fraction + (((span & 1023) * fraction) >> 10)) >> 4


def shortest_period_ms(span_ns: int, smooth: bool, slew_ns_per_ms: int) -> int:
    """Return the shortest period in which a sweep stays within a slew."""
    steepest = span_ns * 3 if smooth else span_ns * 2
    half_ms = (steepest + 2 * slew_ns_per_ms - 1) // (2 * slew_ns_per_ms)
    return 2 * half_ms
