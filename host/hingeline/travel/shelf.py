"""Which of several measured servos go best together."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass

from hingeline.errors import TravelError
from hingeline.travel.curve import TravelCurve
from hingeline.travel.matching import POINTS, Match, match
from hingeline.travel.sides import ArmSide

#: Arm range over which servos are compared when none is stated: 45 deg each way is common
#: practice (no source), less what a centre trim takes.
ARM_DEG = 40.0
#: How much of it one servo may give up at an end so that both agree part way. Our own choice.
GIVE_DEG = 5.0


@dataclass(frozen=True)
class ShelfPair:
    """Two servos, set as alike as centre and ends allow.

    Attributes
    ----------
    first, second : str
        Their labels.
    alike : Match
        Both turned the same way, as for two halves moved from the same side.
    mirrored : Match
        One as the mirror image of the other, as for two wings.
    """

    first: str
    second: str
    alike: Match
    mirrored: Match

    @property
    def worse(self) -> Match:
        """The worse of the two, which says what they are good for anywhere."""
        return max(self.alike, self.mirrored, key=lambda found: found.worst_deg)

    @property
    def worst_deg(self) -> float:
        """The greatest mismatch, in degrees of the arm."""
        return self.worse.worst_deg

    @property
    def interval_deg(self) -> float:
        """Half of its 95 % interval."""
        return self.worse.interval_deg[self.worse.worst]

    def told_from(self, other: ShelfPair) -> bool:
        """Tell whether the two mismatches differ by more than their intervals together."""
        apart = abs(self.worst_deg - other.worst_deg)
        return apart > float((self.interval_deg**2 + other.interval_deg**2) ** 0.5)


@dataclass(frozen=True)
class Shelf:
    """All pairs of the servos that reach, the best first.

    Attributes
    ----------
    arm_deg : float
        Arm range, each way from centre.
    pairs : tuple of ShelfPair
        In order of the worst mismatch.
    left_out : dict of str to str
        Servos that could not be compared, and why.
    """

    arm_deg: float
    pairs: tuple[ShelfPair, ...]
    left_out: dict[str, str]


def pair_up(
    curves: Mapping[str, TravelCurve],
    *,
    arm_deg: float = ARM_DEG,
    points: int = POINTS,
    left_out: Mapping[str, str] | None = None,
) -> Shelf:
    """Compare every two of several servos by their own curves.

    Each is set to its measured centre and to ends that give the arm range both ways; then
    one of the two may give way at an end, so that the worst mismatch is least.

    Parameters
    ----------
    curves : mapping of str to TravelCurve
        By label.
    arm_deg : float
        Arm range, each way from centre.
    points : int
        Points at which they are compared, odd.
    left_out : mapping of str to str
        Servos that were left out before, and why.

    Raises
    ------
    TravelError
        For fewer than 5 points or an even number; when fewer than two servos reach.
    """
    left_out = dict(left_out or {})
    for label, curve in curves.items():
        side = ArmSide(label, curve)
        if curve.centre_us is None:
            left_out[label] = "it does not reach neutral within its limits"
        elif (least := min(side.reach_deg(1), side.reach_deg(-1))) < arm_deg:
            left_out[label] = f"it turns only {least:.1f} deg one way from its centre"
    able = {label: curve for label, curve in curves.items() if label not in left_out}
    if len(able) < 2:
        why = "; ".join(f"{label}: {reason}" for label, reason in left_out.items())
        raise TravelError(
            f"{len(able)} calibrated servo{'' if len(able) == 1 else 's'} can be compared over "
            f"{arm_deg:g} deg each way; a pair takes 2.",
            cause=why,
            mend="Calibrate more of them, or compare over a smaller --arm range.",
        )
    wanted = ((arm_deg, arm_deg), (arm_deg, arm_deg))
    pairs = []
    for first, second in itertools.combinations(able, 2):
        one = ArmSide(first, able[first])
        found = [
            match(
                one,
                ArmSide(second, able[second], mirrored),
                wanted,
                points=points,
                give_deg=min(GIVE_DEG, arm_deg),
            )
            for mirrored in (False, True)
        ]
        pairs.append(ShelfPair(first, second, *found))
    return Shelf(arm_deg, tuple(sorted(pairs, key=lambda pair: pair.worst_deg)), left_out)
