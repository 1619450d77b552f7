"""From the throws of a surface to what is physically wrong with it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from hingeline import units
from hingeline.linkage.mounting import ahead_sense, lean_deg, tooth_deg
from hingeline.linkage.spline import finest_deg
from hingeline.model.words import directions, say, word_of
from hingeline.rigging.judging_throws import ThrowPoint
from hingeline.rigging.limits import as_measured, limits_of
from hingeline.rigging.mends import Mend, Named, direction_named, rod_mend
from hingeline.rigging.naming import mend, teeth_words, way_words
from hingeline.rigging.stories import Held, hold, predicted_deg
from hingeline.travel.setting import Setting

#: Another story is told as well when it is at least this part as likely. Our own choice.
AS_LIKELY = 0.2
#: New pulses are worth offering when they better the worst miss by so much. Our own choice.
WORTH_DEG = 0.2
# Quantile of the normal distribution beyond which one true story in a thousand lies.
_RARE = 3.09


@dataclass(frozen=True)
class _Told:
    """A story in words, with its mends."""

    cause: str
    text: str
    mends: tuple[Mend, ...]


def name_cause(
    setting: Setting,
    points: Sequence[ThrowPoint],
    *,
    u_deg: float,
    seat_u_deg: float,
    play_deg: float | None,
) -> Named:
    """Name what is most likely wrong with a surface whose throws miss.

    Parameters
    ----------
    setting : Setting
        The surface as it is believed to be built.
    points : sequence of ThrowPoint
        Neutral, both throws and half of each at least, or what is named is little worth.
    u_deg : float
        Standard uncertainty of one reading.
    seat_u_deg : float
        Of the arm's lean as it was read; large when it was not.
    play_deg : float or None
        Whole free play at the surface where it was measured.

    Returns
    -------
    Named
        With every mend's worst miss as it is to be expected. Others that are about as
        likely are told of, too; "unknown" when nothing explains what was read, or when
        nothing stands out from small errors together.
    """
    gone_wrong = _wrong_way(setting, points)
    if gone_wrong is not None:
        return gone_wrong
    held = hold(setting, points, u_deg=u_deg, seat_u_deg=seat_u_deg, play_deg=play_deg)
    best = held[0]
    aim = _aim(setting, points)
    if best.story.kind in ("planned", "turn") or not _explains(best, len(points)):
        return _unknown(setting, points, best, aim)
    told = _told(setting, points, best)
    others = [
        _told(setting, points, one)
        for one in held[1:]
        if math.exp((best.score - one.score) / 2.0) >= AS_LIKELY
        and one.story.kind not in ("planned", "turn")
    ]
    text = f"{setting.surface.name}: {told.text}"
    if others:
        text += "; or " + "; or ".join(other.text for other in others) + " (about as likely)"
    mends = _once([told, *others])
    return Named(told.cause, text + ".", (*mends, *((aim,) if aim else ())))


def suspicion(
    setting: Setting,
    points: Sequence[ThrowPoint],
    *,
    u_deg: float,
    seat_u_deg: float,
    play_deg: float | None,
) -> Named | None:
    """Name what is likely wrong even where the throws are within their tolerance.

    None when small errors together explain the readings about as well.
    """
    held = hold(setting, points, u_deg=u_deg, seat_u_deg=seat_u_deg, play_deg=play_deg)
    planned = next((one.score for one in held if one.story.kind == "planned"), math.inf)
    if math.exp((held[0].score - planned) / 2.0) >= AS_LIKELY:
        return None
    return name_cause(setting, points, u_deg=u_deg, seat_u_deg=seat_u_deg, play_deg=play_deg)


def _explains(held: Held, count: int) -> bool:
    """Tell whether a story leaves no more than one true story in a thousand would.

    The quantile of chi-square is that of E. B. Wilson and M. M. Hilferty, Proceedings of
    the National Academy of Sciences 17 (1931) 684-688.
    """
    spread = 2.0 / (9.0 * count)
    most = count * (1.0 - spread + _RARE * math.sqrt(spread)) ** 3
    return held.misfit <= most


def _wrong_way(setting: Setting, points: Sequence[ThrowPoint]) -> Named | None:
    """Name a surface that follows its pulses backwards."""
    predicted = np.array([point.predicted_deg for point in points])
    seen = np.array([point.measured_deg for point in points])
    if float((predicted - predicted.mean()) @ (seen - seen.mean())) >= 0.0:
        return None
    largest = max(points, key=lambda point: abs(point.measured_deg))
    surface = setting.surface
    return direction_named(
        setting,
        surface,
        word_of(surface, largest.wanted_deg),
        word_of(surface, largest.measured_deg),
    )


def _told(setting: Setting, points: Sequence[ThrowPoint], held: Held) -> _Told:
    story, wrong, u = held.story, held.wrong, held.u
    surface, servo = setting.surface, setting.servo
    if story.kind in ("tooth", "differential"):
        gives = _gives(setting, points, wrong, {"lean_deg": story.fixed["lean_deg"]})
        back = -story.teeth
        refit = mend(
            "refit",
            f"take the arm off and put it on {teeth_words(back)} further {way_words(back)}",
            gives,
            teeth=back,
            part_arm=None,
        )
        turned = f"{teeth_words(story.teeth)} ({units.deg(abs(story.fixed['lean_deg']))})"
        if story.kind == "tooth":
            text = f"the arm sits {turned} {way_words(story.teeth)} of its place"
            return _Told("tooth", text, (refit,))
        planned = lean_deg(surface, servo)
        larger = max(points, key=lambda point: abs(point.wanted_deg))
        text = (
            "the differential is the wrong way round: the arm leans "
            f"{_hinge_words(-planned)} the hinge line and should lean {units.deg(abs(planned))} "
            f"{_hinge_words(planned)} it, so that the throw {word_of(surface, larger.wanted_deg)} "
            f"is the larger one ({turned} {way_words(back)})"
        )
        return _Told("differential", text, (refit,))
    if story.kind == "hole":
        return _hole(setting, points, held)
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
        return _Told("set-back", text, (move,))
    if story.kind == "rod_mm":
        way = "long" if size > 0 else "short"
        text = f"the rod is {abs(size):.2f} mm (+/- {doubt:.2f}) too {way}"
        return _Told("rod", text, (rod_mend(setting, -size, gives),))
    if story.kind == "lag_deg":
        text = (
            f"it has about {units.deg(abs(2.0 * size))} (+/- {2.0 * doubt:.1f}) of free play: it "
            "comes to rest elsewhere from either side"
        )
        joints = mend("joints", "find what moves at clevis, horn and hinge and take it out", gives)
        return _Told("slop", text, (joints,))
    return _lean(setting, points, held, gives)


def _lean(setting: Setting, points: Sequence[ThrowPoint], held: Held, gives: str) -> _Told:
    """Tell of an arm that leans by no whole number of teeth."""
    size, doubt = held.wrong["lean_deg"], held.u["lean_deg"]
    text = (
        f"the arm leans {units.deg(abs(size))} (+/- {doubt:.1f}) further "
        f"{_hinge_words(size)} the hinge line than planned"
    )
    tooth = tooth_deg(setting.servo)
    teeth = -round(size / tooth)
    mends: list[Mend] = []
    if teeth and abs(size) > finest_deg(setting.servo) / 2.0:
        moved = {"lean_deg": -teeth * tooth}
        mends.append(
            mend(
                "refit",
                f"take the arm off and put it on {teeth_words(teeth)} further {way_words(teeth)}",
                _gives(setting, points, held.wrong, moved),
                teeth=teeth,
                part_arm=None,
            )
        )
    elif (trim := _lean_trim(setting, size)) is not None:
        # The arm comes to its place by the pulse; the rod then has to be fitted anew.
        mends.append(
            mend(
                "trim",
                f"trim the servo's centre by {trim:+d} us, then fit the rod to neutral",
                gives,
                trim_us=trim,
            )
        )
    return _Told("lean", text, tuple(mends))


def _lean_trim(setting: Setting, lean: float) -> int | None:
    trim = round(-ahead_sense(setting.linkage) * lean / setting.curve.rate_deg_per_us)
    low, high = setting.curve.limits_us
    return trim if low < setting.centre_us + trim < high else None


def _hole(setting: Setting, points: Sequence[ThrowPoint], held: Held) -> _Told:
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
    return _Told("hole", text, (back,))


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
    return f"{', '.join(ends)}; worst miss about {units.deg(worst)}"


def _aim(setting: Setting, points: Sequence[ThrowPoint]) -> Mend | None:
    """Offer new pulses for the surface as it is built, where they better it."""
    if not {-1.0, 0.0, 1.0} <= {point.share for point in points}:
        return None
    found = limits_of(setting, points)
    stands = as_measured(setting, points)
    worst_now = max(abs(point.miss_deg) for point in points)
    ends = {share: found.ends_us[directions(setting.surface)[share < 0]] for share in (1, -1)}
    misses = []
    for point in points:
        end = ends[1 if point.share >= 0 else -1]
        pulse = found.centre_us + abs(point.share) * (end - found.centre_us)
        misses.append(abs(stands(pulse) - point.wanted_deg))
    if max(misses) > worst_now - WORTH_DEG:
        return None
    said = ", ".join(f"{word} {us} us" for word, us in found.ends_us.items())
    part = max(miss for miss, point in zip(misses, points, strict=True) if abs(point.share) < 1.0)
    return mend(
        "aim",
        f"leave it as it is built and set new pulses: centre {found.centre_us} us, {said}",
        f"worst miss about {units.deg(max(misses))}, part-way {units.deg(part)}",
    )


def _unknown(
    setting: Setting, points: Sequence[ThrowPoint], best: Held, aim: Mend | None
) -> Named:
    surface = setting.surface
    worst = max(points, key=lambda point: abs(point.miss_deg))
    seen = (
        f"{surface.name}: it stands {say(surface, worst.measured_deg)} instead of "
        f"{say(surface, worst.wanted_deg)} at {worst.pulse_us:.0f} us"
    )
    again = mend(
        "servo", f"see whether servo {surface.servo} is the one on record; measure it again"
    )
    if best.story.kind == "turn":
        share = best.wrong["turn"]
        text = (
            f"{seen}: servo {surface.servo} turns about {abs(share):.0%} "
            f"{'further' if share > 0 else 'less'} than its travel curve says"
        )
        return Named("unknown", f"{text}.", (again, *((aim,) if aim else ())))
    if best.story.kind == "planned":
        text = f"{seen}; nothing single stands out, small errors together explain it"
        return Named("unknown", f"{text}.", (aim,) if aim else (again,))
    text = f"{seen}, and nothing that is commonly wrong explains all points: read them once more"
    return Named("unknown", f"{text}.", (again, *((aim,) if aim else ())))


def _once(told: Sequence[_Told]) -> list[Mend]:
    """Join the mends of several stories, each once, the likeliest story's first."""
    found: list[Mend] = []
    for one in told:
        for offered in one.mends:
            if all(offered.detail != known.detail for known in found):
                found.append(offered)
    return found


def _hinge_words(ahead: float) -> str:
    return "AWAY from" if ahead > 0 else "TOWARDS"
