"""What single measurements say is wrong, and the ways to mend it."""

from __future__ import annotations

import math
from collections.abc import Mapping

from hingeline import units
from hingeline.errors import HingelineError
from hingeline.linkage.closure import Linkage, shaft_angle
from hingeline.linkage.slop import surface_slop
from hingeline.model.schema import Surface
from hingeline.model.throws import signed_deg, throw_deg
from hingeline.model.words import directions, say
from hingeline.rigging.naming import Mend, Named, mend
from hingeline.rigging.reaching import other_holes, reach_deg
from hingeline.travel.setting import FREE_MARGIN_DEG, Setting

__all__ = [
    "Mend",
    "Named",
    "bare_named",
    "binding_named",
    "direction_named",
    "neutral_named",
    "rod_mend",
    "slop_limit_deg",
    "slop_named",
    "travel_named",
]

#: Neutral nearer than this is as true as a builder's gauge can tell. Our own choice.
NEUTRAL_DEG = 0.5
#: Whole free play at a surface from which on it is to be taken out. Our own choice.
SLOP_DEG = 1.0
#: So many times the plan's own estimate of free play passes, where that is more.
SLOP_OVER_PLAN = 1.5
#: Other holes offered at once.
_MOST_HOLES = 3


def bare_named(surface: Surface, free_deg: Mapping[str, float]) -> Named | None:
    """Say which wanted throw the bare surface has no room for; None when there is room.

    Parameters
    ----------
    surface : Surface
    free_deg : mapping of str to float
        How far it goes by hand, by direction word, without sign.
    """
    short = {
        word: free
        for word, free in free_deg.items()
        if free < throw_deg(surface, word) + FREE_MARGIN_DEG
    }
    if not short:
        return None
    said = ", ".join(
        f"{word} {units.deg(free)}, and {units.deg(throw_deg(surface, word) + FREE_MARGIN_DEG)} "
        f"is needed for a throw of {units.deg(throw_deg(surface, word))}"
        for word, free in short.items()
    )
    most = ", ".join(
        f"{word} {units.deg(max(free - FREE_MARGIN_DEG, 0.0))}" for word, free in short.items()
    )
    free_it = mend(
        "hinge",
        f"free the hinge of the bare {surface.name} (bevel, gap, glue in the hinge); or ask for "
        f"less in the model file: {most} at most",
        "the throws that the model file asks for",
    )
    return Named(
        "bare stops early", f"The bare {surface.name} stops early: it goes {said}.", (free_it,)
    )


def neutral_named(setting: Setting, off_deg: float, u_deg: float) -> Named | None:
    """Say what brings a surface to neutral; None when it stands there as far as is known.

    Parameters
    ----------
    setting : Setting
    off_deg : float
        Where it stands with the servo at its place, positive when pushed.
    u_deg : float
        Standard uncertainty of the reading.
    """
    if abs(off_deg) < max(NEUTRAL_DEG, 2.0 * u_deg):
        return None
    surface = setting.surface
    linkage = setting.linkage
    off = math.radians(off_deg)
    stands = linkage.horn.tip_at(off) - linkage.arm.tip_mm
    by_mm = linkage.rest_distance_mm - math.sqrt(float(stands @ stands))
    mends = [rod_mend(setting, by_mm)]
    trim = _trim_us(setting, off_deg)
    if trim is not None:
        mends.append(
            mend(
                "trim",
                f"trim the servo's centre by {trim:+d} us",
                "true neutral, with the arm off its place and the throws less alike",
                trim_us=trim,
            )
        )
    way = "long" if by_mm < 0 else "short"
    return Named(
        "rod",
        f"{surface.name} stands {say(surface, off_deg)} at neutral: the rod is about "
        f"{abs(by_mm):.2f} mm too {way}.",
        tuple(mends),
    )


def rod_mend(setting: Setting, by_mm: float, gives: str = "neutral true") -> Mend:
    """Make the mend that changes the rod's length, in turns of a fitting where it has one."""
    rod = setting.surface.rod
    what = "lengthen" if by_mm > 0 else "shorten"
    pitch = rod.thread_pitch_mm
    fitting = "adjustable" in (rod.ends.arm, rod.ends.horn)
    turns = None
    said = ""
    if pitch is not None and fitting:
        # Half turns are what a clevis can do.
        turns = round(2.0 * by_mm / pitch) / 2.0 or None
        if turns is not None:
            way = "out" if turns > 0 else "in"
            said = f": {abs(turns):g} turns {way} at the fitting (half turns count)"
    return mend(
        "rod",
        f"{what} the rod by {abs(by_mm):.2f} mm{said}",
        gives,
        by_mm=round(by_mm, 3),
        turns=turns,
    )


def _trim_us(setting: Setting, off_deg: float) -> int | None:
    """Return the change of pulse that turns the surface back by ``off_deg``."""
    horn = setting.linkage.horn.tip_at(math.radians(off_deg))
    arm = setting.linkage.arm.tip_mm
    really = math.sqrt(float((horn - arm) @ (horn - arm)))
    built = Linkage(setting.linkage.arm, setting.linkage.horn, really)
    shaft = math.degrees(float(shaft_angle(built, 0.0)))
    try:
        return round(float(setting.curve.pulse_us(shaft)) - setting.centre_us)
    except HingelineError:
        return None


