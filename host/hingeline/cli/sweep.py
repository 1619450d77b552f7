"""``hingeline sweep``."""

from __future__ import annotations

import click

from hingeline import units
from hingeline.bench.procedures.channels import SLEW_US_PER_S, in_use
from hingeline.cli import models, options, targets
from hingeline.cli.benchwork import at_bench
from hingeline.cli.output import emit, tell

_HALF_US = 200
_NS, _MS = 1000, 1000  # in a us, in a s
#: What a board can do, in s; a test holds it equal to the table of the wire.
_PERIOD = options.Quantity(units.TIME, 0.2, 120.0)


@click.command("sweep", short_help="Run servos to and fro between two pulses.")
@targets.target_options
@click.option("--from", "low", type=options.PULSE, default=None, help="Lower end.")
@click.option("--to", "high", type=options.PULSE, default=None, help="Upper end.")
@click.option("--period", type=_PERIOD, default="4 s", show_default=True, help="To and fro.")
@click.option(
    "--cycles",
    type=click.IntRange(1, 10000),
    default=3,
    show_default=True,
    metavar="N",
    help="How often.",
)
@click.option(
    "--shape",
    type=click.Choice(["triangle", "smooth"]),
    default="smooth",
    show_default=True,
    help="Steady from end to end, or slow at the ends.",
)
@click.option(
    "--opposed",
    multiple=True,
    metavar="SURFACE",
    help="This one runs from high to low while the others run from low to high.",
)
@options.lag_option
@options.rod_off_option
@options.moving_options
@options.json_option
def command(
    chosen: targets.Targets,
    low: float | None,
    high: float | None,
    period: float,
    cycles: int,
    shape: str,
    opposed: tuple[str, ...],
    lag: float,
    rod_off: bool,
    choices: options.Choices,
    as_json: bool,
) -> None:
    """Run servos to and fro between two pulses, and stop.

    Without ends, 200 us to both sides of the centre. Surfaces whose rods are on are not
    driven against their stops: such ends are refused.

    \b
    Examples:
      hingeline sweep millrace.toml "left aileron" "right aileron" --opposed "right aileron"
      hingeline sweep --channel 1 --pulse-class standard --from "1400 us" --to "1600 us"
    """
    middle = chosen.channels[0].centre_us
    if None in (low, high) and any(c.centre_us != middle for c in chosen.channels):
        raise click.UsageError(
            "These servos have different centres: say --from and --to, or name fewer surfaces."
        )
    ends = (
        round(low) if low is not None else middle - _HALF_US,
        round(high) if high is not None else middle + _HALF_US,
    )
    other = []
    if opposed:
        if chosen.file is None:
            raise click.UsageError("--opposed names surfaces: give a MODEL file.")
        other = [surface.channel for surface in models.surfaces_named(chosen.file, opposed)]
    numbers = [target.number for target in chosen.channels]
    for option, end, given in (("--from", ends[0], low), ("--to", ends[1], high)):
        usual = f"Without {option} this end is {_HALF_US} us from the centre, {middle} us: "
        if given is None:
            targets.check_pulses(chosen, [end], unsaid=usual, mend=f"Name {option}.")
        else:
            targets.check_pulses(chosen, [end])
    _check_ends(ends, low, high)
    _check_period(ends, period, shape)
    strange = sorted(set(other) - set(numbers))
    if strange:
        raise click.UsageError(
            f"--opposed names channel {strange[0]}, which is not swept: name its surface as well."
        )
    often = "once" if cycles == 1 else f"{cycles} times"
    doing = f"sweep between {ends[0]} and {ends[1]} us, {often}"
    with at_bench(choices, "sweep", chosen.channels, chosen.file, doing=doing) as bench:
        if not rod_off:
            targets.keep_clear(bench, chosen, ends)
        with in_use(bench.board, chosen.channels):
            bench.board.sweep(
                numbers,
                opposed=other,
                ends_us=ends,
                period_s=period,
                cycles=cycles,
                shape=shape,
                lag_s=lag,
            )
            tell("Sweeping; Ctrl-C stops.")
            while bench.board.moving():
                bench.board.wait(0.2)
    figures = {
        "channels": numbers,
        "opposed": other,
        "ends_us": list(ends),
        "period_s": period,
        "cycles": cycles,
        "shape": shape,
        "lag_s": lag,
    }
    emit(figures, as_json=as_json, text=["Done; the outputs are off."])


def shortest_period_ms(ends_us: tuple[int, int], shape: str) -> int:
    """Return the shortest period that a board accepts for a sweep, in ms.

    A test holds it equal to the board's own rule.
    """
    # At a steady rate the whole way takes half a period; slow at the ends, the middle is 1.5
    # times as fast. Halves of whole ms.
    way_ns = (ends_us[1] - ends_us[0]) * _NS
    numerator = (3 if shape == "smooth" else 2) * way_ns
    return 2 * -(-numerator // (2 * SLEW_US_PER_S))


def _check_ends(ends_us: tuple[int, int], low: float | None, high: float | None) -> None:
    if ends_us[0] < ends_us[1]:
        return
    lower = f"--from {ends_us[0]} us" if low is not None else f"the usual {ends_us[0]} us"
    upper = f"--to {ends_us[1]} us" if high is not None else f"the usual {ends_us[1]} us"
    more = "" if None not in (low, high) else " Name both --from and --to."
    raise click.UsageError(f"{lower} is not below {upper}.{more}")


def _check_period(ends_us: tuple[int, int], period_s: float, shape: str) -> None:
    """Refuse a sweep that the board would refuse, before anyone is asked."""
    least_ms = shortest_period_ms(ends_us, shape)
    if round(period_s * _MS) < least_ms:
        raise click.UsageError(
            f"a period of {period_s:g} s is too quick from {ends_us[0]} to {ends_us[1]} us and "
            f"back: the bench changes a pulse by at most {SLEW_US_PER_S} us/s. The shortest is: "
            f'--period "{least_ms / _MS:g} s"'
        )
