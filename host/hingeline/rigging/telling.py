"""A story of how a surface is built, in words, with what would mend it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from hingeline import units
from hingeline.linkage.mounting import ahead_sense, lean_deg
from hingeline.model.words import say, word_of
from hingeline.rigging.judging_throws import ThrowPoint
from hingeline.rigging.mends import rod_mend
from hingeline.rigging.naming import Mend, mend, teeth_words, way_words
from hingeline.rigging.seating import WORTH_DEG, Refit, hinge_words, refit_mend, refit_of
from hingeline.rigging.stories import Held, predicted_deg
from hingeline.travel.setting import Setting


@dataclass(frozen=True)
class Told:
    """A story in words, with its mends.

    Attributes
    ----------
    cause : str
        As `hingeline.rigging.naming.Named` has it; empty when nothing single is wrong.
    text : str
        A part of a sentence.
    mends : tuple of Mend
        Best first.
    """

    cause: str
    text: str
    mends: tuple[Mend, ...]


def tell(setting: Setting, points: Sequence[ThrowPoint], held: Held) -> Told:
    """Put a story into words, with its size and what would mend it."""
    story, wrong, u = held.story, held.wrong, held.u
    surface, servo = setting.surface, setting.servo
    if story.kind in ("tooth", "differential"):
        gives = _gives(setting, points, wrong, {"lean_deg": story.fixed["lean_deg"]})
        back = -story.teeth
        refit = refit_mend(Refit(back, None, 0.0), gives)
        turned = f"{teeth_words(story.teeth)} ({units.deg(abs(story.fixed['lean_deg']))})"
        if story.kind == "tooth":
            text = f"the arm sits {turned} {way_words(story.teeth)} of its place"
            return Told("tooth", text, (refit,))
        planned = lean_deg(surface, servo)
        larger = max(points, key=lambda point: abs(point.wanted_deg))
        text = (
            "the differential is the wrong way round: the arm leans "
            f"{hinge_words(-planned)} the hinge line and should lean {units.deg(abs(planned))} "
            f"{hinge_words(planned)} it, so that the throw {word_of(surface, larger.wanted_deg)} "
            "is the larger one"
        )
        return Told("differential", text, (refit,))
    if story.kind == "hole":
        return _hole(setting, points, held)
    if story.kind == "planned":
        return Told("", "several small errors together", ())
    size = wrong[story.kind]
    doubt = u[story.kind]
    gives = _gives(setting, points, wrong, {story.kind: size})
    if story.kind == "set_back_mm":
        way, other = ("aft", "ahead") if size > 0 else ("ahead", "aft")
        text = (
            f"the horn's hole stands {abs(size):.1f} mm (+/- {doubt:.1f}) further {way} of the "
            "hinge line than planned"
        )
        move = mend(
            "set-back",
            f"move the horn's hole {abs(size):.1f} mm {other}, then fit the rod to neutral",
            gives,
            move_mm=round(-size, 2),
        )
        return Told("set-back", text, (move,))
    if story.kind == "rod_mm":
        way = "long" if size > 0 else "short"
        text = f"the rod is {abs(size):.2f} mm (+/- {doubt:.2f}) too {way}"
        return Told("rod", text, (rod_mend(setting, -size, gives),))
    if story.kind == "lag_deg":
        text = (
            f"it has about {units.deg(abs(2.0 * size))} (+/- {2.0 * doubt:.1f}) of free play: it "
            "comes to rest elsewhere from either side"
        )
        joints = mend("joints", "find what moves at clevis, horn and hinge and take it out", gives)
        return Told("slop", text, (joints,))
    if story.kind == "turn":
        text = (
            f"servo {surface.servo} turns about {abs(size):.0%} (+/- {doubt:.0%}) "
            f"{'further' if size > 0 else 'less'} than its travel curve says"
        )
        return Told("unknown", text, (measure_again(setting),))
    return _lean(setting, points, held, gives)


def _lean(setting: Setting, points: Sequence[ThrowPoint], held: Held, gives: str) -> Told:
    """Tell of an arm that leans by no whole number of teeth."""
    size, doubt = held.wrong["lean_deg"], held.u["lean_deg"]
    text = (
        f"the arm leans {units.deg(abs(size))} (+/- {doubt:.1f}) further "
        f"{hinge_words(size)} the hinge line than planned"
    )
    mends: list[Mend] = []
    refit = refit_of(setting.surface, setting.servo, size)
    if refit is not None and abs(size) - abs(refit.left_deg) >= WORTH_DEG:
        turned = {"lean_deg": size - refit.left_deg}
        mends.append(refit_mend(refit, _gives(setting, points, held.wrong, turned)))
    elif (trim := _lean_trim(setting, size)) is not None:
        # The arm comes to its place by the pulse; the rod then has to be fitted anew.
        text_of = f"trim the servo's centre by {trim:+d} us, then fit the rod to neutral"
        by_pulse = mend("trim", text_of, gives, trim_us=trim)
        mends.append(replace(by_pulse, reopens=("neutral",)))
    return Told("lean", text, tuple(mends))


def _lean_trim(setting: Setting, lean: float) -> int | None:
    trim = round(-ahead_sense(setting.linkage) * lean / setting.curve.rate_deg_per_us)
    low, high = setting.curve.limits_us
    return trim if low < setting.centre_us + trim < high else None


def _hole(setting: Setting, points: Sequence[ThrowPoint], held: Held) -> Told:
    story = held.story
    table = setting.surface.arm if story.part == "arm" else setting.surface.horn
    hole = table.hole
    far = "the shaft" if story.part == "arm" else "the hinge line"
    assert hole is not None  # noqa: S101 - such a story is only told where one is chosen
    text = (
        f"the rod is in hole {story.hole} of the {story.part} ({table.holes_mm[story.hole - 1]:g} "
        f"mm from {far}) instead of hole {hole} ({table.holes_mm[hole - 1]:g} mm)"
    )
    back = mend(
        "hole",
        f"put the rod into {story.part} hole {hole}, {table.holes_mm[hole - 1]:g} mm from {far}",
        _gives(setting, points, held.wrong, story.fixed),
        part=story.part,
        hole=hole,
    )
    return Told("hole", text, (back,))


def _gives(
    setting: Setting,
    points: Sequence[ThrowPoint],
    wrong: Mapping[str, float],
    mended: Mapping[str, float],
) -> str:
    """Say what throws are to be expected once a part of what is wrong is put right."""
    left = {name: size - mended.get(name, 0.0) for name, size in wrong.items()}
    stands = predicted_deg(setting, points, left)
    worst = max(
        abs(float(deg) - point.wanted_deg) for deg, point in zip(stands, points, strict=True)
    )
    ends = [
        say(setting.surface, float(deg))
        for deg, point in zip(stands, points, strict=True)
        if abs(point.share) == 1.0
    ]
    return "; ".join(filter(None, (", ".join(ends), f"worst miss about {units.deg(worst)}")))


def measure_again(setting: Setting) -> Mend:
    """Return the mend for a servo that may not be the one that was measured."""
    label = setting.surface.servo
    return mend("servo", f"see whether servo {label} is the one on record, and measure it again")
