"""From the throws of a surface to what is physically wrong with it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from hingeline import units
from hingeline.model.words import say, word_of
from hingeline.rigging.judging_throws import ThrowPoint
from hingeline.rigging.limits import as_measured, limits_of
from hingeline.rigging.mends import direction_named
from hingeline.rigging.naming import Mend, Named, mend
from hingeline.rigging.stories import MUCH, Held, hold
from hingeline.rigging.telling import Told, measure_again, tell
from hingeline.travel.setting import Setting

#: Another story is told as well when it is at least this part as likely. Our own choice.
AS_LIKELY = 0.2
#: So many others are told at most.
MOST_OTHERS = 2
#: New pulses are worth offering when they better the worst miss by so much. Our own choice.
WORTH_DEG = 0.2
# Quantile of the normal distribution beyond which one true story in a thousand lies.
_RARE = 3.09


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
    held = hold(setting, points, u_deg=u_deg, seat_u_deg=seat_u_deg, play_deg=play_deg)
    return _wrong_way(setting, points) or _likeliest(setting, points, held)


def _likeliest(setting: Setting, points: Sequence[ThrowPoint], held: Sequence[Held]) -> Named:
    aim = _aim(setting, points)
    best = next((one for one in held if one.story.kind != "planned"), None)
    if best is None or not _as_likely(best, held[0]) or not _explains(best, len(points)):
        return _unknown(setting, points, held[0] if held else None, aim)
    likely = [one for one in held if one is best or (_as_likely(one, best) and _has_size(one))]
    told = [tell(setting, points, one) for one in likely]
    told.sort(key=lambda one: one.cause == "")  # small errors are told of last
    told = told[: 1 + MOST_OTHERS]
    first, others = told[0], told[1:]
    text = f"{setting.surface.name}: {first.text}"
    if others:
        text += "; or " + "; or ".join(other.text for other in others) + " (about as likely)"
    return Named(first.cause, f"{text}.", (*_once(told), *((aim,) if aim else ())))


def _as_likely(one: Held, other: Held) -> bool:
    return math.exp((other.score - one.score) / 2.0) >= AS_LIKELY


def _has_size(held: Held) -> bool:
    """Tell whether what a story says is wrong is more than the doubt about it."""
    kind = held.story.kind
    return kind not in MUCH or abs(held.wrong[kind]) >= held.u[kind]


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
    planned = next((one for one in held if one.story.kind == "planned"), None)
    if planned is not None and _as_likely(planned, held[0]):
        return None
    return _wrong_way(setting, points) or _likeliest(setting, points, held)


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
    if not float((predicted - predicted.mean()) @ (seen - seen.mean())) < 0.0:
        return None
    largest = max(points, key=lambda point: abs(point.measured_deg))
    surface = setting.surface
    return direction_named(
        setting,
        surface,
        word_of(surface, largest.wanted_deg),
        word_of(surface, largest.measured_deg),
    )


def _aim(setting: Setting, points: Sequence[ThrowPoint]) -> Mend | None:
    """Offer new pulses for the surface as it is built, where they better it."""
    if not {-1.0, 0.0, 1.0} <= {point.share for point in points}:
        return None
    found = limits_of(setting, points)
    stands = as_measured(setting, points)
    worst_now = max(abs(point.miss_deg) for point in points)
    misses = [abs(stands(found.pulse_us(point.share)) - point.wanted_deg) for point in points]
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
    setting: Setting, points: Sequence[ThrowPoint], best: Held | None, aim: Mend | None
) -> Named:
    surface = setting.surface
    worst = max(points, key=lambda point: abs(point.miss_deg))
    seen = (
        f"{surface.name}: it stands {say(surface, worst.measured_deg)} instead of "
        f"{say(surface, worst.wanted_deg)} at {worst.pulse_us:.0f} us"
    )
    if best is not None and best.story.kind == "planned":
        text = f"{seen}; nothing single stands out, small errors together explain it"
        return Named("unknown", f"{text}.", (aim,) if aim else (measure_again(setting),))
    text = f"{seen}, and nothing that is commonly wrong explains all points: read them once more"
    return Named("unknown", f"{text}.", (measure_again(setting), *((aim,) if aim else ())))


def _once(told: Sequence[Told]) -> list[Mend]:
    """Join the mends of several stories, each once, the likeliest story's first."""
    found: list[Mend] = []
    for one in told:
        for offered in one.mends:
            if all(offered.detail != known.detail for known in found):
                found.append(offered)
    return found
