"""Which channels a command moves: surfaces of a model, or one channel by its figures."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from hingeline.bench.procedures.channels import Channel
from hingeline.cli import models, options
from hingeline.cli.benchwork import Bench, channels_of
from hingeline.model.checks import CHANNELS, CLASS_LIMITS_US, USUAL_FRAME_HZ, frame_problems
from hingeline.model.schema import PulseClass, Surface

#: Centre and limits of a channel for which nothing was said: well inside each class. Whoever
#: chooses the class "custom" states both. Common practice, no source.
_USUAL: dict[str, tuple[int, int, int]] = {
    "standard": (1500, 1000, 2000),
    "narrow": (760, 560, 960),
}


@dataclass(frozen=True)
class Targets:
    """What a command moves.

    Attributes
    ----------
    file : ModelFile or None
        The model; None for a bare channel.
    surfaces : list of Surface
        Of the model; empty for a bare channel.
    channels : list of Channel
        What the board will be told.
    """

    file: models.ModelFile | None
    surfaces: list[Surface]
    channels: list[Channel]


@dataclass(frozen=True)
class Figures:
    """What was said of a servo without a model file; None: nothing."""

    pulse_class: PulseClass | None
    centre_us: float | None
    limits_us: tuple[float, float] | None
    digital: bool = False
    frame_hz: float | None = None


#: What a servo is, without a model file.
servo_options = (
    click.option(
        "--limits",
        nargs=2,
        type=options.PULSE,
        default=None,
        metavar="LOW HIGH",
        help="With --channel: lowest and highest pulse.",
    ),
    click.option(
        "--at",
        "centre",
        type=options.PULSE,
        default=None,
        metavar="PULSE",
        help="With --channel: the centre pulse.",
    ),
    click.option(
        "--pulse-class",
        type=click.Choice(list(CLASS_LIMITS_US)),
        default=None,
        help="With --channel: the servo's pulse class; must be stated. 'custom' has the limits "
        "that you state.",
    ),
)


def target_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the ways to say what moves, given as ``chosen``.

    A MODEL and its surfaces, or a --channel and its figures.
    """

    @functools.wraps(command)
    def collected(
        *,
        model: Path | None,
        surfaces: tuple[str, ...],
        channel: int | None,
        pulse_class: PulseClass | None,
        centre: float | None,
        limits: tuple[float, float] | None,
        digital: bool,
        frame_rate: float | None,
        **others: Any,
    ) -> Any:
        figures = Figures(pulse_class, centre, limits, digital, frame_rate)
        return command(chosen=resolve(model, surfaces, channel, figures), **others)

    for option in (
        click.option(
            "--frame-rate",
            type=options.FRAME_RATE,
            default=None,
            metavar="RATE",
            help="With --digital: more frames per second than the usual 50 Hz.",
        ),
        click.option(
            "--digital",
            is_flag=True,
            help="With --channel: its maker says that the servo is digital.",
        ),
        *servo_options,
        click.option(
            "--channel",
            type=click.IntRange(1, CHANNELS),
            default=None,
            metavar="N",
            help="A servo without a model file, on this channel.",
        ),
        click.argument("surfaces", nargs=-1, metavar="[SURFACE]..."),
        click.argument(
            "model",
            required=False,
            type=click.Path(path_type=Path, dir_okay=False),
            metavar="[MODEL]",
        ),
    ):
        collected = option(collected)
    return collected


def check_pulses(
    chosen: Targets, pulses_us: Sequence[int], *, unsaid: str = "", mend: str = ""
) -> None:
    """Refuse a pulse outside the limits of a channel, before anyone is asked.

    Parameters
    ----------
    chosen : Targets
        What will move.
    pulses_us : sequence of int
        Where to.
    unsaid : str
        Where the pulses come from when the user did not say them, to begin the message with:
        "Without --to ...: ".
    mend : str
        What the user may do, beside moving the limits: "Name --to."

    Raises
    ------
    click.UsageError
        Naming pulse, channel and limits, and how to move the limits where the class allows it.
    """
    for channel in chosen.channels:
        low, high = channel.limits_us
        for pulse in pulses_us:
            if not low <= pulse <= high:
                what = (
                    f"{unsaid}{pulse} us is outside the {low} to {high} us of channel "
                    f"{channel.number} ({channel.label})."
                )
                raise click.UsageError(
                    " ".join(filter(None, (what, mend, _wider(chosen, channel, pulse))))
                )