def leads_named(surface: Surface, other: Surface) -> Named:
    """Say that the channel of a surface moved the servo of another one."""
    return Named(
        "leads",
        f"Leads swapped: channel {surface.channel} moves servo {other.servo}, which belongs on "
        f"channel {other.channel} ({other.name}); expected was {surface.servo}.",
        (
            mend(
                "swap leads",
                f"exchange the plugs of channels {surface.channel} and {other.channel}",
                channels=[surface.channel, other.channel],
            ),
        ),
    )


def direction_named(
    setting: Setting,
    surface: Surface,
    expected: str,
    seen: str,
) -> Named:
    """Say why a surface went another way than a stick asked.

    Parameters
    ----------
    setting : Setting
    surface : Surface
        As its file says.
    expected, seen : str
        Direction words; ``seen`` may be "still".
    """
    if seen not in directions(surface):
        return Named(
            "unknown",
            f"{surface.name} stood still: its rod is off, its arm slips, or its servo has no "
            "pulses.",
            (
                mend("joints", "look at rod, clevis and arm screw, and connect what is loose"),
                mend("servo", "fit another servo"),
            ),
        )
    other_side = mend(
        "rod side",
        "move the rod to the other side of the servo: use the arm's other end, or another arm of "
        "the part, leaning as planned; the plugs stay as they are",
        f"{expected} where it went {seen}",
    )
    wrong = mend(
        "servo",
        f"servo {surface.servo} may turn the other way than "
        + ("on record" if setting.measured else "the file's turns says")
        + ": see which servo it is, correct turns in the file, or measure it again",
    )
    mends = (other_side, wrong) if setting.measured else (wrong, other_side)
    return Named(
        "direction",
        f"{surface.name} went {seen} where {expected} was asked for.",
        # Without a measured curve the rod is still the commoner fault.
        (other_side, wrong) if setting.servo.turns is not None else mends,
    )


def travel_named(setting: Setting, free_deg: Mapping[str, float]) -> Named | None:
    """Say which throw a servo does not reach; None when it reaches both.

    Parameters
    ----------
    setting : Setting
        With the servo's own curve.
    free_deg : mapping of str to float
        Free travel as measured, by direction word; a throw beyond it is not the servo's fault.
    """
    surface = setting.surface
    short = {}
    for word in directions(surface):
        reached = reach_deg(setting, word)
        wanted = throw_deg(surface, word)
        if reached < wanted and free_deg.get(word, math.inf) >= wanted:
            short[word] = reached
    if not short:
        return None
    said = ", ".join(
        f"{word} {units.deg(reached)} instead of {units.deg(throw_deg(surface, word))}"
        for word, reached in short.items()
    )
    low, high = setting.curve.limits_us
    mends = [
        mend(
            "servo",
            f"fit another servo in the place of {surface.servo}, with more travel",
            "the throws that the model file asks for",
        )
    ]
    for part, hole, reaches in other_holes(setting)[:_MOST_HOLES]:
        gives = ", ".join(f"{word} up to {units.deg(size)}" for word, size in reaches.items())
        mends.append(
            mend("hole", f"put the rod into {part} hole {hole}", gives, part=part, hole=hole)
        )
    return Named(
        "short travel",
        f"{surface.name}: servo {surface.servo} does not turn far enough between {low:.0f} and "
        f"{high:.0f} us: {said}.",
        tuple(mends),
    )


def slop_named(setting: Setting, play_deg: float) -> Named | None:
    """Say that there is too much free play; None when there is not.

    Parameters
    ----------
    setting : Setting
    play_deg : float
        Whole free play at the trailing edge with the servo held.
    """
    planned = _planned_slop_deg(setting)
    if play_deg < slop_limit_deg(setting):
        return None
    return Named(
        "slop",
        f"{setting.surface.name} has {units.deg(play_deg)} of free play; joints and gears as the "
        f"model file has them make {units.deg(planned)}. Free play may let a surface flutter.",
        (
            mend(
                "joints",
                "find what moves and take the play out: clevis pin, hole of the horn, bend in "
                "the arm, hinge, arm on its spline; a worn part is replaced",
                f"about {units.deg(planned)}",
            ),
            mend("servo", "fit another servo, if the play is in its gears"),
        ),
    )


def slop_limit_deg(setting: Setting) -> float:
    """Return the whole free play at the trailing edge from which on it is too much."""
    return max(SLOP_DEG, SLOP_OVER_PLAN * _planned_slop_deg(setting))


def _planned_slop_deg(setting: Setting) -> float:
    turns = []
    for word in directions(setting.surface):
        shaft = shaft_angle(setting.linkage, math.radians(signed_deg(setting.surface, word)))
        turns.append(0.0 if math.isnan(shaft) else float(shaft))
    found = surface_slop(setting.surface, setting.servo, setting.linkage, min(turns), max(turns))
    return found.neutral.total_deg


def binding_named(setting: Setting, word: str, seen: str) -> Named:
    """Say what a servo that labours at an end points to.

    Parameters
    ----------
    setting : Setting
    word : str
        The end at which it was heard or felt.
    seen : str
        "buzzing" or "hot".
    """
    surface = setting.surface
    return Named(
        "binding",
        f"{surface.name}: servo {surface.servo} was {seen} at the {word} end: something holds it "
        "there.",
        (
            mend(
                "free",
                "find what touches or binds there (hinge at its end, rod against the skin, "
                "clevis against the horn, arm against the case) and free it",
                "a servo that is quiet where it is held",
            ),
            mend("hinge", f"free the bare {surface.name}, if it is the hinge that binds"),
        ),
    )
