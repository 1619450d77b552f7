"""``hingeline centre``."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import click

from hingeline import units
from hingeline.bench.procedures.channels import Channel, in_use
from hingeline.cli import options, targets
from hingeline.cli.benchwork import Bench, at_bench, count_down
from hingeline.cli.output import FAILED, emit, tell, wrapped

#: Where to look when servos move though their pulse does not, the likeliest first. Common
#: practice, no source; only the wiring can cure it.
_LOOK_AT = (
    "Ground: the board's ground and that of the servo supply must be joined, by a short wire.",
    "Supply: 5 to 6 V of its own, strong enough, with a large capacitor beside the servos.",
    "Signal: some servos want more than the board's 3.3 V; a level shifter to 5 V cures that.",
    "Wires: keep long servo leads away from motor and speed controller leads.",
)


@click.command("centre", short_help="Hold servos at their centre while arms are fitted.")
@targets.target_options
@click.option(
    "--hold",
    "hold_s",
    type=options.Quantity(units.TIME, 0.0),
    default=None,
    help="How long, such as '30 s'; default: until you press Enter.",
)
@click.option(
    "--still",
    "still_s",
    type=options.Quantity(units.TIME, 1.0),
    default=None,
    metavar="TIME",
    help="See whether servos keep still so long, such as '60 s', at a pulse that does not change.",
)
@options.moving_options
@options.json_option
def command(
    chosen: targets.Targets,
    hold_s: float | None,
    still_s: float | None,
    choices: options.Choices,
    as_json: bool,
) -> int:
    """Hold servos at their centre while arms are fitted.

    Take the arms off first, or the rods: a servo goes to its centre at once when it gets
    its first pulse. With --still you are asked afterwards whether any servo moved, and the
    exit code is 1 if one did.

    \b
    Examples:
      hingeline centre millrace.toml "left aileron" "right aileron"
      hingeline centre --channel 1 --pulse-class standard --at "1520 us"
      hingeline centre millrace.toml --still "60 s"
    """
    if hold_s is not None and still_s is not None:
        raise click.UsageError("Name --hold or --still, not both.")
    numbers = [target.number for target in chosen.channels]
    restless: list[int] = []
    with (
        at_bench(
            choices, "centre", chosen.channels, chosen.file, doing="go to their centre"
        ) as bench,
        in_use(bench.board, chosen.channels),
    ):
        bench.board.centre(numbers)
        for target in chosen.channels:
            tell(f"Channel {target.number} ({target.label}) stands at {target.centre_us} us.")
        if still_s is None:
            tell("The radio's centre must be the same, or the arms sit off square in the model.")
        states = {number: bench.board.state(number) for number in numbers}
        if still_s is not None:
            restless = _watch(bench, chosen.channels, still_s)
        elif hold_s is not None:
            count_down(bench.board, hold_s, "Holding")
        else:
            with bench.board.attended():
                bench.asker.pause("Fit the arms; when done, the pulses stop.")
    figures = [
        {
            "channel": target.number,
            "label": target.label,
            "centre_us": target.centre_us,
            "held_us": states[target.number]["now_ns"] / 1000,
        }
        for target in chosen.channels
    ]
    result: dict[str, object] = {"channels": figures}
    text = ["Done; the outputs are off."]
    if still_s is not None:
        result["still"] = {"time_s": still_s, "moved": restless}
        text = [*_told(restless, still_s), *text]
    emit(result, as_json=as_json, text=text)
    return FAILED if restless else 0


def _watch(bench: Bench, channels: Sequence[Channel], seconds: float) -> list[int]:
    """Send an unchanging pulse; return the channels of which a servo was seen to move."""
    tell("Look and listen: no servo should twitch, buzz or creep.")
    count_down(bench.board, seconds, "Keeping still")
    with bench.board.attended():
        return [
            channel.number
            for channel in channels
            if bench.asker.agree(
                f"Did channel {channel.number} ({channel.label}) twitch, buzz or creep?"
            )
        ]


def _told(restless: list[int], seconds: float) -> Iterator[str]:
    if not restless:
        yield f"All kept still for {seconds:g} s."
        return
    yield f"NOT STILL: channel {', '.join(map(str, restless))}. Look at these, in this order:"
    for number, place in enumerate(_LOOK_AT, start=1):
        yield wrapped(f"  {number}. {place}")
    yield wrapped("The pulse that was asked for never changed, so no setting cures it.")
