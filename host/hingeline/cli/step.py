"""``hingeline step``."""

from __future__ import annotations

import click

from hingeline import units
from hingeline.bench.procedures.channels import in_use
from hingeline.cli import options, targets
from hingeline.cli.benchwork import at_bench
from hingeline.cli.output import emit, tell
from shared_protocol.table import STEPS

#: What a board can do, in s; a test holds it equal to the table of the wire.
_DWELL = options.Quantity(units.TIME, 0.0, 600.0)


@click.command("step", short_help="Take servos through a list of pulses.")
@targets.target_options
@click.option(
    "--pulse",
    "pulses",
    type=options.PULSE,
    multiple=True,
    required=True,
    help=f"A pulse to go to; repeat it, in order, up to {STEPS} times.",
)
@click.option("--dwell", type=_DWELL, default="1 s", show_default=True, help="Wait at each pulse.")
@options.lag_option
@options.rod_off_option
@options.moving_options
@options.json_option
def command(
    chosen: targets.Targets,
    pulses: tuple[float, ...],
    dwell: float,
    lag: float,
    rod_off: bool,
    choices: options.Choices,
    as_json: bool,
) -> None:
    """Take servos through a list of pulses, waiting at each.

    \b
    Example:
      hingeline step millrace.toml rudder --pulse "1400 us" --pulse "1500 us" --dwell "2 s"
    """
    whole = [round(pulse) for pulse in pulses]
    numbers = [target.number for target in chosen.channels]
    if len(whole) > STEPS:
        raise click.UsageError(f"{len(whole)} pulses are more than a board takes: {STEPS}.")
    targets.check_pulses(chosen, whole)
    doing = f"step through {', '.join(map(str, whole))} us"
    if len(whole) == 1:
        doing = f"hold {whole[0]} us"
    with at_bench(choices, "step", chosen.channels, chosen.file, doing=doing) as bench:
        if not rod_off:
            targets.keep_clear(bench, chosen, whole)
        with in_use(bench.board, chosen.channels):
            lasts_s = bench.board.steps(numbers, whole, dwell, lag_s=lag)
            tell(f"Stepping for {lasts_s:.1f} s; Ctrl-C stops.")
            bench.board.wait(lasts_s)
    figures = {"channels": numbers, "pulses_us": whole, "dwell_s": dwell, "lag_s": lag}
    emit(figures, as_json=as_json, text=["Done; the outputs are off."])
