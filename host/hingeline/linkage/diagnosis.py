"""Why a surface goes further one way than the other, from the two throws measured.

Each cause is worked out as if it were the only one, with the rod taken as long, so that
neither the holes nor the rod's length matter. Sizes, not a verdict: the builder looks.

With the arm leaning p ahead of square and the servo turned t both ways, the strokes are
sin t cos p +- sin p (1 - cos t) times the arm, so that for the deflections d and e

    (sin d - sin e) / (sin d + sin e) = tan p tan(t / 2).

With the horn's hole standing q aft of square to the surface, equal strokes give

    tan q = (sin d - sin e) / (2 - cos d - cos e).

(Both follow from the definitions by elementary trigonometry.)
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from hingeline.errors import LinkageError

#: A set-back larger than this part of the horn's radius is no fitting error any more.
_MOST_SET_BACK = 0.7


@dataclass(frozen=True)
class Causes:
    """What would explain a difference of throws, each taken alone.

    Attributes
    ----------
    lean_deg : float
        Lean of the arm, positive ahead (away from the horn).
    teeth : float
        The same in teeth of the spline.
    set_back_mm : float or None
        Set-back of the horn's hole, positive aft; None when no sensible one would do.
    rod_mm : float
        Rod too long (positive) or too short: the surface was not at neutral when the
        throws were measured from there.
    """

    lean_deg: float
    teeth: float
    set_back_mm: float | None
    rod_mm: float


def lean_of(pushed_deg: float, pulled_deg: float, turn_deg: float) -> float:
    """Return the lean of the arm that gives two throws for equal turns of the servo.

    Parameters
    ----------
    pushed_deg, pulled_deg : float
        Sizes of the throws to the pushed and to the pulled side, in degrees.
    turn_deg : float
        How far the servo turned, each way.

    Returns
    -------
    float
        In degrees, positive ahead.

    Raises
    ------
    LinkageError
        For sizes that are not greater than zero and below 90 degrees.
    """
    sizes = {"the pushed throw": pushed_deg, "the pulled throw": pulled_deg, "turn": turn_deg}
    for name, size in sizes.items():
        if not 0.0 < size < 90.0:
            raise LinkageError(
                f"{name} of {size:g} deg is not between 0 and 90 deg.",
                mend="Measure both throws from neutral.",
            )
    more, less = math.sin(math.radians(pushed_deg)), math.sin(math.radians(pulled_deg))
    half_turn = math.tan(math.radians(turn_deg) / 2.0)
    return math.degrees(math.atan((more - less) / (more + less) / half_turn))


def causes(
    pushed_deg: float, pulled_deg: float, turn_deg: float, *, horn_mm: float, teeth: int
) -> Causes:
    """Work out what would explain two throws, each cause taken alone.

    Parameters
    ----------
    pushed_deg, pulled_deg, turn_deg : float
        As in :func:`lean_of`.
    horn_mm : float
        Radius of the horn's hole.
    teeth : int
        Teeth of the servo's output spline.

    Raises
    ------
    LinkageError
        As for :func:`lean_of`.
    """
    lean = lean_of(pushed_deg, pulled_deg, turn_deg)
    d, e = math.radians(pushed_deg), math.radians(pulled_deg)
    set_back = horn_mm * (math.sin(d) - math.sin(e)) / (2.0 - math.cos(d) - math.cos(e))
    return Causes(
        lean_deg=lean,
        teeth=lean / (360.0 / teeth),
        set_back_mm=set_back if abs(set_back) <= _MOST_SET_BACK * horn_mm else None,
        rod_mm=horn_mm * math.sin((d - e) / 2.0),
    )
