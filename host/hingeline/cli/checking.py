"""A check at the bench: every surface is read at three points and compared with its record."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from hingeline.bench.asking import Answer, Gauge
from hingeline.bench.choices import NOT_UNDERSTOOD
from hingeline.bench.procedures.channels import in_use
from hingeline.bench.readings import reading_u_deg
from hingeline.bench.rigging.orders import Order
from hingeline.bench.rigging.prompting import Ordered, Prompter, Typed
from hingeline.bench.rigging.rechecking import Three, read_play, read_three
from hingeline.cli import checked, options, standing
from hingeline.cli.benchwork import Bench, at_bench, channels_of
from hingeline.cli.checked import Checked
from hingeline.cli.models import ModelFile
from hingeline.cli.noting import step_note
from hingeline.cli.onrecord import OnRecord
from hingeline.cli.output import FAILED, emit, tell
from hingeline.errors import HingelineError, RecordsError, Stopped
from hingeline.kinds import CHECKED
from hingeline.linkage.mounting import mounted
from hingeline.model.schema import Pair, Surface
from hingeline.rigging.recheck import Play, Recheck, recheck
from hingeline.travel.reading import Approach
from hingeline.travel.schedule import Step


@dataclass(frozen=True)
class Check:
    """A check of surfaces at a bench.

    Attributes
    ----------
    file : ModelFile
    surfaces : sequence of Surface
        What is checked, in this order.
    recorded : dict
        The record of each that can be checked, by name.
    refused : dict
        Why the others cannot, by name.
    gauge : Gauge
        What is read now.
    tolerance_deg : float
        What may have changed without harm.
    choices : Choices
    """

    file: ModelFile
    surfaces: Sequence[Surface]
    recorded: dict[str, OnRecord]
    refused: dict[str, HingelineError]
    gauge: Gauge
    tolerance_deg: float
    choices: options.Choices

    def through(self, *, as_json: bool) -> int:
        """Check all surfaces; return the exit code."""
        left_out = {
            name: f"{error}".removeprefix(f"{name}: ") for name, error in self.refused.items()
        }
        chosen = [surface for surface in self.surfaces if surface.name in self.recorded]
        for line in self._told_first(left_out):
            tell(line)
        rows: list[Checked] = []
        with at_bench(
            self.choices,
            "check",
            channels_of(self.file, chosen),
            self.file,
            doing="go to both ends and to neutral, one after the other",
            boards=self._boards(),
            asker=standing.builder,
            stations=standing.sound,
        ) as bench:
            for place, surface in enumerate(chosen, 1):
                tell(f"[{place}/{len(chosen)}] {surface.name}")
                read = self._read(bench, surface, rows)
                if read is None:
                    left_out[surface.name] = ""
                    continue
                row = Checked(surface, self._compared(surface, *read), self.recorded[surface.name])
                rows.append(row)
                bench.records.note_finding(
                    bench.session_id, CHECKED, surface.name, checked.surface_figures(row)
                )
        found = {row.surface.name: row.found for row in rows}
        sides = [
            one
            for pair in self._pairs
            if (one := checked.sides_of(pair, found, self.tolerance_deg)) is not None
        ]
        rigs = list({one.rig.number: one.rig for one in self.recorded.values()}.values())
        passed = not left_out and all(
            [
                *(row.passed for row in rows),
                *(one.passed for one in sides),
                *(rig.stands and not rig.left_of_model for rig in rigs),
            ]
        )
        figures = {
            "model": self.file.model.name,
            "surfaces": [checked.surface_figures(row) for row in rows],
            "pairs": [checked.sides_figures(one) for one in sides],
            "rigs": [checked.rig_figures(one) for one in rigs],
            "not_checked": list(left_out),
            "pass": passed,
        }
        emit(figures, as_json=as_json, text=checked.text(rows, sides, rigs, left_out))
        return 0 if passed else FAILED

    def _told_first(self, left_out: Mapping[str, str]) -> Iterator[str]:
        """Say what should be known before anything moves."""
        for name, why in left_out.items():
            yield f"Not checked: {name}: {why}"
        for surface in self.surfaces:
            record = self.recorded.get(surface.name)
            if record is None:
                continue
            if record.wrong:
                yield f"{surface.name}: the record itself was not as wanted."
            yield from (f"{surface.name}: {said}" for said in record.newer[:1])
            channel = record.figures["channel"]
            if channel != surface.channel:
                yield (
                    f"{surface.name} was on channel {channel} when it was rigged; it is checked "
                    f"on channel {surface.channel} now."
                )

    def _boards(self) -> tuple[str, ...] | None:
        """Return the boards that must be there: those of the record, if they were several.

        Raises
        ------
        RecordsError
            When the surfaces were rigged with different ones.
        """
        several = {one.boards for one in self.recorded.values() if len(one.boards) > 1}
        if len(several) > 1:
            raise RecordsError(
                "the surfaces were rigged with different boards: "
                f"{', '.join(' '.join(one) for one in sorted(several))}.",
                mend="Check those of the same boards together: name them.",
            )
        return next(iter(several), None)

    @property
    def _pairs(self) -> list[Pair]:
        names = set(self.recorded)
        return [pair for pair in self.file.model.pairs if {pair.left, pair.right} <= names]

    @property
    def _judged(self) -> int:
        """How many comparisons share the chance of a false alarm."""
        plays = sum(one.figures.get("slop_deg") is not None for one in self.recorded.values())
        return len(self.recorded) + len(self._pairs) + plays

    def _compared(self, surface: Surface, now: Sequence[float], play_deg: float | None) -> Recheck:
        record = self.recorded[surface.name]
        figures = record.figures
        u_deg = math.hypot(figures["u_deg"], reading_u_deg(self.gauge, surface))
        # What happened is worked out on what was rigged, whatever the file says now.
        model = record.model or self.file.model
        built = model.surface(surface.name)
        servo = model.servo_of(built)
        return recheck(
            built,
            servo,
            None if record.model is None else mounted(built, servo),
            record.then_deg[: len(now)],
            now,
            u_deg=u_deg,
            tolerance_deg=self.tolerance_deg,
            judged=self._judged,
            play=None
            if play_deg is None
            else Play(figures["slop_deg"], play_deg, u_deg, self._judged),
        )

    def _read(
        self, bench: Bench, surface: Surface, rows: Sequence[Checked]
    ) -> tuple[tuple[float, ...], float | None] | None:
        """Read a surface at its three points, and its free play; None when it was left out."""
        notes = step_note(bench, surface.servo, self.gauge, surface)

        def keep(
            pulse_us: int, approach: Approach, answer: Answer, replaces: int | None, because: str
        ) -> int:
            return notes.reading(Step(pulse_us, approach, True), answer, replaces, because)

        def typed(what: Typed) -> None:
            bench.records.note_remark(
                bench.session_id,
                "not understood" if what.understood == NOT_UNDERSTOOD else "answered",
                servo=surface.servo,
                text=what.text,
                figures={"topic": what.topic, "understood": what.understood, **what.detail},
            )

        def obey(order: Order) -> None:
            for line in self._listed(surface, rows) if order.what == "list" else [_WHY]:
                bench.asker.tell(line)

        record = self.recorded[surface.name]
        channels = channels_of(self.file, [surface])
        prompter = Prompter(bench.asker, typed, obey)
        while True:
            try:
                with in_use(bench.board, channels):
                    three = Three(surface, record.pulses_us, record.then_deg)
                    now = read_three(bench.board, three, self.gauge, prompter, keep)
                    if record.figures.get("slop_deg") is None or len(now) < len(record.then_deg):
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

    def _listed(self, at: Surface, rows: Sequence[Checked]) -> Iterator[str]:
        """List the surfaces, with how each stands."""
        states = {row.surface.name: "pass" if row.passed else "FAIL" for row in rows}
        reached = False
        for surface in self.surfaces:
            reached = reached or surface is at
            state = "now" if surface is at else "to come" if reached else "left out"
            if surface.name in self.refused:
                state = "left out"
            yield f"{states.get(surface.name, state):8} {surface.name}"


_WHY = (
    "Both ends and neutral, as they were when it was rigged, show what has slipped, bent or worn "
    "since; only what has not changed flies as it did."
)
