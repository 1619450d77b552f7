"""Options that several commands share, and the reading of their values."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from hingeline import units
from hingeline.errors import UnitError

if TYPE_CHECKING:
    from hingeline.bench.asking import Gauge, GaugeKind

    _Converter = click.ParamType[float]
else:  # older versions of click have no type parameter here
    _Converter = click.ParamType


class Quantity(_Converter):
    """A value on the command line that must carry its unit.

    Parameters
    ----------
    kind : units.Kind
        What it is.
    least, most : float
        What is accepted, in the kind's own unit.
    """

    def __init__(self, kind: units.Kind, least: float = -math.inf, most: float = math.inf) -> None:
        self.kind = kind
        self.least, self.most = least, most
        self.name = kind.name.split()[0]

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the value, or fail with what would be accepted."""
        if isinstance(value, float):
            return value
        try:
            parsed = units.parse(value, self.kind)
        except UnitError as error:
            self.fail(str(error), param, ctx)
        if not self.least <= parsed <= self.most:
            unit = self.kind.unit
            limits = f"below {self.least:g} {unit}"
            if self.most < math.inf:
                limits = f"not in {self.least:g} to {self.most:g} {unit}"
            self.fail(f"{value!r} is {limits}.", param, ctx)
        return parsed


LENGTH = Quantity(units.LENGTH)
ANGLE = Quantity(units.ANGLE)
PULSE = Quantity(units.PULSE)
TIME = Quantity(units.TIME)
FRAME_RATE = Quantity(units.FRAME_RATE)

model_argument = click.argument(
    "model", type=click.Path(path_type=Path, dir_okay=False), metavar="MODEL"
)


def points_option(least: int, default: int) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Add --points: at how many points of the stick two sides are compared."""
    return click.option(
        "--points",
        type=click.IntRange(least, 101),
        default=default,
        show_default=True,
        metavar="N",
        help="Points of the stick, an odd number.",
    )


json_option = click.option(
    "--json", "as_json", is_flag=True, help="Print the figures as JSON, units in the keys."
)
records_option = click.option(
    "--records",
    "records_path",
    type=click.Path(path_type=Path, dir_okay=False),
    envvar="HINGELINE_RECORDS",
    show_envvar=True,
    help="File in which everything measured is kept.",
)
port_option = click.option(
    "--port",
    envvar="HINGELINE_PORT",
    show_envvar=True,
    help="Port of the board, or 'id:' and its number, or how that begins; default: the one "
    "board found. 'sim:' is the simulated bench.",
)
ports_option = click.option(
    "--port",
    "ports",
    multiple=True,
    envvar="HINGELINE_PORT",
    show_envvar=True,
    help="Port of the board, or 'id:' and its number, or how that begins; default: the one "
    "board found. Repeat it for several boards: channels are numbered through in that order. "
    "'sim:' is the simulated bench, 'sim:7' one with other servos.",
)
yes_option = click.option("--yes", is_flag=True, help="Do not ask before anything moves.")
by_hand_option = click.option(
    "--by-hand",
    is_flag=True,
    help="On the simulated bench, type the readings yourself; the gauge is shown.",
)
lag_option = click.option(
    "--lag",
    type=Quantity(units.TIME, 0.0, 120.0),
    default="0 s",
    show_default=True,
    help="Each next channel follows so much later, the lowest number first.",
)
rod_off_option = click.option(
    "--rod-off",
    is_flag=True,
    help="The rods are off: only the servos' own pulse limits hold.",
)


@dataclass(frozen=True)
class Choices:
    """What the user chose with the options that all moving commands share.

    Attributes
    ----------
    port : str or None
        Where the board is; None: nothing was said.
    records_path : Path or None
        Where records are kept; None: in the usual place.
    yes : bool
        Leave was given beforehand.
    by_hand : bool
        The readings of a simulated bench are typed.
    further : tuple of str
        Where further boards are, in the order of their channels.
    """

    port: str | None
    records_path: Path | None
    yes: bool
    by_hand: bool
    further: tuple[str, ...] = ()

    @property
    def ports(self) -> tuple[str, ...]:
        """Where the boards are, in the order of their channels; empty: nothing was said."""
        return () if self.port is None else (self.port, *self.further)


def moving_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options of every command that moves something, given as ``choices``."""

    @functools.wraps(command)
    def collected(
        *,
        ports: tuple[str, ...],
        records_path: Path | None,
        yes: bool,
        by_hand: bool,
        **others: Any,
    ) -> Any:
        first, further = (ports[0], ports[1:]) if ports else (None, ())
        return command(choices=Choices(first, records_path, yes, by_hand, further), **others)

    for option in (by_hand_option, yes_option, records_option, ports_option):
        collected = option(collected)
    return collected


def gauge_options(*kinds: GaugeKind) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Add the options that say what is read and how finely, given as ``gauge``.

    The first of ``kinds`` is the default.
    """

    def add(command: Callable[..., Any]) -> Callable[..., Any]:
        @functools.wraps(command)
        def collected(*, gauge_kind: GaugeKind, resolution: str | None, **others: Any) -> Any:
            return command(gauge=_gauge(gauge_kind, resolution), **others)

        collected = click.option(
            "--resolution",
            default=None,
            metavar="VALUE",
            help="Finest step of the gauge; default '0.5 deg' or '0.5 mm'"
            + (", of a level '0.1 deg'." if "level" in kinds else "."),
        )(collected)
        return click.option(
            "--gauge",
            "gauge_kind",
            type=click.Choice(list(kinds)),
            default=kinds[0],
            show_default=True,
            help="What is read: deg at the surface; mm as a drop square to the neutral plane "
            "or straight from edge to edge"
            + ("; level: what a digital level on it shows" if "level" in kinds else "")
            + ("; arm: a protractor at the servo arm." if "arm" in kinds else "."),
        )(collected)

    return add


def _gauge(kind: GaugeKind, resolution: str | None) -> Gauge:
    from hingeline.bench.asking import Gauge

    usual = Gauge(kind, 0.1 if kind == "level" else 0.5)
    if resolution is None:
        return usual
    value = units.parse(resolution, usual.quantity)
    if not value > 0:
        raise UnitError(
            f"a resolution of {resolution!r} is not above zero.",
            mend="Give the smallest step that can be read off the gauge.",
        )
    return Gauge(kind, value)
