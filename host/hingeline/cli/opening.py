"""Opening the bench that a command means: real boards, or simulated ones with their servos."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

from hingeline.bench.boards import Boards
from hingeline.bench.choices import Chooser
from hingeline.bench.client import Board
from hingeline.bench.ports import BY_NUMBER, SIMULATED, candidates, choose
from hingeline.bench.procedures.channels import Channel
from hingeline.bench.row import Row
from hingeline.cli.console import Keyboard
from hingeline.cli.models import ModelFile
from hingeline.cli.output import tell
from hingeline.errors import BenchError
from hingeline.model.checks import CHANNELS, MOST_CHANNELS
from hingeline.model.schema import Model

if TYPE_CHECKING:
    from hingeline.bench.simulated.station import Station
    from hingeline.bench.transport import Transport

#: Makes, from stations and seed, whoever stands in at a simulated bench.
StandIn = Callable[[dict[int, "Station"], int], Chooser]
#: Makes what stands on the channels of a simulated bench, from a model and a seed.
Stations = Callable[[Model, int], dict[int, "Station"]]

_SIMULATED_NAME = re.compile(re.escape(SIMULATED) + r"([0-9]{0,9})", re.ASCII)
_MOST_BOARDS = MOST_CHANNELS // CHANNELS


@dataclass(frozen=True)
class Opened:
    """What is behind the ports of a command.

    Attributes
    ----------
    transports : list of Transport
        In the order of the channels, open.
    stations : dict of int to Station, or None
        The truth of a simulated bench, by the bench's channels; None at a real one.
    seed : int
        Which chooses the servos of a simulated bench.
    """

    transports: list[Transport]
    stations: dict[int, Station] | None
    seed: int


def check_kinds(ports: Sequence[str]) -> None:
    """See that ports can make one bench.

    Raises
    ------
    BenchError
        When they are too many, of both kinds, or the name of a simulated one is wrong.
    """
    if len(ports) > _MOST_BOARDS:
        raise BenchError(
            f"{len(ports)} boards are named; a bench has at most {_MOST_BOARDS}.",
            mend="Name those boards alone into which the servos of this command are plugged.",
        )
    kinds = [port.startswith(SIMULATED) for port in ports]
    if any(kinds) and not all(kinds):
        raise BenchError(
            f"real and simulated boards cannot work together: {', '.join(ports)}.",
            mend="Name either kind with --port.",
        )
    for port in ports:
        if port.startswith(SIMULATED):
            seed_of(port)


def opened(
    ports: Sequence[str],
    channels: Sequence[Channel],
    file: ModelFile | None,
    make: Stations | None = None,
) -> Opened:
    """Open ports.

    Parameters
    ----------
    ports : sequence of str
        As ``check_kinds`` has seen them.
    channels : sequence of Channel
        What will move: what stands on a simulated bench when there is no model.
    file : ModelFile or None
        The model.
    make : callable, optional
        Makes what stands on a simulated bench; default: its servos as they come, its linkages
        as planned. The first port's number chooses them.

    Raises
    ------
    BenchError
        When one cannot be opened; those that were are closed again.
    """
    if not ports[0].startswith(SIMULATED):
        from hingeline.bench.transport import SerialTransport

        with ExitStack() as closing:
            transports = [closing.enter_context(SerialTransport(port)) for port in ports]
            closing.pop_all()
        return Opened([*transports], None, 0)
    from hingeline.bench.simulated.station import bare_station, stations_of
    from hingeline.bench.simulated.transport import SimulatedTransport

    seed = seed_of(ports[0])
    if file is not None:
        stations = (make or stations_of)(file.model, seed)
    else:
        stations = {
            channel.number: bare_station(channel.number, centre_us=channel.centre_us, seed=seed)
            for channel in channels
        }
    simulated: list[Transport] = []
    alike: Counter[int] = Counter()
    for place, port in enumerate(ports):
        its = seed_of(port)
        simulated.append(SimulatedTransport(stations, its, alike[its], place * CHANNELS))
        alike[its] += 1
    return Opened(simulated, stations, seed)


@contextmanager
def greeted(transports: Sequence[Transport]) -> Iterator[Boards]:
    """Greet the boards behind open ports, each alone or in a row; switch all off at the end.

    Raises
    ------
    BenchError
        When one is no bench board; every port is closed then.
    """
    with ExitStack() as closing:
        for transport in transports:
            closing.callback(transport.close)
        boards = [closing.enter_context(Board(transport)) for transport in transports]
        yield boards[0] if len(boards) == 1 else Row(boards)


def open_board(named: str | None) -> Board:
    """Greet the board that a command means, to which nothing will be moved by channel.

    Parameters
    ----------
    named : str or None
        What the user gave with ``--port``.

    Raises
    ------
    BenchError
        When it is not clear which, or it cannot be opened, or is no bench board.
    """
    port = choose(named, [] if named else candidates())
    return Board(opened([port], [], None).transports[0])


def seed_of(port: str) -> int:
    """Return the number in "sim:7", which chooses the servos; "sim:" is 0.

    Raises
    ------
    BenchError
        For anything else behind the colon.
    """
    match = _SIMULATED_NAME.fullmatch(port)
    if match is None:
        raise BenchError(
            f"{port!r} is no simulated bench.",
            mend=f"Write {SIMULATED} or {SIMULATED} and a whole number, such as {SIMULATED}7.",
        )
    return int(match[1] or 0)


def other_boards(ports: str, wanted: tuple[str, ...], here: tuple[str, ...]) -> BenchError:
    """Return the error of boards that are not those that there must be."""
    what = "the boards are named in another order" if _same(wanted, here) else "other boards"
    ask = " ".join(f"--port {BY_NUMBER}{number}" for number in wanted)
    if ports.startswith(SIMULATED):
        ask = "the same simulated bench as before"
    return BenchError(
        f"{ports}: {what}: {' '.join(here)} instead of {' '.join(wanted)}. Nothing was moved.",
        cause="Which servo hangs on which channel is known for those boards, in their order.",
        mend=f"Plug those in, and name {ask}",
    )


def _same(wanted: tuple[str, ...], here: tuple[str, ...]) -> bool:
    return sorted(wanted) == sorted(here)


def standing_in(
    stations: dict[int, Station], seed: int, make: StandIn | None, *, by_hand: bool
) -> Chooser:
    """Return who reads and answers at a simulated bench: a stand-in, or a person told of it."""
    from hingeline.bench.simulated.listener import Listener

    if make is None:
        made: Chooser = Listener(stations, seed, show=lambda text: tell(f"  {text}"))
    else:
        made = make(stations, seed)
    if not by_hand:
        return made
    return Keyboard(made.shown, made.seen) if isinstance(made, Listener) else Keyboard()
