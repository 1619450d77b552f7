"""Three points of a surface against its record: what has changed since, beyond doubt.

Each story of what may have happened changes the three readings by one amount of its own, worked
out on the planned linkage; the amount is fitted by least squares, and the stories are compared by
what they leave over. Three points cannot tell an arm that slipped by a few degrees from a rod
that grew: then both are named.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from hingeline.linkage.closure import Floats, Linkage, ratio, shaft_angle, surface_angle
from hingeline.linkage.mounting import ahead_sense, tooth_deg
from hingeline.model.schema import Servo, Surface
from hingeline.model.words import directions, sign_of

#: Chance that a model that has not changed is said to have, over all that is compared. Our choice.
FALSE_ALARM = 0.05
#: A story that leaves so much more over than the best, in chi-square, is not named beside it:
#: it is a seventh as likely. Our own choice.
ALIKE = 4.0
#: What even the best story may leave over: the 99 % point of chi-square for two degrees of
#: freedom (NIST/SEMATECH e-Handbook, table 1.3.6.7.4).
LEFT_OVER = 9.210
#: Free play that has grown by less does not matter yet. Our own choice.
GROWN_DEG = 0.5
#: How near to whole teeth a slip must be to be called that, beyond its doubt, in degrees.
NEAR_TOOTH_DEG = 1.5
#: A servo that turns less than this part of what it did is another story.
LEAST_TURN = 0.2
# Steps by which derivatives are taken, small beside what can be seen.
_STEP = 1e-3
_ROUNDS = 12


@dataclass(frozen=True)
class Recheck:
    """What three readings of a surface say beside its record.

    Attributes
    ----------
    surface : str
    then_deg, now_deg : tuple of float
        At the three points, positive in the surface's first direction.
    u_deg : float
        Standard uncertainty of the difference of two readings.
    chi_square, limit : float
        Of no change, and where it becomes one.
    tolerance_deg : float
        What may have changed without harm.
    stories : tuple of Story
        What may have happened, the likeliest first; empty when nothing has changed.
    explained : bool
        Whether the first story leaves no more than the gauge may make.
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
    stories: tuple[Story, ...]
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
    def passed(self) -> bool:
        """Whether it may stay so: unchanged, or within the tolerance."""
        reversed_ = any(story.name == "reversed" for story in self.stories[:1])
        if self.play is not None and self.play.grown:
            return False
        return not self.changed or (self.worst_deg <= self.tolerance_deg and not reversed_)


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
    def grown(self) -> bool:
        """Whether it has grown beyond doubt, and by more than matters."""
        more = self.now_deg - self.then_deg
        return more > max(GROWN_DEG, normal_point(1.0 - FALSE_ALARM / self.judged) * self.u_deg)


@dataclass(frozen=True)
class Story:
    """One thing that may have happened.

    Attributes
    ----------
    name : {"arm", "rod", "slop", "servo", "reversed"}
    size, u : float
        How much, in degrees ahead, mm longer, degrees more, times as far (1: unchanged); and
        its standard uncertainty.
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
    linkage: Linkage,
    then_deg: Sequence[float],
    now_deg: Sequence[float],
    *,
    u_deg: float,
    tolerance_deg: float,
    judged: int = 1,
    play: Play | None = None,
) -> Recheck:
    """Compare three readings with the record.

    Parameters
    ----------
    surface, servo : Surface, Servo
    linkage : Linkage
        As planned.
    then_deg, now_deg : sequence of float, length 3
        At the three points, positive in the first direction.
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
    limit = chi_square_point(1.0 - FALSE_ALARM / judged)
    stories: tuple[Story, ...] = ()
    explained = True
    if chi > limit:
        found = sorted(_stories(servo, linkage, then, now, u_deg), key=lambda one: one.left)
        stories = tuple(one for one in found if one.left <= found[0].left + ALIKE)
        explained = found[0].left <= LEFT_OVER
    return Recheck(
        surface.name,
        tuple(then_deg),
        tuple(now_deg),
        u_deg,
        chi,
        limit,
        tolerance_deg,
        stories,
        explained,
        play,
    )


def chi_square_point(confidence: float) -> float:
    """Return the point of chi-square with three degrees of freedom that holds a confidence."""
    from scipy.special import chdtri

    return float(chdtri(3, 1.0 - confidence))


def normal_point(confidence: float) -> float:
    """Return the point below which a normal deviate lies with a confidence."""
    from scipy.special import ndtri

    return float(ndtri(confidence))


def _stories(
    servo: Servo, linkage: Linkage, then: Floats, now: Floats, u_deg: float
) -> list[Story]:
    """Fit each story; angles signed as in the linkage."""
    shaft = np.degrees(shaft_angle(linkage, np.radians(then)))
    if np.isnan(shaft).any():  # the record is beyond the planned linkage: take it as straight
        shaft = then / float(ratio(linkage, 0.0))
    plan = _surface_deg(linkage, shaft)
    first = float(np.sign(then[0])) or 1.0
    # Outward the surface lags behind its arm; back at neutral it stays where it came from.
    lags = first * np.array([-0.5, 0.5, 0.5])

    def turned(by: float) -> Floats:
        return then + _surface_deg(linkage, shaft + by) - plan

    def longer(by: float) -> Floats:
        other = Linkage(linkage.arm, linkage.horn, linkage.length_mm + by)
        return then + _surface_deg(other, shaft) - plan

    def further(times: float) -> Floats:
        return then + _surface_deg(linkage, shaft * (1.0 + times)) - plan

    found = []
    for name, changed in (
        ("arm", turned),
        ("rod", longer),
        ("slop", lambda by: then + lags * by),
        ("servo", further),
    ):
        size, u, left = _fitted(changed, now, u_deg)
        if not math.isfinite(left) or not _possible(name, size):
            continue
        text = _text(name, size, u, linkage, servo)
        size = ahead_sense(linkage) * size if name == "arm" else size
        found.append(Story(name, 1.0 + size if name == "servo" else size, u, left, text))
    left = float(np.sum(((now + then) / u_deg) ** 2))
    found.append(
        Story(
            "reversed",
            -1.0,
            0.0,
            left,
            "it moves the other way: the channel is reversed, or the rod is on the other side of "
            "the arm. Do not fly. Reverse it in the radio, or change the side; never swap the "
            "servo's wires",
        )
    )
    return found


def _possible(name: str, size: float) -> bool:
    """Tell whether an amount makes sense: play does not shrink, and no servo turns backwards."""
    return not (name == "slop" and size < 0.0) and not (
        name == "servo" and size < LEAST_TURN - 1.0
    )


def _fitted(
    changed: Callable[[float], Floats], now: Floats, u_deg: float
) -> tuple[float, float, float]:
    """Fit one amount by Gauss and Newton's steps; return it, its doubt, and what is left over."""
    size = 0.0
    slope = np.zeros(3)
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