def _wider(chosen: Targets, channel: Channel, pulse_us: int) -> str:
    """Say what a user may do who wants a pulse outside the limits."""
    least, most = CLASS_LIMITS_US[channel.pulse_class]
    if not least <= pulse_us <= most:
        return f"The class {channel.pulse_class!r} ends at {least} and {most} us."
    if chosen.file is None:
        return "Where the servo's maker allows it, give --limits LOW HIGH."
    return "Where the servo's maker allows it, widen pulse_limits in the model file."


def resolve(
    model: Path | None, surfaces: Sequence[str], channel: int | None, figures: Figures
) -> Targets:
    """Work out what moves from the options of :func:`target_options`.

    Raises
    ------
    click.UsageError
        When neither or both ways are used, or as for :func:`bare_channel`.
    ModelError
        As the model file raises it.
    """
    if model is not None:
        if channel is not None or figures != Figures(None, None, None):
            raise click.UsageError(
                "With a MODEL its file says channel, class, centre, limits and frame rate; "
                "leave --channel and its figures out."
            )
        file = models.load(model)
        chosen = models.surfaces_named(file, surfaces)
        return Targets(file, chosen, channels_of(file, chosen))
    if channel is None:
        raise click.UsageError("Name a MODEL file, or a --channel with its --pulse-class.")
    return Targets(None, [], [bare_channel(channel, figures)])


def bare_channel(channel: int, figures: Figures) -> Channel:
    """Return the channel of a servo without a model file.

    Raises
    ------
    click.UsageError
        When the pulse class is not stated, or the figures do not suit it or each other.
    """
    pulse_class = figures.pulse_class
    if pulse_class is None:
        raise click.UsageError(
            "State the --pulse-class of the servo before it gets any pulse: a narrow-pulse "
            "servo (centre near 760 us) may be ruined by standard pulses."
        )
    usual = _USUAL.get(pulse_class)
    if usual is None and (figures.centre_us is None or figures.limits_us is None):
        raise click.UsageError(
            f"With --pulse-class {pulse_class} state --limits and --at yourself: nothing else "
            "keeps the servo from pulses that may ruin it."
        )
    usual_centre, *usual_limits = usual or (0, 0, 0)
    low, high = map(round, figures.limits_us or usual_limits)
    middle = round(usual_centre if figures.centre_us is None else figures.centre_us)
    _check_order(figures, pulse_class, low, middle, high)
    if figures.digital and figures.frame_hz is None:
        raise click.UsageError(
            "--digital allows a higher --frame-rate: name that as well, or leave --digital out."
        )
    rate = None if figures.frame_hz is None else round(figures.frame_hz)
    for message, mend, cause in frame_problems(figures.digital, rate, high):
        raise click.UsageError(" ".join(filter(None, (f"--frame-rate: {message}", cause, mend))))
    return Channel(channel, "servo", pulse_class, middle, (low, high), rate or USUAL_FRAME_HZ)


def _check_order(
    figures: Figures, pulse_class: PulseClass, low: int, middle: int, high: int
) -> None:
    """Refuse figures that do not rise inside the class; say which are the user's, which ours."""
    least, most = CLASS_LIMITS_US[pulse_class]
    said = [("--at", figures.centre_us)]
    said += [("--limits", end) for end in figures.limits_us or ()]
    for option, pulse in said:
        if pulse is not None and not least <= pulse <= most:
            raise click.UsageError(
                f"{option} {pulse:.0f} us is outside {least} to {most} us, the limits of the "
                f"class {pulse_class!r}. Correct it, or state the servo's right --pulse-class."
            )
    if low >= high:
        raise click.UsageError(f"--limits {low} us and {high} us must rise: the lower one first.")
    if low < middle < high:
        return
    if figures.limits_us is None:
        raise click.UsageError(
            f"--at {middle} us is not between {low} and {high} us, the usual limits of the class "
            f"{pulse_class!r}. Give --limits LOW HIGH as the servo's maker states them."
        )
    if figures.centre_us is None:
        raise click.UsageError(
            f"{middle} us, the usual centre of the class {pulse_class!r}, is not between "
            f"--limits {low} us and {high} us. Give --at PULSE, the servo's centre, as well."
        )
    raise click.UsageError(f"--at {middle} us is not between --limits {low} us and {high} us.")


def keep_clear(bench: Bench, chosen: Targets, pulses_us: Sequence[int]) -> None:
    """Refuse pulses that would drive a surface, its rod on, against its stop.

    Raises
    ------
    TravelError
        Naming the surface, the pulse and the limit.
    """
    if chosen.file is None:
        return
    for surface in chosen.surfaces:
        setting = bench.setting(chosen.file, surface)
        for pulse in pulses_us:
            setting.check_pulse(pulse)
