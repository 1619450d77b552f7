"""Two servos that are given one signal, by a lead that parts in two.

For one signal, which way a surface goes is servo sense x arm side x rod side: turning any one
of the three on one side turns that surface against the other.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from hingeline.errors import TravelError
from hingeline.model.schema import Direction
from hingeline.rigging.handing import Handed

Moves = Literal["opposite", "together"]


@dataclass(frozen=True)
class Factors:
    """What decides which way one surface goes.

    Attributes
    ----------
    servo : {"ccw", "cw"} or None
        How the servo turns with a rising pulse, looking at its arm; None: not known.
    arm : str
        Where the arm points, as the model file says it.
    horn : str
        The side of the surface on which the horn stands.
    goes : str or None
        The direction word that comes of it.
    """

    servo: str | None
    arm: str
    horn: str
    goes: str | None


@dataclass(frozen=True)
class OneSignal:
    """A pair on one signal.

    Attributes
    ----------
    left, right : Factors
    works : bool or None
        Whether the two go the ways a pair of this kind must; None: not known.
    worst_deg : float or None
        How far the right surface would stand from its place, at neutral or an end, when both
        get the pulses of the left; None when it does not work, or would leave what is known
        of the right servo.
    """

    left: Factors
    right: Factors
    works: bool | None
    worst_deg: float | None

    @property
    def one_reversed(self) -> bool | None:
        """Whether one of two channels must be reversed against the other; None: not known."""
        return None if self.works is None else not self.works


def one_signal(left: Handed, right: Handed, moves: Moves) -> OneSignal:
    """Tell whether a pair would work on one signal."""
    works = None
    if left.rising is not None and right.rising is not None:
        works = (left.rising == right.rising) == (moves == "together")
    worst = _worst_deg(left, right, moves) if works else None
    return OneSignal(_factors(left), _factors(right), works, worst)


def _factors(handed: Handed) -> Factors:
    turns = None
    if handed.rising is not None:
        turns = "ccw" if handed.setting.curve.rate_deg_per_us > 0 else "cw"
    mount, horn = handed.surface.mount, handed.surface.horn
    return Factors(turns, _in_words(mount.arm_points), horn.side, handed.rising)


def _worst_deg(left: Handed, right: Handed, moves: Moves) -> float | None:
    first, second = left.words
    sent = {0.0: left.centre_us, 1.0: left.ends_us[first], -1.0: left.ends_us[second]}
    worst = 0.0
    for way, pulse in sent.items():
        there = way if moves == "together" else -way
        place = there * right.throw_deg[first if there > 0 else second]
        try:
            stands = right.stands(pulse)
        except TravelError:
            return None
        worst = max(worst, abs(stands - place))
    return worst


def _in_words(direction: Direction) -> str:
    """Return a direction in the model file's words where it is along one of its axes."""
    parts = {
        ("ahead", "aft"): direction.ahead,
        ("off", "in"): direction.off,
        ("along+", "along-"): direction.along,
    }
    along = [(names, part) for names, part in parts.items() if part]
    if len(along) == 1:
        names, part = along[0]
        return names[0] if part > 0 else names[1]
    return f"ahead {direction.ahead:g}, off {direction.off:g}, along {direction.along:g}"
