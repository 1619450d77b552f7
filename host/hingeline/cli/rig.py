"""``hingeline rig``."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click
import msgspec

from hingeline import units
from hingeline.bench.asking import Gauge
from hingeline.bench.choices import Choice, Chooser
from hingeline.bench.rigging.conductor import Conductor
from hingeline.bench.rigging.context import Rig
from hingeline.bench.rigging.covering import prints_of
from hingeline.bench.rigging.prompting import Prompter, Typed
from hingeline.cli import models, options, rigged, standing
from hingeline.cli.again import same_command
from hingeline.cli.benchwork import (
    Bench,
    StandIn,
    Stations,
    at_bench,
    channels_of,
    default_records,
)
from hingeline.cli.models import ModelFile
from hingeline.cli.output import FAILED, emit, tell
from hingeline.cli.rigkeeping import RecordsKeeper
from hingeline.errors import BenchError, LostError, Stopped
from hingeline.model.schema import Surface
from hingeline.records.store import Records, Row
from hingeline.rigging.progress import Progress
from hingeline.rigging.steps import checklist
from hingeline.travel.matching import TOLERANCE_DEG

AGAIN, STOP = "again", "stop"


@click.command("rig", short_help="Rig a model step by step, from bare servos to signing it off.")
@options.model_argument
@click.argument("surfaces", nargs=-1, metavar="[SURFACE]...")
@click.option(
    "--tolerance",
    type=options.Quantity(units.ANGLE, 0.1, 45.0),
    default=f"{TOLERANCE_DEG:g} deg",
    show_default=True,
    help="By how much a throw may miss, and the sides of a pair differ.",
)
@click.option(
    "--calibration",
    type=click.Choice(["record", "quick", "usual", "thorough"]),
    default=None,
    help="How the servos' travel is had: from the record, or measured; default: you are asked.",
)
@click.option("--afresh", is_flag=True, help="Begin a new rig, whatever was begun before.")
@click.option(
    "--other-board",
    is_flag=True,
    help="Go on with another board than the rig was begun with, its leads plugged likewise.",
)
@click.option("--list", "only_list", is_flag=True, help="Show the checklist; nothing moves.")
@options.gauge_options("deg", "drop", "straight")
@options.moving_options
@options.json_option
def command(
    model: Path,
    surfaces: tuple[str, ...],
    tolerance: float,
    calibration: str | None,
    afresh: bool,
    other_board: bool,
    only_list: bool,
    gauge: Gauge,
    choices: options.Choices,
    as_json: bool,
) -> int:
    """Rig a model step by step, from bare servos to signing it off.

    What has to be done is asked for one step at a time: leads, bare surfaces, centres, arms,
    travel, rods, neutral, direction, throws, slop, binding, pairs, limits. What is wrong is
    named, with its mends. Everything typed is kept; a rig that was stopped goes on where it
    was. Typed at any prompt, ? tells what else can be typed there. The exit code is 1 when
    it was signed with something failed or left out.

    \b
    Examples:
      hingeline rig millrace.toml
      hingeline rig millrace.toml rudder --gauge drop --calibration quick
      hingeline rig millrace.toml --list
    """
    file = models.load(model)
    chosen = models.surfaces_named(file, surfaces)
    work = Work(
        file,
        chosen,
        gauge,
        tolerance,
        calibration or "",
        choices,
        same_command(without=["afresh"]),
        other_board=other_board,
        asker=standing.builder,
        stations=standing.sound,
    )
    if only_list:
        with Records(choices.records_path or default_records()) as records:
            rows = work.rows(records, simulated=_simulated_records(choices))
        progress = work.progress(rows)
        emit(rigged.list_figures(progress), as_json=as_json, text=rigged.list_text(progress))
        return 0
    figures = work.through(afresh=afresh)
    emit(figures, as_json=as_json, text=rigged.text(figures, model))
    return 0 if figures["pass"] else FAILED


def _simulated_records(choices: options.Choices) -> bool:
    """Tell of which sort of bench the records are meant; no board has to be plugged in."""
    try:
        return standing.is_simulated(choices)
    except BenchError:
        return False


class Work:
    """A rig through all its sittings: a bench that is lost is looked for again.

    Parameters
    ----------
    file, surfaces, gauge, tolerance_deg, calibration, choices
        As given to the command.
    go_on : str
        The command by which the rig goes on when it was stopped.
    other_board : bool
        Whether a rig may go on with other boards than before.
    asker, stations : callable, optional
        Who and what stands at a simulated bench, as for `at_bench`.
    """

    def __init__(
        self,
        file: ModelFile,
        surfaces: Sequence[Surface],
        gauge: Gauge,
        tolerance_deg: float,
        calibration: str,
        choices: options.Choices,
        go_on: str,
        *,
        other_board: bool = False,
        asker: StandIn | None = None,
        stations: Stations | None = None,
    ) -> None:
        self._file, self._surfaces = file, surfaces
        self._gauge, self._tolerance_deg = gauge, tolerance_deg
        self._calibration, self._choices = calibration, choices
        self._go_on = f"Go on with: {go_on}"
        self._items = checklist(file.model, surfaces)
        self._stand_in, self._stations = asker, stations
        self._asker: Chooser | None = None
        self._session_id = 0
        self._boards: tuple[str, ...] = ()
        self._other_board = other_board

    def progress(self, rows: Sequence[Row]) -> Progress:
        """Return where the checklist stands after some rows."""
        return Progress(self._items, self._prints(rows), rows)

    def _prints(self, rows: Sequence[Row]) -> dict[tuple[str, str], str]:
        return prints_of(self._file.model, self._items, self._surfaces, rows)

    def rows(self, records: Records, *, simulated: bool) -> list[Row]:
        """Return the rows of the model's newest rig."""
        newest = records.newest_rig(self._file.model.name, simulated=simulated)
        return [] if newest is None else records.rig_steps(newest["id"])

    def through(self, *, afresh: bool) -> dict[str, Any]:
        """Take the rig from where it stands to its end; return what came of it."""
        rig = None if afresh else self._unfinished()
        broken = False
        while True:
            try:
                return self._sitting(rig, broken=broken)
            except BenchError as error:
                if self._asker is None or not (broken or isinstance(error, LostError)):
                    raise
                tell(f"{error} What was typed is kept; the step begins again.")
                if not self._again(self._asker):
                    raise
                rig, broken = self._unfinished(), True

    # -- within ------------------------------------------------------------------------

    def _unfinished(self) -> int | None:
        """Return the model's newest rig, if that is not signed; None: a new one begins."""
        path = self._choices.records_path or default_records()
        with Records(path) as records:
            simulated = standing.is_simulated(self._choices)
            newest = records.newest_rig(self._file.model.name, simulated=simulated)
            if newest is None:
                return None
            number = int(newest["id"])
            rows = records.rig_steps(number)
            progress = self.progress(rows)
            last = records.header(rows[-1]["session_id"]) if rows else newest
            self._boards = tuple((last["board"] or "").split())
        if progress.next() is None:
            tell(
                f"The rig that was begun on {newest['started'][:10]} is signed; a new one begins."
            )
            return None
        tell(
            f"The rig of {self._file.model.name} that was begun on {newest['started'][:10]} goes "
            f"on: {progress.done_count} of {progress.count} steps are dealt with."
        )
        return number

    def _sitting(self, rig: int | None, *, broken: bool) -> dict[str, Any]:
        channels = channels_of(self._file, self._surfaces)
        with at_bench(
            self._choices,
            "rig",
            channels,
            self._file,
            doing="be centred and moved, one step after the other, each after a question",
            after_stop=self._go_on,
            rig=rig or 0,
            # Whatever a board did meanwhile: nothing moves before leave is given anew.
            ask=True if (broken or rig is not None) and self._by_a_person() else None,
            boards=self._boards if rig is not None and not self._other_board else None,
            asker=self._stand_in,
            stations=self._stations,
        ) as bench:
            self._asker, self._session_id = bench.asker, bench.session_id
            self._boards = bench.boards
            number = rig or bench.session_id
            self._note_servos(bench)
            conductor = self._conductor(bench, number)
            try:
                conductor.run()
            except Stopped as stopped:
                raise Stopped(stopped.message, mend=stopped.mend or self._go_on) from None
            return rigged.figures(self._file.model, conductor.rig, number)

    def _note_servos(self, bench: Bench) -> None:
        """Keep what the file says of the servos; say when a label seems to stand on another."""
        for label in dict.fromkeys(surface.servo for surface in self._surfaces):
            figures = msgspec.structs.asdict(self._file.model.servos[label])
            differs = bench.records.servo_differs(label, figures, simulated=bench.board.simulated)
            if differs is not None:
                tell(differs)
            bench.records.note_servo(bench.session_id, label, figures)

    def _conductor(self, bench: Bench, number: int) -> Conductor:
        rows = bench.records.rig_steps(number)
        made: list[Conductor] = []
        prompter = Prompter(
            bench.asker,
            lambda typed: made[0].keep(typed),
            lambda order: made[0].obey(order),
            lambda order: made[0].refused(order),
        )
        rig = Rig(
            self._file.model,
            self._surfaces,
            bench.board,
            prompter,
            RecordsKeeper(bench, self._file, number),
            self._gauge,
            self._tolerance_deg,
            self.progress(rows),
            self._prints(rows),
            list(rows),
            bench.boards,
            self._calibration,
        )
        made.append(Conductor(rig))
        return made[0]

    def _by_a_person(self) -> bool:
        """Tell whether something may move at which a person stands, or looks."""
        return self._choices.by_hand or not standing.is_simulated(self._choices)

    def _again(self, asker: Chooser) -> bool:
        choice = Choice(
            "Look at board, cable and supply. Then type again to look for the board, or stop",
            self._surfaces[0].channel,
            (AGAIN, STOP),
            topic="broken off",
        )
        refused = f"No step is under way. Type {AGAIN} or {STOP}."
        prompter = Prompter(asker, self._keep_apart, refused=lambda _order: refused)
        return prompter.pick(choice) == AGAIN

    def _keep_apart(self, typed: Typed) -> None:
        """Keep what is typed while there is no bench."""
        with Records(self._choices.records_path or default_records()) as records:
            records.note_remark(
                self._session_id,
                "answered",
                text=typed.text,
                figures={"topic": typed.topic, "understood": typed.understood},
            )
