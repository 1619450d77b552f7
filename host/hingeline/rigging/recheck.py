"""Three points of a surface against its record: what has changed since, beyond doubt.

Each cause that may be behind it changes the readings by one amount of its own, worked out on the
linkage as it was rigged; the amount is fitted by least squares, and the causes are compared by
what they leave over. Three points cannot tell an arm that slipped by a few degrees from a rod
that grew: then both are named.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from hingeline.linkage.closure import Floats, Linkage, ratio, shaft_angle, surface_angle
from hingeline.linkage.mounting import ahead_sense, tooth_deg
from hingeline.model.schema import Servo, Surface
from hingeline.model.words import directions, sign_of
from hingeline.rigging.threepoints import POINTS

#: Chance that a model that has not changed is said to have, over all that is compared. Our choice.
FALSE_ALARM = 0.05
#: A cause that leaves so much more over than the best, in chi-square, is not named beside it:
#: it is a seventh as likely. Our own choice.
ALIKE = 4.0
#: What even the best cause may leave over: this point of chi-square for one degree of freedom
#: less than there are readings. Our own choice.
LEFT_OVER = 0.99
#: Free play that has grown by less does not matter yet. Our own choice.
GROWN_DEG = 0.5
#: How near to whole teeth a slip must be to be called that, beyond its doubt, in degrees.
NEAR_TOOTH_DEG = 1.5
#: A surface that moves less than this part of what it did stands still; one that moves so much
#: the other way is reversed. Our own choice.
LEAST_TURN = 0.2
#: No arm slips further and still drives, no clevis is screwed further, no joint has more play:
#: an amount beyond these is no explanation. Our own choices.
MOST_SLIP_DEG, MOST_ROD_MM, MOST_PLAY_DEG = 90.0, 10.0, 15.0
# Steps by which derivatives are taken, small beside what can be seen.
_STEP = 1e-3
_ROUNDS = 12


@dataclass(frozen=True)
class Recheck:
    """What the readings of a surface say beside its record.

    Attributes
    ----------
    surface : str
    then_deg, now_deg : tuple of float
        At the three points, positive in the surface's first direction; at the first two where
        the surface was not driven to the other end.
    u_deg : float
        Standard uncertainty of the difference of two readings.
    chi_square, limit : float
        Of no change, and where it becomes one.
    tolerance_deg : float
        What may have changed without harm.
    causes : tuple of Change
        What may have happened, the likeliest first; empty when nothing has changed, or nothing
        that is known explains it.
    explained : bool
        Whether the first cause leaves no more than the gauge may make.
    play : Play or None
        The free play, where it was read both times.
    """

    surface: str
    then_deg: tuple[float, ...]
    now_deg: tuple[float, ...]
    u_deg: float
    chi_square: float
    limit: float
    tolerance_deg: float
    causes: tuple[Change, ...]
    explained: bool
    play: Play | None = None

    @property
    def changed(self) -> bool:
        """Whether the readings differ by more than is uncertain."""
        return self.chi_square > self.limit

    @property
    def worst_deg(self) -> float:
        """The greatest change, without sign."""
        return max(abs(now - then) for then, now in zip(self.then_deg, self.now_deg, strict=True))

    @property
    def broken_off(self) -> bool:
        """Whether it was not driven to all points."""
        return len(self.now_deg) < len(POINTS)

    @property
    def within(self) -> bool:
        """Whether the readings may stay so: unchanged, or within the tolerance."""
        if self.broken_off or any(one.name in ("reversed", "still") for one in self.causes):
            return False
        return not self.changed or self.worst_deg <= self.tolerance_deg

    @property
    def passed(self) -> bool:
        """Whether all may stay so, the free play too."""
        return self.within and not (self.play is not None and self.play.grown)


@dataclass(frozen=True)
class Play:
    """The free play of a surface, moved by hand.

    Attributes
    ----------
    then_deg, now_deg : float
    u_deg : float
        Standard uncertainty of their difference.
    judged : int
        How many comparisons share the chance of a false alarm.
    """

    then_deg: float
    now_deg: float
    u_deg: float
    judged: int = 1

    @property
    def more_deg(self) -> float:
        """By how much it has grown."""
        return self.now_deg - self.then_deg

    @property
    def grown(self) -> bool:
        """Whether it has grown beyond doubt, and by more than matters."""
        doubt = normal_point(1.0 - FALSE_ALARM / self.judged) * self.u_deg
        return self.more_deg > max(GROWN_DEG, doubt)


@dataclass(frozen=True)
class Change:
    """One thing that may have changed.

    Attributes
    ----------
    name : {"arm", "rod", "slop", "servo", "stop", "still", "reversed"}
    size, u : float
        How much, in degrees ahead, mm longer, degrees more, times as far (1: unchanged), degrees
        short; and its standard uncertainty.
    left : float
        Chi-square that remains.
    text : str
        The same in words, with where to look.
    """

    name: str
    size: float
    u: float
    left: float
    text: str


def recheck(
    surface: Surface,
    servo: Servo,
    linkage: Linkage | None,
    then_deg: Sequence[float],
    now_deg: Sequence[float],
    *,
    u_deg: float,
    tolerance_deg: float,
    judged: int = 1,
    play: Play | None = None,
) -> Recheck:
    """Compare readings with the record: all three, or the first two.

    Parameters
    ----------
    surface, servo : Surface, Servo
        As they were when it was rigged.
    linkage : Linkage or None
        Likewise; None: not known, so no causes are sought.
    then_deg, now_deg : sequence of float, length 3 or 2
        At the points, positive in the first direction.
    u_deg : float
        Standard uncertainty of the difference of two of them.
    tolerance_deg : float
        What may have changed without harm.
    judged : int
        How many comparisons are made together: the chance of a false alarm is shared among them.
    play : Play, optional
        The free play, then and now.
    """
    sign = sign_of(surface, directions(surface)[0])
    then, now = sign * np.asarray(then_deg), sign * np.asarray(now_deg)
    chi = float(np.sum(((now - then) / u_deg) ** 2))
    limit = chi_square_point(1.0 - FALSE_ALARM / judged, len(then))
    causes: tuple[Change, ...] = ()
    explained = chi <= limit
    if not explained and linkage is not None:
        causes, explained = _causes(surface, servo, linkage, then, now, u_deg, play)
    return Recheck(
        surface.name,
        tuple(then_deg),
        tuple(now_deg),
        u_deg,
        chi,
        limit,
        tolerance_deg,
        causes,
        explained,
        play,
    )


def chi_square_point(confidence: float, degrees: int = 3) -> float:
    """Return the point of chi-square, with so many degrees of freedom, that holds a confidence."""
    from scipy.special import chdtri

    return float(chdtri(degrees, 1.0 - confidence))


def normal_point(confidence: float) -> float:
    """Return the point below which a normal deviate lies with a confidence."""
    from scipy.special import ndtri

    return float(ndtri(confidence))


def _causes(
    surface: Surface,
    servo: Servo,
    linkage: Linkage,
    then: Floats,
    now: Floats,
    u_deg: float,
    play: Play | None,
) -> tuple[tuple[Change, ...], bool]:
    """Return what may have happened, and whether that explains it; angles as in the linkage."""
    stops = list(_stops(surface, then, now, u_deg))
    went = float(then[0] - then[-1])
    part = float(now[0] - now[-1]) / went if went else 1.0
    if part < -LEAST_TURN:
        left = float(np.sum(((now + then) / u_deg) ** 2))
        return (Change("reversed", part, 0.0, left, _REVERSED),), True
    if part <= LEAST_TURN:
        left = float(np.sum(((now - now.mean()) / u_deg) ** 2))
        still = Change("still", part, 0.0, left, _STILL)
        # With one side alone, a stop right at neutral looks the same.
        return (still, *(stops if len(then) < len(POINTS) else ())), True
    found = [*_fitting(servo, linkage, then, now, u_deg, play), *stops]
    if not found:
        return (), False
    best = min(one.left for one in found)
    alike = (one for one in found if one.left <= best + ALIKE)
    allowed = chi_square_point(LEFT_OVER, len(then) - 1)
    return tuple(sorted(alike, key=lambda one: one.left)), best <= allowed


_REVERSED = (
    "it moves the other way: the servo or its channel is reversed, or the rod is on the other "
    "side of the arm. Do not fly. Reverse it in the radio, or change the side; never swap the "
    "servo's wires"
)
_STILL = (
    "it does not move, or hardly: look whether the rod is off, the arm loose, the lead out, or "
    "the servo dead"
)


def _stops(surface: Surface, then: Floats, now: Floats, u_deg: float) -> Iterator[Change]:
    """Take it that one end alone falls short."""
    squares = ((now - then) / u_deg) ** 2
    for place, word in zip((0, 2), directions(surface), strict=True):
        if place >= len(then):
            continue
        short = float(np.sign(then[place]) * (then[place] - now[place]))
        if 0.0 < short <= abs(then[place]) + 2.0 * u_deg:
            left = float(np.sum(squares) - squares[place])
            # Nothing is known of an end to which the surface was not driven.
            alone = ", and only there" if len(then) > 2 else ""
            text = (
                f"it falls short by {short:.1f} deg when it goes {word}{alone}: it binds or meets "
                "a stop on that side"
            )
            yield Change("stop", short, u_deg, left, text)


def _fitting(
    servo: Servo,
    linkage: Linkage,
    then: Floats,
    now: Floats,
    u_deg: float,
    play: Play | None,
) -> Iterator[Change]:
    """Fit each cause that changes all points by one amount."""
    shaft = np.degrees(shaft_angle(linkage, np.radians(then)))
    if np.isnan(shaft).any():  # the record is beyond the planned linkage: take it as straight
        shaft = then / float(ratio(linkage, 0.0))
    plan = _surface_deg(linkage, shaft)
    first = float(np.sign(then[0])) or 1.0
    # Outward the surface lags behind its arm; back at neutral it stays where it came from.
    lags = first * np.array([-0.5, 0.5, 0.5])[: len(then)]

    def turned(by: float) -> Floats:
        return then + _surface_deg(linkage, shaft + by) - plan

    def longer(by: float) -> Floats:
        other = Linkage(linkage.arm, linkage.horn, linkage.length_mm + by)
        return then + _surface_deg(other, shaft) - plan

    def further(times: float) -> Floats:
        return then + _surface_deg(linkage, shaft * (1.0 + times)) - plan

    for name, changed in (
        ("arm", turned),
        ("rod", longer),
        ("slop", lambda by: then + lags * by),
        ("servo", further),
    ):
        size, u, left = _fitted(changed, now, u_deg)
        if not math.isfinite(left) or not _possible(name, size, u, play):
            continue
        text = _text(name, size, u, linkage, servo)
        size = ahead_sense(linkage) * size if name == "arm" else size
        yield Change(name, 1.0 + size if name == "servo" else size, u, left, text)


def _possible(name: str, size: float, u: float, play: Play | None) -> bool:
    """Tell whether an amount makes sense, and agrees with the free play that was read."""
    if name == "arm":
        return abs(size) <= MOST_SLIP_DEG
    if name == "rod":
        return abs(size) <= MOST_ROD_MM
    if name == "servo":
        return size >= LEAST_TURN - 1.0
    most = MOST_PLAY_DEG
    if play is not None:  # what was read by hand bounds it, and rules it out where none was added
        added = play.more_deg > 2.0 * play.u_deg
        most = play.more_deg + 2.0 * math.hypot(u, play.u_deg) if added else 0.0
    return 0.0 < size <= most  # play does not shrink


def _fitted(
    changed: Callable[[float], Floats], now: Floats, u_deg: float
) -> tuple[float, float, float]:
    """Fit one amount by Gauss and Newton's steps; return it, its doubt, and what is left over."""
    size = 0.0
    slope = np.zeros(len(now))
    for _ in range(_ROUNDS):
        at = changed(size)
        slope = (changed(size + _STEP) - changed(size - _STEP)) / (2.0 * _STEP)
        if not (np.isfinite(at).all() and np.isfinite(slope).all() and slope @ slope > 0):
            return size, math.inf, math.inf
        size += float(slope @ (now - at) / (slope @ slope))
    left = float(np.sum(((now - changed(size)) / u_deg) ** 2))
    return size, u_deg / math.sqrt(float(slope @ slope)), left


