"""The throws: sent as the geometry asks, read, judged, and what is wrong named."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from hingeline.bench.rigging.context import Result, Rig
from hingeline.bench.rigging.linking import come_to_neutral
from hingeline.bench.rigging.mending import settle
from hingeline.bench.rigging.reading import read_surface
from hingeline.model.throws import signed_deg
from hingeline.model.words import directions, sign_of
from hingeline.rigging.causes import name_cause, suspicion
from hingeline.rigging.judging_throws import Judged, ThrowPoint, figures_of, judge, points_of
from hingeline.rigging.limits import limits_of
from hingeline.rigging.steps import Item
from hingeline.travel.reading import Approach
from hingeline.travel.setting import Setting

#: In the order in which they are taken: each outward from the one before, neutral from both.
SHARES = (0.0, 0.5, 1.0, 0.0, -0.5, -1.0)
#: Standard uncertainty of the lean of an arm that nobody has read. Our own choice.
UNREAD_SEAT_DEG = 8.0


def throws(rig: Rig, item: Item) -> Result:
    """Send a surface through the points of its throws, and have each one read."""
    name = item.subject
    setting = rig.setting(name)
    pulses = pulses_of(rig, setting)
    points = _taken(rig, setting, pulses)
    u_deg, kind = rig.u_deg(name), rig.gauge.kind
    judged = judge(
        setting,
        points,
        tolerance_deg=rig.tolerance_deg,
        u_deg=u_deg,
        measure=kind if kind == "drop" or kind == "straight" else None,
    )
    figures = throw_figures(rig, setting, points, judged)
    slop = rig.found("slop", name)
    known: dict[str, Any] = {
        "u_deg": u_deg,
        "seat_u_deg": _seat_u_deg(rig, name),
        "play_deg": None if slop is None else slop["figures"].get("slop_deg"),
    }
    said = " ".join(judged.sentences)
    if judged.passed:
        if (hint := suspicion(setting, points, **known)) is not None:
            figures["suspicion"] = hint.cause
            rig.prompter.tell(f"Within the tolerance, but look again: {hint.text}")
        return Result("done", said, figures)
    rig.prompter.tell(said)
    return settle(rig, item, name_cause(setting, points, **known), figures)


def _seat_u_deg(rig: Rig, name: str) -> float:
    seat = rig.found("seat", name)
    return (
        UNREAD_SEAT_DEG if seat is None else float(seat["figures"].get("u_deg", UNREAD_SEAT_DEG))
    )


def pulses_of(rig: Rig, setting: Setting) -> dict[float, int]:
    """Return the pulse of each share of the throws, by the plan or as it was found to be built."""
    pulses = {0.0: round(setting.centre_us)}
    for share in SHARES:
        if share:
            pulses[share] = setting.pulse_us(_wanted(setting, share))
    if not rig.built(setting.surface.name).aimed:
        return pulses
    before = rig.throws_found(setting.surface.name)
    if before is None:
        return pulses
    found = limits_of(setting, points_of(setting.surface, before["points"]))
    return {share: round(found.pulse_us(share)) for share in SHARES}


def _taken(rig: Rig, setting: Setting, pulses: dict[float, int]) -> list[ThrowPoint]:
    name = setting.surface.name
    points: list[ThrowPoint] = []
    with rig.live([name]):
        at = pulses[0.0]
        approach = come_to_neutral(rig, setting, at)
        known = _known_neutral(rig, setting, at, approach)
        spared = 0 if known is None else 1
        for place, share in enumerate(SHARES):
            pulse = pulses[share]
            if place:
                rig.go({name: pulse})
                approach = "rising" if pulse > at else "falling"
            at = pulse
            which = f"point {place + 1 - spared} of {len(SHARES) - spared}"
            read = None if place else known
            points.append(_point(rig, setting, share, pulse, approach, read, which))
        rig.go({name: pulses[0.0]})
    return points


def _known_neutral(rig: Rig, setting: Setting, pulse_us: int, approach: Approach) -> float | None:
    """Return what was read at the neutral step, if that was the last that was done there."""
    row = rig.found("neutral", setting.surface.name)
    if row is None or row["outcome"] != "done":
        return None
    later = [one for one in rig.rows if one["id"] > row["id"]]
    if any(one["surface"] == setting.surface.name and "mend" in one["figures"] for one in later):
        return None
    figures = row["figures"]
    if (figures["pulse_us"], figures["approach"]) != (pulse_us, approach):
        return None
    return _first(setting) * float(figures["measured_deg"])


def _point(
    rig: Rig,
    setting: Setting,
    share: float,
    pulse_us: int,
    approach: Approach,
    known_deg: float | None,
    which: str,
) -> ThrowPoint:
    predicted = setting.predicted_deg(pulse_us, approach)
    measured = known_deg
    if measured is None:
        topic = "throw" if share else "neutral"
        measured = read_surface(
            rig,
            setting,
            pulse_us,
            approach,
            topic=topic,
            share=share,
            expected_deg=predicted,
            which=which,
        )
    return ThrowPoint(share, pulse_us, approach, _wanted(setting, share), predicted, measured)


def _wanted(setting: Setting, share: float) -> float:
    """Return the signed deflection that a share of a throw asks for."""
    if not share:
        return 0.0
    word = directions(setting.surface)[0 if share > 0 else 1]
    return abs(share) * signed_deg(setting.surface, word)


def _first(setting: Setting) -> int:
    """Return the engine's sign of a surface's first direction."""
    return sign_of(setting.surface, directions(setting.surface)[0])


def throw_figures(
    rig: Rig, setting: Setting, points: Sequence[ThrowPoint], judged: Judged
) -> dict[str, Any]:
    """Return what was read as plain figures, with what it was read with in this sitting."""
    rows = figures_of(setting.surface, points)
    for place, row in enumerate(rows):
        row["from"] = "first" if place == SHARES.index(0.0, 1) else "neutral"
    return {
        "points": rows,
        "worst_deg": abs(judged.worst),
        "pass": judged.passed,
        **read_with(rig, setting.surface.name),
    }


def read_with(rig: Rig, name: str) -> dict[str, Any]:
    """Return what the throws of a surface are read and judged with in this sitting."""
    return {
        "gauge": rig.gauge.kind,
        "resolution": rig.gauge.resolution,
        "u_deg": rig.u_deg(name),
        "tolerance_deg": rig.tolerance_deg,
    }
