"""``hingeline centre``."""

from __future__ import annotations

import click

from hingeline import units
from hingeline.bench.procedures.channels import in_use
from hingeline.cli import options, targets
from hingeline.cli.benchwork import at_bench
from hingeline.cli.output import emit, tell


@click.command("centre", short_help="Hold servos at their centre while arms are fitted.")
@targets.target_options
@click.option(
    "--hold",
    "hold_s",
    type=options.Quantity(units.TIME, 0.0),
    default=None,
    help="How long, such as '30 s'; default: until you press Enter.",
)
@options.moving_options
@options.json_option
def command(
    chosen: targets.Targets,
    hold_s: float | None,
    choices: options.Choices,
    as_json: bool,
) -> None:
    """Hold servos at their centre while arms are fitted.

    Take the arms off first, or the rods: a servo goes to its centre at once when it gets
    its first pulse.

    \b
    Examples:
      hingeline centre millrace.toml "left aileron" "right aileron"
      hingeline centre --channel 1 --pulse-class standard --at "1520 us"
    """
    numbers = [target.number for target in chosen.channels]
    with (
        at_bench(
            choices, "centre", chosen.channels, chosen.file, doing="go to their centre"
        ) as bench,
        in_use(bench.board, chosen.channels),
    ):
        bench.board.centre(numbers)
        for target in chosen.channels:
            tell(f"Channel {target.number} ({target.label}) stands at {target.centre_us} us.")
        tell("The radio's centre must be the same, or the arms sit off square in the model.")
        states = {number: bench.board.state(number) for number in numbers}
        if hold_s is not None:
            bench.board.wait(hold_s)
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
    emit({"channels": figures}, as_json=as_json, text=["Done; the outputs are off."])
