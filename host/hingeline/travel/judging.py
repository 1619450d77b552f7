"""Judge a reading when it is typed, by the readings before it.

What the next reading should be is told by those before it: a straight line, a gentle bend and
the usual up/down difference, each as far as it is not yet known, make a normal distribution
(C. E. Rasmussen and C. K. I. Williams, Gaussian Processes for Machine Learning, MIT Press
2006, sections 2.2 and 2.7). A reading far outside it is questioned, with the slip that would
explain it. Nothing is decided here: whoever reads the gauge has the last word.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hingeline.travel.reading import Reading
from hingeline.travel.suspects import NUMBER, meant

Floats = NDArray[np.float64]
#: What would be typed and read with another number in the place of the one in the text; None
#: where that cannot be.
Again = Callable[[float], "tuple[str, Reading] | None"]

#: Standard uncertainties by which an honest reading may leave what was expected. Of normal
#: ones 1 in 150,000 does; the rest is for servos that bend more than is usual.
FAR = 4.5
#: The same for each of a pair that would fit when exchanged: that it would is evidence, too.
FAR_PAIR = 3.0
#: Readings before it without which nothing is expected: two make a line.
LEAST = 2

#: What is believed of a servo before its readings tell, as standard deviations: where it stands
#: at the first pulse, how far it turns, how much it leaves a straight line, over which distance
#: in pulse, half its up/down difference, where it comes to rest. Our own choice, wide enough
#: for poor servos.
_PLACE_DEG = 100.0
_RATE_DEG_PER_US = 0.15
_BEND_DEG = 3.0
_BEND_US = 350.0
_HALF_GAP_DEG = 0.7
_REST_DEG = 0.25

REPEATED = "the line before, typed again"
SWAPPED = "up/down swapped"


@dataclass(frozen=True)
class Doubt:
    """A reading that does not go with those before it.

    Attributes
    ----------
    reading : Reading
        The one in doubt.
    expected_deg, u_deg : float
        Shaft angle that the readings before it let expect, and the standard uncertainty of the
        difference.
    slip : str
        What probably happened, as in `hingeline.travel.suspects.Suspect`, or `REPEATED` or
        `SWAPPED`; empty when nothing explains it.
    likely : str or None
        The text that was probably meant; None when no number tells.
    partner : Reading or None
        With `SWAPPED`: the other reading at this pulse.
    at_stop : bool
        It is also what a servo on its end stop would give: short of what was expected, and no
        farther back than before.
    """

    reading: Reading
    expected_deg: float
    u_deg: float
    slip: str = ""
    likely: str | None = None
    partner: Reading | None = None
    at_stop: bool = False

    @property
    def away_deg(self) -> float:
        """The reading less what was expected, in degrees of shaft."""
        return self.reading.angle_deg - self.expected_deg

    @property
    def worth_asking(self) -> bool:
        """Whether a slip is likelier than a servo that met its stop."""
        return not self.at_stop or self.likely is not None


class Judge:
    """Judges each reading by those before it; see the module.

    A reading that was doubted and kept all the same is believed as far as it is off: half of
    that is its standard uncertainty. One on a stop says nothing of the servo elsewhere.
    """

    def __init__(self) -> None:
        self._known: list[Reading] = []
        self._doubted: list[float] = []
        self._last: Reading | None = None
        self._on_stop = False

    def doubt(self, new: Reading, again: Again | None = None) -> Doubt | None:
        """Judge a reading.

        Parameters
        ----------
        new : Reading
            The reading.
        again : callable, optional
            Makes what would be typed and read with another number; default: as at the arm.

        Returns
        -------
        Doubt or None
            None when it goes with the others, or they are too few to say.
        """
        if self._last is None or not _tell(self._known):
            return None
        if swapped := self._swapped(new):
            return swapped
        expected, u = expect(self._known, self._doubted, new)
        away = new.angle_deg - expected
        if abs(away) <= FAR * u:
            return None
        onward = math.copysign(1.0, expected - self._last.angle_deg)
        forward = onward * (new.angle_deg - self._last.angle_deg) > 0
        at_stop = onward * away < 0 and (forward or _still(self._last, new))
        found = Doubt(new, expected, u, at_stop=at_stop)
        slip, likely = _slip(found, again or _at_arm(new))
        if (
            not slip
            and new.as_typed == self._last.as_typed
            and new.pulse_us != self._last.pulse_us
        ):
            slip = REPEATED
        return replace(found, slip=slip, likely=likely)

    def keep(self, reading: Reading, doubt: Doubt | None = None) -> None:
        """Take note of a reading that stands, with the doubt that there was of it."""
        # On the way back the stop is left late, at a pulse where it may not look odd.
        stays = self._on_stop and self._last is not None and _still(self._last, reading)
        self._on_stop = stays or (doubt is not None and doubt.at_stop)
        self._last = reading
        if self._on_stop:
            return
        self._known.append(reading)
        self._doubted.append(0.0 if doubt is None else abs(doubt.away_deg) / 2.0)

    def _swapped(self, new: Reading) -> Doubt | None:
        """Doubt a reading that fits the other one at its pulse better, and that one it."""
        partners = [
            place
            for place, reading in enumerate(self._known)
            if reading.pulse_us == new.pulse_us and reading.approach != new.approach
        ]
        if len(partners) != 1:
            return None
        partner = self._known[partners[0]]
        rest = [reading for reading in self._known if reading is not partner]
        doubted = [far for place, far in enumerate(self._doubted) if place != partners[0]]
        if not _tell(rest):
            return None
        mine, u_mine = expect(rest, doubted, new)
        other, u_other = expect(rest, doubted, partner)
        away, away_other = new.angle_deg - mine, partner.angle_deg - other
        wrong = away * away_other < 0 and min(abs(away), abs(away_other)) > FAR_PAIR * max(
            u_mine, u_other
        )
        exchanged = max(
            abs(partner.angle_deg - mine) / u_mine, abs(new.angle_deg - other) / u_other
        )
        if not wrong or exchanged > 1.5:
            return None
        return Doubt(new, mine, u_mine, SWAPPED, partner=partner)


def doubt_among(
    before: Sequence[Reading], behind: Sequence[Reading], new: Reading, again: Again | None = None
) -> Doubt | None:
    """Judge a reading by all others, those before it and those behind it.

    Parameters
    ----------
    before, behind : sequence of Reading
        In the order in which they were taken.
    new : Reading
        The one between them.
    again : callable, optional
        As for `Judge.doubt`.
    """
    judge = Judge()
    for reading in (*behind, *before):  # its neighbour comes last
        judge.keep(reading, judge.doubt(reading))
    return judge.doubt(new, again)


def _still(before: Reading, after: Reading) -> bool:
    """Return whether two readings are the same, as far as they can be told."""
    moved = abs(after.angle_deg - before.angle_deg)
    return moved <= 2.0 * math.hypot(after.u_deg, _REST_DEG)


def _tell(known: Sequence[Reading]) -> bool:
    """Return whether readings are enough to expect anything by them."""
    return len(known) >= LEAST and len({reading.pulse_us for reading in known}) >= 2


def _at_arm(new: Reading) -> Again:
    return lambda number: (f"{number:g}", replace(new, angle_deg=number, as_typed=f"{number:g}"))


def _slip(doubt: Doubt, again: Again) -> tuple[str, str | None]:
    """Find the slip that best turns a doubted reading into what was expected."""
    new = doubt.reading
    found = NUMBER.search(new.as_typed or f"{new.angle_deg:g}")
    best: tuple[str, str | None] = ("", None)
    if found is None or not (typed := float(found.group().replace(",", "."))):
        return best
    nearest = max(3.0 * doubt.u_deg, 2.0 * new.u_deg)
    for slip, number in meant(found.group(), typed):
        if (other := again(number)) is None:
            continue
        away = abs(other[1].angle_deg - doubt.expected_deg)
        if away < nearest:
            nearest, best = away, (slip, other[0])
    return best


def expect(
    before: Sequence[Reading], doubted_deg: Sequence[float], new: Reading
) -> tuple[float, float]:
    """Tell what a reading should be, and the standard uncertainty of that with the reading's own.

    Parameters
    ----------
    before : sequence of Reading
        At two different pulses or more.
    doubted_deg : sequence of float
        For each, the standard uncertainty that comes on top of the gauge's.
    new : Reading
        Its angle is not looked at.

    Returns
    -------
    angle_deg, u_deg : float
        In degrees of shaft.
    """
    everyone = (*before, new)
    pulse = np.asarray([reading.pulse_us for reading in everyone]) - before[0].pulse_us
    side = np.asarray([1.0 if reading.approach == "falling" else -1.0 for reading in everyone])
    angle = np.asarray([reading.angle_deg for reading in before])
    noise = np.square([math.hypot(reading.u_deg, _REST_DEG) for reading in everyone])
    noise[:-1] += np.square(doubted_deg)
    alike: Floats = (
        _PLACE_DEG**2
        + _RATE_DEG_PER_US**2 * np.outer(pulse, pulse)
        + _BEND_DEG**2 * np.exp(-0.5 * np.square((pulse[:, None] - pulse) / _BEND_US))
        + _HALF_GAP_DEG**2 * np.outer(side, side)
    )
    n = len(before)
    pull = np.linalg.solve(alike[:n, :n] + np.diag(noise[:n]), alike[:n, n])
    variance = alike[n, n] - alike[n, :n] @ pull + noise[n]
    return float(pull @ angle), float(np.sqrt(variance))
