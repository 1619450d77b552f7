"""``hingeline deadband``."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from hingeline import kinds, units
from hingeline.bench.procedures.channels import Channel, channel_of, in_use
from hingeline.bench.procedures.deadband import RUN_UP_US, Trial, find_thresholds
from hingeline.cli import models, noting, options
from hingeline.cli.benchwork import at_bench
from hingeline.cli.output import emit, wrapped
from hingeline.linkage.closure import ratio
from hingeline.travel.curve import TravelCurve
from hingeline.travel.deadband import DeadBand, Threshold
from hingeline.travel.setting import Setting

#: Over so many us the slope of a curve is taken: more than any dead band. Our own choice.
_SLOPE_US = 50.0


@click.command("deadband", short_help="Find the least step back that moves a servo.")
@options.model_argument
@click.argument("servo", metavar="SERVO")
@click.option(
    "--at",
    "at_us",
    type=options.PULSE,
    default=None,
    metavar="PULSE",
    help="Where; default: the servo's centre.",
)
@options.rod_off_option
@options.moving_options
@options.json_option
def command(
    model: Path,
    servo: str,
    at_us: float | None,
    rod_off: bool,
    choices: options.Choices,
    as_json: bool,
) -> None:
    """Find the least step back that moves a servo.

    The servo comes to a pulse from one side and makes one small step back; you say whether
    its arm moved. Six questions from each side close in on the least step that shows: the
    dead band. No throw can be set more closely. A long pointer on the arm helps.

    \b
    Example:
      hingeline deadband millrace.toml A1
    """
    file = models.load(model)
    surface = models.surface_of_servo(file, servo)
    channel = channel_of(file.model.servo_of(surface), surface.channel, f"{servo}, {surface.name}")
    pulse_us = channel.centre_us if at_us is None else round(at_us)
    _refuse_ends(channel, pulse_us)
    with at_bench(
        choices, "deadband", [channel], file, doing=f"make small steps about {pulse_us} us"
    ) as bench:
        setting = bench.setting(file, surface)
        if not rod_off:
            for end_us in (pulse_us - RUN_UP_US, pulse_us + RUN_UP_US):
                setting.check_pulse(end_us)

        def keep(trial: Trial, typed: str, word: str) -> None:
            at = {"pulse_us": trial.pulse_us, "step_us": trial.step_us}
            noting.answer_note(bench, servo, typed, word, **at)

        with in_use(bench.board, [channel]):
            down, up = find_thresholds(bench.board, channel, pulse_us, bench.asker, keep)
        found = DeadBand(pulse_us, down, up, *_rate(setting, pulse_us))
        figures = _figures(servo, setting, found)
        bench.records.note_finding(bench.session_id, kinds.DEAD_BAND, servo, figures)
    emit(figures, as_json=as_json, text=_text(figures, setting, found))


def _refuse_ends(channel: Channel, pulse_us: int) -> None:
    low, high = (channel.limits_us[0] + RUN_UP_US, channel.limits_us[1] - RUN_UP_US)
    if not low <= pulse_us <= high:
        raise click.UsageError(
            f"--at {pulse_us} us is not within {low} to {high} us, where {channel.label} has "
            f"{RUN_UP_US} us of run-up on both sides."
        )


def _rate(setting: Setting, pulse_us: int) -> tuple[float, float]:
    """Return the servo's rate at a pulse and its standard uncertainty (0: a maker's figure)."""
    curve = setting.curve
    if not isinstance(curve, TravelCurve):
        return curve.rate_deg_per_us, 0.0
    low, high = curve.limits_us
    ends = (max(low, pulse_us - _SLOPE_US), min(high, pulse_us + _SLOPE_US))
    if ends[1] - ends[0] < _SLOPE_US:  # outside of what was measured
        return curve.rate_deg_per_us, curve.rate_deg_per_us_u
    before, after = (float(curve.angle_deg(end)) for end in ends)
    return (after - before) / (ends[1] - ends[0]), curve.rate_deg_per_us_u


def _figures(servo: str, setting: Setting, found: DeadBand) -> dict[str, Any]:
    shaft = math.radians(float(setting.curve.angle_deg(found.pulse_us, None)))
    slope = abs(float(ratio(setting.linkage, shaft)))
    curve = setting.curve
    return {
        "servo": servo,
        "surface": setting.surface.name,
        "pulse_us": found.pulse_us,
        "dead_band_us": found.dead_band_us,
        "dead_band_us_u": found.dead_band_us_u,
        "dead_band_deg": found.dead_band_deg,
        "dead_band_deg_u": found.dead_band_deg_u,
        "dead_band_surface_deg": slope * found.dead_band_deg,
        "calibrated": setting.measured,
        "by_curve_us": curve.dead_band_us if isinstance(curve, TravelCurve) else None,
        "back_down": _step(found.back_down),
        "back_up": _step(found.back_up),
    }


def _step(threshold: Threshold) -> dict[str, int]:
    return {"still_us": threshold.still_us, "moved_us": threshold.moved_us}


def _text(figures: dict[str, Any], setting: Setting, found: DeadBand) -> Iterator[str]:
    yield f"Dead band of {figures['servo']} at {found.pulse_us} us"
    sides = (("After a rising pulse", found.back_down), ("After a falling one", found.back_up))
    for name, side in sides:
        yield f"  {name:22}still at {side.still_us} us back, moved at {side.moved_us} us"
    u_us = math.ceil(2.0 * found.dead_band_us_u)
    yield f"  {'Dead band':22}{found.dead_band_us:.0f} us  (+/- {u_us}, 95 %)"
    arm, surface = figures["dead_band_deg"], figures["dead_band_surface_deg"]
    rate = "its measured rate" if setting.measured else "the maker's rate"
    yield f"  {'At the arm':22}{units.deg(arm)}, by {rate}"
    if figures["by_curve_us"] is not None:
        by_curve = max(figures["by_curve_us"], 0.0)
        yield f"  {'By its travel curve':22}{by_curve:.0f} us, rising against falling readings"
    yield wrapped(
        f"No throw of {setting.surface.name} can be set more closely than "
        f"{max(surface, 0.1):.1f} deg."
    )
