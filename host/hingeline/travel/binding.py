"""Where a servo buzzes, with its rod on and with it off, and what that means.

A servo buzzes where it is held from where it was sent: by a linkage that binds, a surface on
its stop, or its own end. With the rod taken off only the last remains.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

#: Usual distance between two pulses that are listened to, in us: 4 to 5 deg of a common
#: servo. Our own choice.
STEP_US = 50

Cause = Literal["free", "linkage", "servo", "unclear"]


@dataclass(frozen=True)
class Heard:
    """What was heard on the way out to one side.

    Attributes
    ----------
    quiet_us : int or None
        Outermost pulse that was quiet, with all before it; None: not even the first.
    buzzing_us : int or None
        First pulse that buzzed; None: all were quiet.
    """

    quiet_us: int | None
    buzzing_us: int | None


@dataclass(frozen=True)
class Side:
    """One side of the travel, with the rod on and, where it buzzed, with the rod off.

    Attributes
    ----------
    centre_us : int
        Where the way out began.
    rod_on : Heard or None
        None when the rod was off from the beginning.
    rod_off : Heard or None
        None when there was no need for it.
    """

    centre_us: int
    rod_on: Heard | None
    rod_off: Heard | None

    @property
    def cause(self) -> Cause:
        """What makes it buzz: nothing, the linkage, the servo itself; or it is not clear."""
        on, off = self.rod_on, self.rod_off
        if on is None:
            return "free" if off is None or off.buzzing_us is None else "servo"
        if on.buzzing_us is None:
            return "free"
        if off is None:
            return "unclear"
        if off.buzzing_us is None:
            return "linkage"
        further = abs(off.buzzing_us - self.centre_us) > abs(on.buzzing_us - self.centre_us)
        return "linkage" if further else "servo"

    @property
    def stop_us(self) -> int | None:
        """The pulse limit to set here: the last quiet one of all; None: not one was."""
        heard = self.rod_on or self.rod_off
        return heard.quiet_us if heard else None


def outward(centre_us: int, end_us: int, step_us: int = STEP_US) -> list[int]:
    """List the pulses to listen to from centre to an end, both included.

    The last step may be shorter, never longer.
    """
    sense = 1 if end_us >= centre_us else -1
    pulses = list(range(centre_us, end_us, sense * step_us))
    return [*pulses, end_us] if end_us != centre_us else [centre_us]


def heard_of(pulses_us: Sequence[int], quiet: Sequence[bool]) -> Heard:
    """Sum up what was heard at pulses in their order, up to the first that buzzed."""
    outermost, buzzing = None, None
    for pulse, was_quiet in zip(pulses_us, quiet, strict=False):
        if not was_quiet:
            buzzing = pulse
            break
        outermost = pulse
    return Heard(outermost, buzzing)
