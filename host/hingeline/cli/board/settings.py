"""``hingeline board settings``."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from hingeline import units
from hingeline.bench.client import LEAST_HOLD_S, Board
from hingeline.bench.keeping import USUAL_SLEW_US_PER_S, Kept
from hingeline.bench.procedures.channels import Channel
from hingeline.cli import models, options
from hingeline.cli.benchwork import ask_leave, channels_of, open_board
from hingeline.cli.board.rates import check_rate
from hingeline.cli.board.said import NAMES, USUAL, described, shown, text
from hingeline.cli.output import emit, tell
from hingeline.cli.targets import Figures, bare_channel, servo_options
from hingeline.errors import BenchError
from hingeline.model.checks import CHANNELS, FRAME_RATE_HZ, USUAL_FRAME_HZ
from hingeline.model.schema import PulseClass

#: Options that change a setting of the whole board, by its name there; what a board can do.
#: A test holds the limits equal to the table of the wire.
_HOLD = options.Quantity(units.TIME, LEAST_HOLD_S, 10.0)
_OFF = options.Quantity(units.TIME, 0.5, 60.0)
_PERIOD = options.Quantity(units.TIME, 0.2, 120.0)
_RAIL = options.Quantity(units.VOLTAGE, 0.0, 60.0)
_SLEW = options.Quantity(units.SLEW, 10.0, 100000.0)


def _servo_options(command: Any) -> Any:
    for option in reversed(servo_options):
        command = option(command)
    return command


@click.command("settings", short_help="Show and change what a board keeps.")
@click.option(
    "--frame-rate",
    "frame_hz",
    type=options.Quantity(units.FRAME_RATE, *FRAME_RATE_HZ),
    default=None,
    metavar="RATE",
    help="Frames per second at the start; more than 50 Hz only with --digital.",
)
@click.option(
    "--digital", is_flag=True, help="With --frame-rate: every servo on the board is digital."
)
@click.option(
    "--hold",
    "hold_s",
    type=_HOLD,
    default=None,
    metavar="TIME",
    help="Silence of the computer after which motion stops.",
)
@click.option(
    "--off",
    "off_s",
    type=_OFF,
    default=None,
    metavar="TIME",
    help="Silence of the computer after which pulses stop; more than --hold.",
)
@click.option(
    "--period",
    "period_s",
    type=_PERIOD,
    default=None,
    metavar="TIME",
    help="The button's sweep, to and fro.",
)
@click.option(
    "--shape",
    type=click.Choice(["triangle", "smooth"]),
    default=None,
    help="The button's sweep: steady from end to end, or slow at the ends.",
)
@click.option("--knob/--no-knob", default=None, help="Whether a knob is fitted.")
@click.option(
    "--rail-full",
    "rail_full_v",
    type=_RAIL,
    default=None,
    metavar="VOLTAGE",
    help="Servo supply at which its input would read full; '0 V': no divider is fitted.",
)
@click.option(
    "--rail-low",
    "rail_low_v",
    type=_RAIL,
    default=None,
    metavar="VOLTAGE",
    help="Servo supply below which pulses stop; '0 V': never.",
)
@click.option(
    "--channel",
    type=click.IntRange(1, CHANNELS),
    default=None,
    metavar="N",
    help="What the button does with this channel: state its class.",
)
@_servo_options
@click.option(
    "--rate",
    "slew",
    type=_SLEW,
    default=None,
    metavar="SLEW",
    help="With --channel or --from: greatest change of pulse; default "
    f"'{USUAL_SLEW_US_PER_S} us/s'.",
)
@click.option(
    "--leave-alone",
    type=click.IntRange(1, CHANNELS),
    multiple=True,
    metavar="N",
    help="The button sends this channel nothing; may be repeated.",
)
@click.option(
    "--from",
    "model",
    type=click.Path(path_type=Path, dir_okay=False),
    default=None,
    metavar="MODEL",
    help="The channels as this model file has them; the button leaves all others alone.",
)
@click.option(
    "--usual",
    is_flag=True,
    help=f"First forget all that was kept: then {USUAL}. Not for other servos.",
)
@options.port_option
@click.option("--yes", is_flag=True, help="Do not ask before anything is changed.")
@options.json_option
def command(
    digital: bool,
    channel: int | None,
    pulse_class: PulseClass | None,
    centre: float | None,
    limits: tuple[float, float] | None,
    slew: float | None,
    leave_alone: tuple[int, ...],
    model: Path | None,
    usual: bool,
    port: str | None,
    yes: bool,
    as_json: bool,
    **whole: Any,
) -> None:
    """Show and change what a board keeps.

    By it the board works alone, with its button, and begins every session. A channel gets
    pulses from the button only within the class and limits kept for it. Nothing moves. A board
    that is just being worked by its button is stopped: its pulses end.

    \b
    Examples:
      hingeline board settings
      hingeline board settings --from millrace.toml
      hingeline board settings --channel 2 --pulse-class narrow --rate "300 us/s"
      hingeline board settings --leave-alone 7 --leave-alone 8 --period "5 s"
    """
    changed: dict[str, Any] = {name: value for name, value in whole.items() if value is not None}
    rate = changed.get("frame_hz", USUAL_FRAME_HZ)
    if rate != USUAL_FRAME_HZ and not digital:
        raise click.UsageError(
            f"--frame-rate {rate:g} Hz needs --digital: more frames per second than the usual "
            "50 heat servos that are not made for them."
        )
    if digital and "frame_hz" not in changed:
        raise click.UsageError(
            "--digital allows a higher --frame-rate: name that as well, or leave --digital out."
        )
    file = models.load(model) if model is not None else None
    channels = _channels(channel, Figures(pulse_class, centre, limits), slew, leave_alone, file)
    with open_board(port) as board:
        if usual or changed or channels:
            if "frame_hz" not in changed and not usual:
                rate = board.settings().frame_hz
            check_rate(rate, file, channels, said_digital=digital)
            _say(board, usual, changed, channels)
            with board.attended():
                ask_leave("was changed", "this is what you want", yes=yes)
            _do(board, usual, changed, channels)
        source = board.info.settings
        if changed or channels:
            source = "kept"
        elif usual:
            source = "usual"
        kept = {number: board.kept(number) for number in range(1, board.info.channels + 1)}
        settings, name = board.settings(), board.port
    figures = {
        "port": name,
        "source": source,
        **asdict(settings),
        "channels": [_figures(number, what) for number, what in kept.items()],
    }
    emit(figures, as_json=as_json, text=text(name, source, settings, kept))


def _figures(number: int, what: Kept | None) -> dict[str, Any]:
    if what is None:
        return {"channel": number, "pulse_class": None}
    return {"channel": number, **asdict(what)}


def _channels(
    channel: int | None,
    figures: Figures,
    slew: float | None,
    leave_alone: Sequence[int],
    file: models.ModelFile | None,
) -> dict[int, Kept | None]:
    """Return what is to be kept for channels; None: to be left alone.

    Raises
    ------
    click.UsageError
        When the options do not suit each other.
    """
    speed = round(slew or USUAL_SLEW_US_PER_S)
    wanted: dict[int, Kept | None] = {}
    if file is not None:
        if channel is not None or leave_alone:
            raise click.UsageError("--from says what every channel does; leave the others out.")
        wanted = dict.fromkeys(range(1, CHANNELS + 1))
        for made in channels_of(file, file.model.surfaces):
            wanted[made.number] = _kept(made, speed)
    if channel is None:
        if figures != Figures(None, None, None):
            raise click.UsageError("Name the --channel that has this class, centre or limits.")
        if slew is not None and file is None:
            raise click.UsageError("Name the --channel that has this --rate, or a file --from.")
    else:
        wanted[channel] = _kept(bare_channel(channel, figures), speed)
    for number in leave_alone:
        if number in wanted:
            raise click.UsageError(f"Name channel {number} once: leave it alone or set it.")
        wanted[number] = None
    return wanted


def _kept(channel: Channel, speed: int) -> Kept:
    return Kept(channel.pulse_class, channel.limits_us, channel.centre_us, speed)


def _say(
    board: Board,
    usual: bool,
    changed: dict[str, Any],
    channels: dict[int, Kept | None],
) -> None:
    """Say what will be kept."""
    tell(f"On {board.port}, this will be kept:")
    if usual:
        tell(f"  the usual settings, for all that is not named below: {USUAL}")
    for name, value in changed.items():
        tell(f"  {NAMES[name]}: {shown(name, value)}")
    for number, what in channels.items():
        if number <= board.info.channels:
            tell(f"  channel {number}: {described(what)}")
    if board.simulated:
        tell("The simulated bench forgets it when this command ends.")


def _do(
    board: Board,
    usual: bool,
    changed: dict[str, Any],
    channels: dict[int, Kept | None],
) -> None:
    done = 0
    try:
        if usual:
            board.usual()
            done += 1
        # Every state on the way has to be possible: the longest frames come first, or last.
        longer = changed.get("frame_hz", math.inf) < board.settings().frame_hz
        if changed and longer:
            board.change(changed)
            done += 1
        for number, what in channels.items():
            # A board with fewer channels leaves the rest alone anyway.
            if what is not None or number <= board.info.channels:
                board.keep(number, what)
                done += 1
        if changed and not longer:
            board.change(changed)
    except BenchError:
        if done:
            tell("Not all of this is kept now; see: hingeline board settings")
        else:
            tell("Nothing was changed.")
        raise
