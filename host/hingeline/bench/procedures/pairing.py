"""Checking that two surfaces match: at every point of the stick, not only at its ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from hingeline.bench.asking import Asker, Gauge
from hingeline.bench.boards import Boards
from hingeline.bench.procedures.channels import REST_S
from hingeline.bench.procedures.throwing import NoteSurface, read_surface
from hingeline.model import words
from hingeline.model.throws import throw_deg
from hingeline.travel.matching import LEAST_POINTS, TOLERANCE_DEG, points_of
from hingeline.travel.setting import Setting

#: Below this a surface counts as standing at neutral, whatever way it leans.
NEUTRAL_DEG = 0.5


@dataclass(frozen=True)
class Side:
    """One surface at one point of the stick.

    Attributes
    ----------
    pulse_us : int
        What was sent.
    predicted_deg, measured_deg : float
        Positive in the surface's first direction (up, left).
    right_way : bool
        Whether it was seen to move the way that the stick asks for.
    """

    pulse_us: int
    predicted_deg: float
    measured_deg: float
    right_way: bool


@dataclass(frozen=True)
class Point:
    """Both surfaces at one point of the stick.

    Attributes
    ----------
    stick : float
        -1 to 1; positive asks the right surface for its first direction.
    left, right : Side
        The two surfaces.
    """

    stick: float
    left: Side
    right: Side


@dataclass(frozen=True)
class Mismatch:
    """How far the two sides differ where they should be alike.

    Attributes
    ----------
    stick : float
        The right side's point; the left is taken at the point where it should match.
    left_deg, right_deg : float
        What was measured there, positive in the first direction.
    """

    stick: float
    left_deg: float
    right_deg: float

    @property
    def difference_deg(self) -> float:
        """How much further left goes than right in the first direction."""
        return self.left_deg - self.right_deg


@dataclass(frozen=True)
class PairCheck:
    """The whole check of a pair.

    Attributes
    ----------
    moves : {"opposite", "together"}
        How the pair should move.
    points : tuple of Point
        In the order of the stick.
    mismatches : tuple of Mismatch
        One a point.
    tolerance_deg : float
        What may differ.
    """

    moves: Literal["opposite", "together"]
    points: tuple[Point, ...]
    mismatches: tuple[Mismatch, ...]
    tolerance_deg: float

    @property
    def worst(self) -> Mismatch:
        """The greatest mismatch."""
        return max(self.mismatches, key=lambda item: abs(item.difference_deg))

    @property
    def wrong_way(self) -> tuple[tuple[float, str], ...]:
        """Stick and side of everything that was seen to move the wrong way."""
        return tuple(
            (point.stick, name)
            for point in self.points
            for name, side in (("left", point.left), ("right", point.right))
            if not side.right_way
        )

    @property
    def passed(self) -> bool:
        """Whether both move the right way everywhere, and match within the tolerance."""
        return not self.wrong_way and abs(self.worst.difference_deg) <= self.tolerance_deg


def asks_deg(setting: Setting, stick: float, side_sign: int) -> float:
    """Return the signed deflection that full stick asks of one side, scaled by the stick.

    Parameters
    ----------
    setting : Setting
        The surface.
    stick : float
        -1 to 1.
    side_sign : int
        +1 when positive stick asks this surface for its first direction, -1 else.
    """
    first, second = words.directions(setting.surface)
    towards = stick * side_sign
    word = first if towards >= 0 else second
    return words.sign_of(setting.surface, word) * abs(towards) * throw_deg(setting.surface, word)


def stick_pulse_us(setting: Setting, stick: float, side_sign: int) -> int:
    """Return the pulse at a point of the stick, as a radio mixes it.

    A radio knows only centre and end points, and goes from one to the other in
    proportion to the pulse, not to the deflection.
    """
    if stick == 0:
        return round(setting.centre_us)
    end = setting.pulse_us(asks_deg(setting, 1.0 if stick > 0 else -1.0, side_sign))
    return round(setting.centre_us + abs(stick) * (end - setting.centre_us))


def check_pair(
    board: Boards,
    left: Setting,
    right: Setting,
    moves: Literal["opposite", "together"],
    gauge: Gauge,
    asker: Asker,
    note: NoteSurface,
    *,
    points: int = LEAST_POINTS,
    tolerance_deg: float = TOLERANCE_DEG,
) -> PairCheck:
    """Move a pair through the stick's points, and have both sides measured at each.

    The direction of each side must be typed as it is seen; it is compared with what the
    stick asks for. Moving opposite ways is not enough: right is right.

    Raises
    ------
    TravelError, LinkageError
        Before anything moves, when a point cannot be had.
    """
    left_sign = -1 if moves == "opposite" else 1
    sides = ((left, left_sign), (right, 1))
    rows = [
        (stick, [stick_pulse_us(setting, stick, sign) for setting, sign in sides])
        for stick in points_of(points).tolist()
    ]
    done = []
    for stick, pulses in rows:
        # Each point is reached from neutral, so that play always lies on the same side.
        _go_both(board, left, right, [round(left.centre_us), round(right.centre_us)])
        _go_both(board, left, right, pulses)
        seen = []
        for (setting, sign), pulse in zip(sides, pulses, strict=True):
            measured = read_surface(board, setting, pulse, gauge, asker, note, assumed=None)
            seen.append(_side(setting, stick * sign, pulse, measured))
        done.append(Point(stick, *seen))
    _go_both(board, left, right, [round(left.centre_us), round(right.centre_us)])
    return PairCheck(moves, tuple(done), mismatches(done, moves), tolerance_deg)


def mismatches(
    points: Sequence[Point], moves: Literal["opposite", "together"]
) -> tuple[Mismatch, ...]:
    """Compare the sides where they should be alike.

    A pair that moves together is compared at the same point of the stick; one that moves
    opposite ways is compared with the left side at the opposite point, where it should do
    what the right side does here. So differential is no mismatch, and throws that are
    swapped between the sides are.
    """
    left_by_stick = {point.stick: point.left.measured_deg for point in points}
    mirror = -1.0 if moves == "opposite" else 1.0
    return tuple(
        Mismatch(point.stick, left_by_stick[mirror * point.stick], point.right.measured_deg)
        for point in points
    )


def _go_both(board: Boards, left: Setting, right: Setting, pulses: Sequence[int]) -> None:
    board.hold({left.surface.channel: pulses[0], right.surface.channel: pulses[1]})
    board.wait(REST_S)


def _side(setting: Setting, towards: float, pulse_us: int, measured_deg: float) -> Side:
    """Put one side into words' signs; ``towards`` > 0 asks for the first direction."""
    first = words.sign_of(setting.surface, words.directions(setting.surface)[0])
    predicted = setting.predicted_deg(pulse_us, setting.approach_of(pulse_us))
    seen = first * measured_deg
    right_way = towards == 0 or seen * towards > 0 or abs(seen) <= NEUTRAL_DEG > abs(predicted)
    return Side(pulse_us, first * predicted, seen, right_way)
