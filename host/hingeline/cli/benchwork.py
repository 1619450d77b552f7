"""What every command at the bench does around its own work.

Say what will move and ask; open the port; keep a session in the records; and whatever
happens, leave the outputs off and the records saved.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from hingeline.bench.boards import Boards
from hingeline.bench.choices import Chooser
from hingeline.bench.greeting import remarks
from hingeline.bench.ports import choose_all
from hingeline.bench.procedures.channels import Channel, channel_of, frame_rate, prepare
from hingeline.cli.console import Keyboard, confirmed
from hingeline.cli.known import setting_of
from hingeline.cli.models import ModelFile
from hingeline.cli.opening import (
    StandIn,
    Stations,
    check_kinds,
    greeted,
    open_board,
    opened,
    other_boards,
    standing_in,
)
from hingeline.cli.options import Choices
from hingeline.cli.output import tell
from hingeline.cli.records.place import place
from hingeline.cli.verdicts import refuse_unfit
from hingeline.errors import BenchError, HingelineError, Stopped
from hingeline.model.checks import USUAL_FRAME_HZ
from hingeline.model.schema import Surface
from hingeline.records.store import Records
from hingeline.travel.setting import Setting

if TYPE_CHECKING:
    from hingeline.bench.simulated.station import Station

__all__ = [
    "CAUTION",
    "Bench",
    "StandIn",
    "Stations",
    "ask_leave",
    "at_bench",
    "channels_of",
    "count_down",
    "default_records",
    "open_board",
    "progress",
    "told_first",
]

CAUTION = (
    "Propeller off or motor unplugged; fingers and tools clear of arms and rods. "
    "An arm may jump at its first pulse."
)


@dataclass(frozen=True)
class Bench:
    """A bench at work.

    Attributes
    ----------
    board : Boards
        Greeted: one, or several in a row.
    asker : Chooser
        Who reads the gauges, watches and listens: the person at the keyboard, or the stand-in.
    records : Records
        Where everything is kept.
    session_id : int
        This command's session there.
    stations : dict of int to Station, or None
        The truth of a simulated bench; None at a real one.
    boards : tuple of str
        The numbers of the boards themselves, in the order of their channels.
    """

    board: Boards
    asker: Chooser
    records: Records
    session_id: int
    stations: dict[int, Station] | None
    boards: tuple[str, ...] = ()

    def setting(self, file: ModelFile, surface: Surface) -> Setting:
        """Return a surface by all that is known of it, and say what one should know of that."""
        simulated = self.board.simulated
        refuse_unfit(self.records, surface.servo, simulated=simulated)
        known = setting_of(self.records, file, surface, simulated=simulated)
        for remark in known.remarks:
            tell(remark)
        if known.row is None:
            tell(
                f"Servo {surface.servo} is not calibrated on this bench: the maker's rate is used."
            )
            tell(f"  Better first: hingeline calibrate {file.path} {surface.servo}")
        return known.setting


def default_records() -> Path:
    """Return the file in which records are kept when none is named."""
    return place(None)


def channels_of(file: ModelFile, surfaces: Sequence[Surface]) -> list[Channel]:
    """Return the channels of surfaces, one for each servo."""
    found: dict[int, Channel] = {}
    for surface in surfaces:
        label = f"{surface.servo}, {surface.name}"
        servo = file.model.servo_of(surface)
        found.setdefault(surface.channel, channel_of(servo, surface.channel, label))
    return list(found.values())


@contextmanager
def at_bench(
    choices: Choices,
    command: str,
    channels: Sequence[Channel],
    file: ModelFile | None = None,
    *,
    doing: str,
    after_stop: str = "",
    caution: str = CAUTION,
    boards: Sequence[str] | None = None,
    rig: int | None = None,
    ask: bool | None = None,
    asker: StandIn | None = None,
    stations: Stations | None = None,
) -> Iterator[Bench]:
    """Ask, open the bench, and close everything again.

    Parameters
    ----------
    choices : Choices
        The shared options.
    command : str
        Name under which the session is kept.
    channels : sequence of Channel
        What will move.
    file : ModelFile, optional
        The model concerned.
    doing : str
        What will be done, for the question: "go to their centre".
    after_stop : str
        The next step when the user stops the work; default: to look at the session.
    caution : str
        What must be so before anything is sent.
    boards : sequence of str, optional
        The numbers of the boards that must be there, in this order.
    rig : int, optional
        Session that began the rig to which this one belongs; 0: this one begins it.
    ask : bool, optional
        Whether leave is asked; default: unless ``choices.yes``.
    asker : callable, optional
        Makes, from stations and seed, whoever stands in at a simulated bench.
    stations : callable, optional
        Makes, from a model and a seed, what stands on the channels of a simulated bench.

    Raises
    ------
    Stopped
        When the user says no.
    BenchError
        When other boards are there than must be, before anything moves.
    HingelineError
        As the bench or the records raise it; the session is ended with it as its outcome.
    """
    ports = choose_all(choices.ports, boards or ())
    check_kinds(ports)  # what cannot be opened is refused before anyone is asked
    _say(channels, ports, doing, caution)
    if ask and not sys.stdin.isatty():
        raise BenchError(
            "nothing was moved: nobody can be asked here, and leave given before has ended.",
            mend="Look at the servos, then start the command again.",
        )
    leave = choices.yes if ask is None else not ask
    ask_leave("was moved", "everything that may move is clear", yes=leave)
    with Records(choices.records_path or default_records()) as records:
        at = opened(ports, channels, file, stations)
        with greeted(at.transports) as board:
            here = tuple(part.info.board_id for part in board.parts)
            if boards is not None and tuple(boards) != here:
                raise other_boards(board.port, tuple(boards), here)
            person: Chooser = Keyboard()
            if at.stations is not None:
                person = standing_in(at.stations, at.seed, asker, by_hand=choices.by_hand)
            if (last := records.ahead()) is not None:
                tell(
                    f"A session on record began at {last}, which is still to come: the clock of "
                    "this computer is or was wrong. What is noted now may be taken for older; "
                    "set the clock, or forget that session."
                )
            session_id = records.start_session(
                command,
                model_name=file.model.name if file else None,
                model_text=file.text if file else None,
                bench="simulated" if board.simulated else "board",
                board=board.info.board_id,
                firmware=board.info.firmware,
                rig=rig,
            )
            with _outcome(records, session_id, after_stop):
                told_first(board, channels)
                yield Bench(board, person, records, session_id, at.stations, here)


def told_first(board: Boards, channels: Sequence[Channel]) -> None:
    """Make a board ready for its channels, and say what a person should know of it.

    Raises
    ------
    BenchError
        As for ``prepare``.
    """
    for part in board.parts:
        for remark in remarks(part.info):
            tell(remark if len(board.parts) == 1 else f"{part.port}: {remark}")
    if coarse := prepare(board, channels):
        tell(coarse)


@contextmanager
def _outcome(records: Records, session_id: int, after_stop: str) -> Iterator[None]:
    """Note how the session ended, whatever way that is."""
    try:
        yield
    except (KeyboardInterrupt, click.Abort):
        records.end_session(session_id, "stopped by the user")
        tell("")  # the cursor still stands behind a question
        raise Stopped(
            f"stopped; the outputs are off, and what was typed is kept in session {session_id}.",
            mend=after_stop or f"See it with: hingeline records show {session_id}",
        ) from None
    except Exception as error:
        what = error.message if isinstance(error, HingelineError) else repr(error)
        records.end_session(session_id, f"failed: {what}")
        raise
    records.end_session(session_id, "done")


def _say(channels: Sequence[Channel], ports: Sequence[str], doing: str, caution: str) -> None:
    """Say which channels will do what."""
    tell(f"On {', '.join(ports)}, these channels will {doing}:")
    for channel in channels:
        low, high = channel.limits_us
        tell(
            f"  channel {channel.number}: {channel.label}  "
            f"({channel.pulse_class}, {low} to {high} us)"
        )
    if (rate := frame_rate(channels)) != USUAL_FRAME_HZ:
        tell(f"They get {rate} frames per second: only for servos that are made for it.")
    tell(caution)


def ask_leave(undone: str, clear: str, *, yes: bool) -> None:
    """Ask whether to go on, unless told not to.

    Parameters
    ----------
    undone : str
        What has not happened without leave: "was moved".
    clear : str
        When leave may be given beforehand.
    yes : bool
        Whether it was.

    Raises
    ------
    Stopped
        When the answer is no.
    BenchError
        When nobody can be asked.
    """
    if yes:
        return
    if not sys.stdin.isatty():
        raise BenchError(
            f"nothing {undone}: nobody can be asked here.",
            cause="The input is not a terminal.",
            mend=f"Add --yes when {clear}.",
        )
    if not confirmed("Go on?"):
        raise Stopped(f"nothing {undone}.")


def count_down(board: Boards, seconds: float, doing: str) -> None:
    """Let time pass at a board that holds; on a terminal, show how much is left."""
    shown = sys.stderr.isatty()
    left = seconds
    try:
        while left > 0:
            if shown:
                click.echo(f"\r  {doing}: {math.ceil(left)} s left  ", nl=False, err=True)
            board.wait(min(left, 1.0))
            left -= 1.0
    finally:
        if shown:
            click.echo(f"\r{' ' * (len(doing) + 20)}\r", nl=False, err=True)


def progress(label: str) -> Callable[[int, int], None]:
    """Return what says how far a long piece of work has come, on a terminal only."""
    if not sys.stderr.isatty():
        return lambda _done, _whole: None
    return lambda done, whole: tell(f"  {label}: {done} of {whole} readings")
