"""``hingeline check``."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from hingeline import units
from hingeline.bench.asking import TURNING, Answer, Gauge
from hingeline.bench.ports import SIMULATED
from hingeline.cli import models, options, pastchecks, standing
from hingeline.cli.benchwork import Bench, at_bench, channels_of, default_records
from hingeline.cli.models import ModelFile
from hingeline.cli.output import FAILED, emit, tell
from hingeline.cli.pastchecks import CHECKED, RIGGED
from hingeline.errors import RecordsError, Stopped, TravelError
from hingeline.model.schema import Pair, Surface
from hingeline.records.store import Records, Row
from hingeline.rigging.threepoints import of_record

if TYPE_CHECKING:
    from hingeline.rigging.recheck import Recheck

_AT_BOARDS = " (of a simulated bench: --port sim:)"


@click.command("check", short_help="Compare a model with its record, three points a surface.")
@options.model_argument
@click.argument("surfaces", nargs=-1, metavar="[SURFACE]...")
@click.option(
    "--tolerance",
    type=options.Quantity(units.ANGLE, 0.1, 45.0),
    default="1 deg",
    show_default=True,
    help="What may have changed without harm.",
)
@click.option(
    "--history", is_flag=True, help="Show what was found over time instead; nothing moves."
)
@options.gauge_options("deg", "drop", "straight")
@options.moving_options
@options.json_option
def command(
    model: Path,
    surfaces: tuple[str, ...],
    tolerance: float,
    history: bool,
    gauge: Gauge,
    choices: options.Choices,
    as_json: bool,
) -> int:
    """Compare a model with its record, three points a surface.

    Before flying, after a hard landing, next season: each surface is sent where it was sent
    when it was rigged, to both ends and to neutral, and you type where it stands. What differs
    by more than the gauge may make is named: a slipped arm, a bent rod, growing free play,
    another servo, a reversed channel. Where the free play is on record, it is read again, too.
    The exit code is 1 when something has changed by more than the tolerance.

    \b
    Examples:
      hingeline check millrace.toml
      hingeline check millrace.toml elevator --gauge drop
      hingeline check millrace.toml --history
    """
    file = models.load(model)
    chosen = models.surfaces_named(file, surfaces)
    if history:
        _show_history(file, chosen, choices, as_json=as_json)
        return 0
    simulated = standing.is_simulated(choices)
    records_of = _recorded(file, chosen, choices, simulated=simulated)
    return _Check(file, chosen, records_of, gauge, tolerance, choices).through(as_json=as_json)


def _show_history(
    file: ModelFile, chosen: Sequence[Surface], choices: options.Choices, *, as_json: bool
) -> None:
    # No bench is needed: without a name those of real ones are meant.
    simulated = any(port.startswith(SIMULATED) for port in choices.ports)
    name = file.model.name
    with Records(_existing(choices)) as records:
        found = {
            one.name: pastchecks.over_time(records, name, one, simulated=simulated)
            for one in chosen
        }
    emit(
        {
            "surfaces": [
                pastchecks.figures(one, found[one.name]) for one in chosen if found[one.name]
            ]
        },
        as_json=as_json,
        text=(
            line
            for one in chosen
            for line in (
                pastchecks.text(one, found[one.name])
                if found[one.name]
                else [f"{one.name}: nothing is on record yet{'' if simulated else _AT_BOARDS}."]
            )
        ),
    )


def _existing(choices: options.Choices) -> Path:
    path = choices.records_path or default_records()
    if not path.exists():
        raise RecordsError(
            f"{path}: nothing is on record there yet.",
            mend="Rig the model first, or name another file with --records.",
        )
    return path


def _recorded(
    file: ModelFile, chosen: Sequence[Surface], choices: options.Choices, *, simulated: bool
) -> dict[str, Row]:
    """Return the newest record of each surface; refuse what no longer fits the model file.

    Raises
    ------
    RecordsError
        When a surface was never rigged, or with another servo, or not at all three points.
    TravelError
        When a recorded pulse is beyond the servo's limits now.
    """
    found: dict[str, Row] = {}
    with Records(_existing(choices)) as records:
        for surface in chosen:
            own = records.finding_history(
                RIGGED, surface.name, simulated=simulated, limit=1, model=file.model.name
            )
            again = f'Rig it: hingeline rig {file.path} "{surface.name}"'
            if not own:
                raise RecordsError(
                    f"{surface.name}: there is no record of it to compare with.",
                    cause="It was not rigged to its end on this sort of bench.",
                    mend=again,
                )
            figures = own[0]["figures"]
            try:
                pulses, _ = of_record(figures)
            except KeyError as lacking:
                raise RecordsError(
                    f"{surface.name}: its record lacks the reading at {lacking.args[0]}.",
                    mend=again,
                ) from None
            if figures["servo"] != surface.servo:
                raise RecordsError(
                    f"{surface.name}: its record is of servo {figures['servo']}; the model file "
                    f"says {surface.servo} now.",
                    mend=again,
                )
            low, high = file.model.servo_of(surface).pulse_limits_us
            for pulse in pulses:
                if not low <= pulse <= high:
                    raise TravelError(
                        f"{surface.name}: it was rigged with {pulse} us, outside the {low} to "
                        f"{high} us that the model file allows now.",
                        mend=again,
                    )
            if figures["channel"] != surface.channel:
                tell(
                    f"{surface.name} was on channel {figures['channel']} when it was rigged; it "
                    f"is checked on channel {surface.channel} now."
                )
            found[surface.name] = own[0]
    return found


@dataclass(frozen=True)
class _Check:
    """A check under way."""

    file: ModelFile
    surfaces: Sequence[Surface]
    recorded: dict[str, Row]
    gauge: Gauge
    tolerance_deg: float
    choices: options.Choices

    def through(self, *, as_json: bool) -> int:
        """Check all surfaces; return the exit code."""
        from hingeline.cli import checked

        channels = channels_of(self.file, self.surfaces)
        found: dict[str, Recheck] = {}
        rows, left_out = [], []
        with at_bench(
            self.choices,
            "check",
            channels,
            self.file,
            doing="go to both ends and to neutral, one after the other",
            asker=standing.builder,
            stations=standing.sound,
        ) as bench:
            for place, surface in enumerate(self.surfaces, 1):
                tell(f"[{place}/{len(self.surfaces)}] {surface.name}")
                read = self._read(bench, surface)
                if read is None:
                    left_out.append(surface.name)
                    continue
                result = self._compared(surface, *read)
                found[surface.name] = result
                noted = self.recorded[surface.name]["noted"]
                rows.append((surface, result, noted))
                bench.records.note_finding(
                    bench.session_id,
                    CHECKED,
                    surface.name,
                    checked.surface_figures(surface, result, noted),
                )
        sides = [
            one
            for pair in self._pairs
            if (one := checked.sides_of(pair, found, self.tolerance_deg)) is not None
        ]
        passed = (
            not left_out
            and all(result.passed for result in found.values())
            and all(one.passed for one in sides)
        )
        figures = {
            "model": self.file.model.name,
            "surfaces": [checked.surface_figures(*row) for row in rows],
            "pairs": [checked.sides_figures(one) for one in sides],
            "not_checked": left_out,
            "pass": passed,
        }
        emit(figures, as_json=as_json, text=checked.text(rows, sides, left_out))
        return 0 if passed else FAILED

    @property
    def _pairs(self) -> list[Pair]:
        names = {surface.name for surface in self.surfaces}
        return [pair for pair in self.file.model.pairs if {pair.left, pair.right} <= names]

    @property
    def _judged(self) -> int:
        """How many comparisons share the chance of a false alarm."""
        plays = sum(row["figures"].get("slop_deg") is not None for row in self.recorded.values())
        return len(self.surfaces) + len(self._pairs) + plays

    def _compared(self, surface: Surface, now: Sequence[float], play_deg: float | None) -> Recheck:
        from hingeline.bench.rigging.context import READING_U_DEG
        from hingeline.linkage.mounting import mounted
        from hingeline.rigging.recheck import Play, recheck
        from hingeline.travel.reading import resolution_u

        servo = self.file.model.servo_of(surface)
        figures = self.recorded[surface.name]["figures"]
        step = self.gauge.resolution
        if self.gauge.unit == "mm":
            step = math.degrees(step / surface.chord_mm)
        now_u = math.hypot(READING_U_DEG, resolution_u(step))
        u_deg = math.hypot(figures["u_deg"], now_u)
        return recheck(
            surface,
            servo,
            mounted(surface, servo),
            of_record(figures)[1],
            now,
            u_deg=u_deg,
            tolerance_deg=self.tolerance_deg,
            judged=self._judged,
            play=None
            if play_deg is None
            else Play(figures["slop_deg"], play_deg, u_deg, self._judged),
        )

    def _read(
        self, bench: Bench, surface: Surface
    ) -> tuple[tuple[float, ...], float | None] | None:
        """Read a surface at its three points, and its free play; None when it was left out."""
        from hingeline.bench.procedures.channels import in_use
        from hingeline.bench.rigging.prompting import Ordered, Prompter, Typed
        from hingeline.bench.rigging.rechecking import Three, read_play, read_three

        def keep(
            pulse_us: int, approach: str, answer: Answer, replaces: int | None, because: str
        ) -> int:
            return bench.records.note_reading(
                bench.session_id,
                servo=surface.servo,
                surface=surface.name,
                pulse_us=pulse_us,
                approach=approach,
                gauge=self.gauge.kind,
                resolution=self.gauge.resolution,
                typed=answer.typed,
                value=answer.value,
                unit=answer.unit if answer.settled else TURNING,
                replaces=replaces,
                because=because,
            )

        def typed(what: Typed) -> None:
            bench.records.note_remark(
                bench.session_id,
                "answered",
                servo=surface.servo,
                text=what.text,
                figures={"topic": what.topic, "understood": what.understood, **what.detail},
            )

        figures = self.recorded[surface.name]["figures"]
        pulses, then = of_record(figures)
        channels = channels_of(self.file, [surface])
        prompter = Prompter(bench.asker, typed)
        while True:
            try:
                with in_use(bench.board, channels):
                    three = Three(surface, pulses, then)
                    now = read_three(bench.board, three, self.gauge, prompter, keep)
                    if figures.get("slop_deg") is None:
                        return now, None
                    return now, read_play(bench.board, surface, self.gauge, prompter)
            except Ordered as ordered:
                if ordered.order.what == "stop":
                    raise Stopped(
                        "stopped; the outputs are off, and what was typed is kept.",
                        mend="Check again with the same command.",
                    ) from None
                if ordered.order.what == "skip":
                    return None
