"""``hingeline listen``."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from hingeline import kinds, units
from hingeline.bench.procedures.binding import HOLD_S, Listening, listen
from hingeline.bench.procedures.channels import Channel, channel_of, in_use
from hingeline.cli import models, noting, options
from hingeline.cli.benchwork import CAUTION, at_bench
from hingeline.cli.output import FAILED, emit, wrapped
from hingeline.errors import TravelError
from hingeline.travel.binding import STEP_US, Heard, Side
from hingeline.travel.setting import Setting

_CAUTION = (
    f"{CAUTION} A servo that buzzes draws its full current: each pulse is held for a moment, "
    "and the servo goes back to centre before you answer. Heat or smell: pull its plug."
)
_MEANS = {
    "free": "quiet to the end of what was tried",
    "linkage": "with the rod off it is quiet there: linkage or surface binds",
    "servo": "with the rod off as well: the servo's own end, or a servo that hunts",
    "unclear": "the rod was not taken off, so it is not clear what binds",
}


@click.command("listen", short_help="Find where a servo buzzes, rod on and rod off.")
@options.model_argument
@click.argument("servo", metavar="SERVO")
@click.option(
    "--step",
    "step_us",
    type=options.Quantity(units.PULSE, 5.0, 200.0),
    default=f"{STEP_US} us",
    show_default=True,
    metavar="PULSE",
    help="Distance between two pulses.",
)
@click.option(
    "--hold",
    "hold_s",
    type=options.Quantity(units.TIME, 0.5, 5.0),
    default=f"{HOLD_S:g} s",
    show_default=True,
    help="How long each pulse is held.",
)
@options.rod_off_option
@options.moving_options
@options.json_option
def command(
    model: Path,
    servo: str,
    step_us: float,
    hold_s: float,
    rod_off: bool,
    choices: options.Choices,
    as_json: bool,
) -> int:
    """Find where a servo buzzes, rod on and rod off.

    Each way out from centre, step by step, the servo is held for a moment and you say
    whether it was quiet or buzzing. Where it buzzed, the same is done with the rod off:
    what is quiet then is bound by its linkage. The limits to set lie one step before. The
    exit code is 1 when the linkage binds, or it buzzes at centre.

    \b
    Example:
      hingeline listen millrace.toml A1
    """
    file = models.load(model)
    surface = models.surface_of_servo(file, servo)
    channel = channel_of(file.model.servo_of(surface), surface.channel, f"{servo}, {surface.name}")
    with at_bench(
        choices,
        "listen",
        [channel],
        file,
        doing=f"be stepped out from centre and held ({'rod OFF' if rod_off else 'rod on'})",
        caution=_CAUTION,
    ) as bench:
        ends = channel.limits_us if rod_off else _free_ends(bench.setting(file, surface), channel)
        plan = Listening(channel, ends, round(step_us), hold_s, rod_on=not rod_off)

        def keep(pulse_us: int | None, rod_on: bool, typed: str, word: str) -> None:
            at = {} if pulse_us is None else {"pulse_us": pulse_us}
            noting.answer_note(bench, servo, typed, word, rod_on=rod_on, **at)

        with in_use(bench.board, [channel]):
            low, high = listen(bench.board, plan, bench.asker, keep)
        figures = _figures(servo, channel, plan, (low, high))
        bench.records.note_finding(bench.session_id, kinds.BINDING, servo, figures)
    emit(figures, as_json=as_json, text=_text(figures, plan, (low, high)))
    bound = any(side.cause == "linkage" or side.stop_us is None for side in (low, high))
    return FAILED if bound else 0


def _free_ends(setting: Setting, channel: Channel) -> tuple[int, int]:
    """Return the outermost pulses, rod on, that the model's free travel and linkage allow."""
    low, high = channel.limits_us
    measured = setting.curve.limits_us
    low, high = max(low, round(measured[0])), min(high, round(measured[1]))
    centre = channel.centre_us

    def outermost(end_us: int) -> int:
        # The way out is monotone: halve until the last allowed pulse is found.
        allowed, refused = centre, end_us + (1 if end_us > centre else -1)
        while abs(refused - allowed) > 1:
            middle = (allowed + refused) // 2
            try:
                setting.check_pulse(middle)
                allowed = middle
            except TravelError:
                refused = middle
        return allowed

    return outermost(low), outermost(high)


def _figures(
    servo: str, channel: Channel, plan: Listening, sides: tuple[Side, Side]
) -> dict[str, Any]:
    low, high = sides
    return {
        "servo": servo,
        "channel": channel.number,
        "centre_us": channel.centre_us,
        "step_us": plan.step_us,
        "tried_us": list(plan.ends_us),
        "low": _side(low),
        "high": _side(high),
        "pulse_limits_us": [low.stop_us, high.stop_us],
    }


def _side(side: Side) -> dict[str, Any]:
    return {
        "rod_on": _heard(side.rod_on),
        "rod_off": _heard(side.rod_off),
        "cause": side.cause,
        "stop_us": side.stop_us,
    }


def _heard(heard: Heard | None) -> dict[str, int | None] | None:
    if heard is None:
        return None
    return {"quiet_us": heard.quiet_us, "buzzing_us": heard.buzzing_us}


def _text(figures: dict[str, Any], plan: Listening, sides: tuple[Side, Side]) -> Iterator[str]:
    yield f"Heard of {figures['servo']}, from {figures['centre_us']} us outwards"
    for name, side in zip(("Down", "Up"), sides, strict=True):
        for rod, heard in (("rod on", side.rod_on), ("rod off", side.rod_off)):
            if heard is not None:
                yield f"  {name + ', ' + rod:16}{_said(heard)}"
        yield wrapped(f"  {name + ':':16}{_MEANS[side.cause]}")
    low, high = figures["pulse_limits_us"]
    if low is None or high is None:
        yield wrapped(
            "It buzzes at its centre already: free the linkage, or look for another servo, "
            "before any limit is set."
        )
    elif any(side.cause != "free" for side in sides):
        yield f'Limits to set, a step of {plan.step_us} us before: "{low} us" to "{high} us"'
    else:
        yield f"Nothing binds from {low} to {high} us; no other limits are needed."


def _said(heard: Heard) -> str:
    if heard.buzzing_us is None:
        return f"quiet to {heard.quiet_us} us"
    if heard.quiet_us is None:
        return f"buzzes at {heard.buzzing_us} us, its centre"
    return f"quiet to {heard.quiet_us} us, buzzes at {heard.buzzing_us} us"
