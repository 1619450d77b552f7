"""A check at the bench: every surface is read at three points and compared with its record."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from hingeline.bench.asking import TURNING, Answer, Gauge
from hingeline.bench.procedures.channels import in_use
from hingeline.bench.rigging.context import READING_U_DEG
from hingeline.bench.rigging.prompting import Ordered, Prompter, Typed
from hingeline.bench.rigging.rechecking import Three, read_play, read_three
from hingeline.cli import checked, options, standing
from hingeline.cli.benchwork import Bench, at_bench, channels_of
from hingeline.cli.models import ModelFile
from hingeline.cli.output import FAILED, emit, tell
from hingeline.cli.pastchecks import CHECKED, RIGGED
from hingeline.cli.records.place import existing
from hingeline.errors import RecordsError, Stopped, TravelError
from hingeline.linkage.mounting import mounted
from hingeline.model.schema import Pair, Surface
from hingeline.records.store import Row
from hingeline.rigging.recheck import Play, Recheck, recheck
from hingeline.rigging.threepoints import of_record
from hingeline.travel.reading import resolution_u


def recorded(
    file: ModelFile, chosen: Sequence[Surface], choices: options.Choices
) -> dict[str, Row]:
    """Return the newest record of each surface; refuse what no longer fits the model file.

    Nothing has moved by then.

    Raises
    ------
    RecordsError
        When a surface was never rigged, or with another servo, or not at all three points.
    TravelError
        When a recorded pulse is beyond the servo's limits now.
    """
    simulated = standing.is_simulated(choices)
    found: dict[str, Row] = {}
    with existing(choices.records_path) as records:
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
class Check:
    """A check of surfaces at a bench.

    Attributes
    ----------
    file : ModelFile
    surfaces : sequence of Surface
        What is checked, in this order.
    recorded : dict
        The record of each, by name.
    gauge : Gauge
        What is read now.
    tolerance_deg : float
        What may have changed without harm.
    choices : Choices
    """

    file: ModelFile
    surfaces: Sequence[Surface]
    recorded: dict[str, Row]
    gauge: Gauge
    tolerance_deg: float
    choices: options.Choices

    def through(self, *, as_json: bool) -> int:
        """Check all surfaces; return the exit code."""
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
