"""The figures for the radio, put together and as plain figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from hingeline.cli.rigstate import RigState
from hingeline.errors import TravelError
from hingeline.model.schema import Model, Pair
from hingeline.rigging.handing import Handed, Span
from hingeline.rigging.mixing import Differential, Sum, differential, sums
from hingeline.rigging.onesignal import Factors, OneSignal, one_signal
from hingeline.rigging.remaining import Left, sentences
from hingeline.rigging.sticks import commands_of, expected


@dataclass(frozen=True)
class Radio:
    """What is known of the radio: its centre, and what it calls 100 %."""

    centre_us: float | None
    span: Span | None


@dataclass(frozen=True)
class Found:
    """One surface's figures, when they were noted, what happened after that, and its rig.

    Remarks say what was counted in; they do not make it fail.
    """

    handed: Handed
    noted: str | None
    newer: tuple[str, ...] = ()
    rig: RigState | None = None
    remarks: tuple[str, ...] = ()

    @cached_property
    def left(self) -> list[Left]:
        """What of its rig is left to do about the surface and its pair."""
        return [] if self.rig is None else self.rig.left(self.handed.surface)

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """What is not as it was wanted, or no longer sure."""
        changed = [] if self.rig is None else self.rig.changed(self.handed.surface)
        return (*self.handed.notes, *self.newer, *sentences(self.left, changed))


@dataclass(frozen=True)
class Work:
    """All that is handed over."""

    model: Model
    radio: Radio
    found: Sequence[Found]
    pairs: Sequence[tuple[Pair, OneSignal]]
    rigs: Sequence[RigState] = ()

    @property
    def passed(self) -> bool:
        """Whether all that is wanted is had, by rigs that were ended and signed."""
        sound = all(rig.stands and not rig.left_of_model for rig in self.rigs)
        return sound and not any(one.notes for one in self.found)


def work_out(
    model: Model, found: Sequence[Found], radio: Radio, rigs: Sequence[RigState] = ()
) -> Work:
    """Put surfaces and the pairs among them together."""
    by_name = {one.handed.surface.name: one.handed for one in found}
    pairs = [
        (pair, one_signal(by_name[pair.left], by_name[pair.right], pair.moves))
        for pair in model.pairs
        if pair.left in by_name and pair.right in by_name
    ]
    return Work(model, radio, found, pairs, rigs)


def figures(work: Work) -> dict[str, Any]:
    """Return all of it as plain figures."""
    span = work.radio.span
    return {
        "model": work.model.name,
        "radio_centre_us": work.radio.centre_us,
        "span_us": span.span_us if span else None,
        "surfaces": [_surface_figures(one, work.radio) for one in work.found],
        "pairs": [_pair_figures(pair, found) for pair, found in work.pairs],
        "rigs": [_rig_figures(one) for one in work.rigs],
        "pass": work.passed,
    }


def _rig_figures(rig: RigState) -> dict[str, Any]:
    return {
        "rig": rig.number,
        "begun": rig.begun,
        "signed": rig.signed,
        "signature_stands": rig.stands,
        "remaining": _left_figures(rig.left_of_model),
    }


def _left_figures(left: Sequence[Left]) -> list[dict[str, Any]]:
    return [
        {
            "step": one.item.step.name,
            "subject": one.item.subject,
            "state": one.state,
            "why": one.why,
        }
        for one in left
    ]


def _surface_figures(found: Found, radio: Radio) -> dict[str, Any]:
    one, surface = found.handed, found.handed.surface
    off = None
    if radio.centre_us is not None:
        off = {
            "by_us": radio.centre_us - one.bench_centre_us,
            "arm_off_deg": one.arm_off_deg(radio.centre_us),
        }
    return {
        "name": surface.name,
        "kind": surface.kind,
        "servo": surface.servo,
        "bench_channel": surface.channel,
        "source": one.source,
        "noted": found.noted,
        "centre_us": one.centre_us,
        "end_us": dict(one.ends_us),
        "wanted_deg": dict(one.wanted_deg),
        "throw_deg": dict(one.throw_deg),
        "rising_pulse": one.rising,
        "arm_rate_deg_per_us": one.arm_rate_deg_per_us,
        "bench_centre_us": one.bench_centre_us,
        "percent": _percent_figures(one, radio.span),
        "radio_centre_off": off,
        "differential": _differential_figures(differential_of(one)),
        "mid_travel": _stand_figures(one, one.middle_us),
        "servo_centre": _stand_figures(one, one.bench_centre_us),
        "sticks": [
            {"stick": command, "goes": expected(surface, command)}
            for command in commands_of(surface)
        ],
        "sums": [_sum_figures(item) for item in sums(one)],
        "notes": list(found.notes),
        "remarks": list(found.remarks),
        "remaining": _left_figures(found.left),
        "pass": not found.notes,
    }


def _percent_figures(one: Handed, span: Span | None) -> dict[str, Any] | None:
    if span is None:
        return None
    return {
        "centre": span.percent(one.centre_us),
        "end": {word: span.percent(us) for word, us in one.ends_us.items()},
        "end_from_trimmed_centre": {
            word: span.percent(us, one.centre_us) for word, us in one.ends_us.items()
        },
    }


def differential_of(one: Handed) -> Differential | None:
    """Compare the two throws of a surface; None when they are alike."""
    return differential(one.throw_deg, one.surface.chord_mm)


def _differential_figures(found: Differential | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "larger": found.larger,
        "smaller": found.smaller,
        "smaller_of_larger_percent_by_deg": 100.0 * found.of_larger_deg,
        "smaller_of_larger_percent_by_drop": 100.0 * found.of_larger_mm,
    }


def _stand_figures(one: Handed, pulse_us: float) -> dict[str, Any]:
    """Tell where a surface stands at a pulse; null where that is not known."""
    stands = stands_at(one, pulse_us)
    return {
        "pulse_us": pulse_us,
        "towards": None if stands is None else one.words[0 if stands >= 0 else 1],
        "deflection_deg": None if stands is None else abs(stands),
    }


def stands_at(one: Handed, pulse_us: float) -> float | None:
    """Return where a surface stands at a pulse; None where that is not known."""
    try:
        return one.stands(pulse_us)
    except TravelError:
        return None


def _sum_figures(item: Sum) -> dict[str, Any]:
    return {
        "word": item.word,
        "asked_deg": item.asked_deg,
        "allowed_deg": item.allowed_deg,
        "limit_us": item.limit_us,  # null: so far out nothing was measured
        "each_at_most_percent": 100.0 * item.share,
    }


def _pair_figures(pair: Pair, found: OneSignal) -> dict[str, Any]:
    return {
        "left": pair.left,
        "right": pair.right,
        "moves": pair.moves,
        "one_channel_reversed": found.one_reversed,
        "one_signal": {
            "works": found.works,
            "left": _factor_figures(found.left),
            "right": _factor_figures(found.right),
            "worst_deg": found.worst_deg,
        },
    }


def _factor_figures(side: Factors) -> dict[str, Any]:
    return {
        "servo_turns": side.servo,
        "arm_points": side.arm,
        "horn_side": side.horn,
        "rising_pulse": side.goes,
    }