def _surface_deg(linkage: Linkage, shaft_deg: Floats) -> Floats:
    return np.asarray(np.degrees(surface_angle(linkage, np.radians(shaft_deg))))


def _text(name: str, size: float, u: float, linkage: Linkage, servo: Servo) -> str:
    doubt = f"(+/- {2.0 * u:.1f})"
    if name == "arm":
        ahead = ahead_sense(linkage) * size
        way = "ahead" if ahead > 0 else "aft"
        pitch = tooth_deg(servo)
        teeth = round(abs(size) / pitch)
        near = abs(abs(size) - teeth * pitch) <= NEAR_TOOTH_DEG + 2.0 * u
        count = ""
        if teeth and near:
            count = ", one tooth of its spline" if teeth == 1 else f", {teeth} teeth of its spline"
        return (
            f"the arm slipped {abs(size):.1f} deg {way} {doubt}{count}: look at its screw and "
            "spline, then fit it anew"
        )
    if name == "rod":
        way = "longer" if size > 0 else "shorter"
        mend = "a clevis that turned, a fitting that slid" if size > 0 else "a rod that bent"
        return (
            f"the rod is {abs(size):.1f} mm {way} than it was {doubt}: look for {mend}, or a horn "
            "that came loose"
        )
    if name == "slop":
        return (
            f"free play grew by {size:.1f} deg {doubt}: look at clevis, keeper, holes, hinge and "
            "gears"
        )
    more = "further" if size > 0 else "less far"
    return (
        f"the servo turns {100.0 * abs(size):.0f} % {more} for the same pulses "
        f"(+/- {200.0 * u:.0f} %): another servo, another hole, or another throw set in between"
    )
