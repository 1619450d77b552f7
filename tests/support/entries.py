"""Invented readings as people type them, one by one, some of them wrong: is a slip noticed?

Each servo is stepped as a calibration does it, and read at the arm or, through a linkage, at
its surface in degrees or millimetres. From the third reading on each one is judged by those
before it, once as it should be and once with a slip: a decimal point lost or added, the
direction turned round, or two digits exchanged, which moves it by more than six steps of the
gauge.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from hingeline.bench.asking import (
    Answer,
    Gauge,
    Question,
    arm_question,
    surface_question,
    understand,
)
from hingeline.bench.doubting import instead
from hingeline.bench.readings import Making, making, retyped
from hingeline.chord import throw_mm
from hingeline.errors import TravelError, UnitError
from hingeline.linkage.closure import surface_angle
from hingeline.travel.judging import Doubt, Judge
from hingeline.travel.reading import Reading
from hingeline.travel.schedule import Step, traverse
from hingeline.travel.setting import Setting, setting_of
from tests.support.models import one
from tests.support.servo_truth import ServoTruth, random_servo

POINTS = (5, 7, 9, 13, 17, 21)
GAUGES = {
    "arm": (0.25, 0.5, 1.0, 2.0),
    "deg": (0.25, 0.5, 1.0, 2.0),
    "drop": (0.25, 0.5, 1.0),
    "straight": (0.25, 0.5, 1.0),
}
KIND_SHARES = {"arm": 0.7, "deg": 0.1, "drop": 0.1, "straight": 0.1}
STOPPED = 0.1
LEAST_STEPS = 6.0
SLIPS = ("ten times", "a tenth", "direction", "digits exchanged")


@dataclass
class Tally:
    """How many were judged, and how many of them were questioned."""

    slips: Counter[str] = field(default_factory=Counter)
    questioned: Counter[str] = field(default_factory=Counter)
    named: int = 0
    #: Those that nothing can read so, and how many of them were asked about with what was meant.
    refused: int = 0
    offered: int = 0
    honest: Counter[str] = field(default_factory=Counter)
    alarms: Counter[str] = field(default_factory=Counter)
    told: int = 0

    @property
    def caught(self) -> float:
        """The share of the slips that was questioned."""
        return self.questioned.total() / self.slips.total()

    @property
    def false_alarms(self) -> float:
        """The share of the honest readings that was questioned."""
        return self.alarms.total() / self.honest.total()


@dataclass(frozen=True)
class Bench:
    """A gauge at a servo, and what is typed for what it shows."""

    gauge: Gauge
    question: Question
    make: Making
    setting: Setting

    def shown(self, shaft_deg: float) -> float:
        """Return what the gauge shows, to its step; nan where the linkage cannot be."""
        value = shaft_deg
        if self.gauge.at_surface:
            value = math.degrees(
                float(surface_angle(self.setting.linkage, math.radians(shaft_deg)))
            )
        if self.gauge.kind in ("drop", "straight"):
            value = throw_mm(value, self.setting.surface.chord_mm, self.gauge.kind)
        step = self.gauge.resolution
        return value if math.isnan(value) else round(value / step) * step

    def typed(self, value: float, number: str | None = None) -> str:
        """Write a value as people do; ``number`` in the place of its size."""
        number = number or f"{abs(value):g}"
        if not self.gauge.at_surface:
            return f"-{number}" if value < 0 else number
        word = next(word for word, sign in self.question.signs.items() if sign * value >= 0)
        return f"{word} {number}"

    def read(self, step: Step, typed: str) -> tuple[Reading, Answer]:
        """Understand a text."""
        answer = understand(self.question, typed)
        return self.make(step.pulse_us, step.approach, answer), answer

    def doubt(self, judge: Judge, step: Step, read: tuple[Reading, Answer]) -> Doubt | None:
        """Have a reading judged."""
        again = retyped(self.question, read[1].typed, step, self.make)
        return judge.doubt(read[0], again)


def bench_with(gauge: Gauge) -> Bench:
    """Put a gauge to the invented aileron's servo, or to the aileron."""
    shape, servo = one(arm={"hole": 1}, horn={"hole": 3})
    setting = setting_of(shape, servo, None)
    if gauge.at_surface:
        question = surface_question(shape, 1, gauge, assumed=None)
    else:
        question = arm_question("A1", 1, 1500, gauge)
    return Bench(gauge, question, making(gauge, setting), setting)


def servo_of(rng: np.random.Generator) -> ServoTruth:
    """Draw a servo with up to 2 deg of play, one in ten with stops inside its range."""
    servo = random_servo(rng)
    if rng.random() < STOPPED:
        servo.stop_deg = float(rng.uniform(25.0, 42.0))
    return servo


def slip(kind: str, value: float, rng: np.random.Generator, bench: Bench) -> str | None:
    """Return what is typed by a slip; None where it makes no difference to speak of."""
    number = f"{abs(value):g}"
    if kind == "digits exchanged":
        places = [
            place
            for place in range(len(number) - 1)
            if (number[place : place + 2]).isdigit() and number[place] != number[place + 1]
        ]
        if not places:
            return None
        at = int(rng.choice(places))
        wrong = math.copysign(
            float(number[:at] + number[at + 1] + number[at] + number[at + 2 :]), value
        )
    else:
        wrong = {"ten times": 10.0 * value, "a tenth": value / 10.0, "direction": -value}[kind]
    if abs(wrong - value) <= LEAST_STEPS * bench.gauge.resolution * (1.0 + 1e-9):
        return None
    return bench.typed(wrong)


def _steps(points: int) -> list[Step]:
    """List a small step, then up to the high end, down to the low one, and up again."""
    steps = traverse(1000, 2000, limits_us=(1000, 2000), start_us=1550, points=points)
    up = [step for step in steps[1:] if step.approach == "rising"]
    down = [step for step in steps[1:] if step.approach == "falling"]
    above = [step for step in up if step.pulse_us > 1550]
    below = [step for step in up if step.pulse_us <= 1550]
    first = [Step(1470, "falling", False), Step(1500, "rising", True), Step(1550, "rising", True)]
    return [*first, *above, *down, *below]


def walk(seed: int) -> Iterator[tuple[Bench, Step, float]]:
    """Draw a bench and a servo, and go through a calibration: each step and what is shown."""
    rng = np.random.default_rng([83, seed])
    kind = str(rng.choice(list(KIND_SHARES), p=list(KIND_SHARES.values())))
    bench = bench_with(Gauge(kind, float(rng.choice(GAUGES[kind]))))  # type: ignore[arg-type]
    servo, points = servo_of(rng), int(rng.choice(POINTS))
    steps = _steps(points)
    read = [step for step in steps if step.read]
    for step, reading in zip(read, servo.read(steps, rng, 1e-6), strict=True):
        yield bench, step, bench.shown(reading.angle_deg)


def judged(entries: int) -> Tally:
    """Judge so many honest entries, and about as many slips."""
    tally = Tally()
    seed = 0
    while tally.honest.total() < entries:
        rng = np.random.default_rng([84, seed])
        judge, number, known = Judge(), 0, list[Reading]()
        for bench, step, value in walk(seed):
            if math.isnan(value):
                continue
            try:
                honest = bench.read(step, bench.typed(value))
            except TravelError:  # near a dead point: left out, as at a bench
                continue
            number += 1
            if number > 2:
                _slipped(tally, judge, known, bench, step, value, rng)
            doubt = bench.doubt(judge, step, honest)
            if number > 2:
                cell = f"{bench.gauge.kind} {bench.gauge.resolution:g}"
                tally.honest[cell] += 1
                tally.alarms[cell] += doubt is not None and doubt.worth_asking
                tally.told += doubt is not None and not doubt.worth_asking
            judge.keep(honest[0], doubt)
            known.append(honest[0])
        seed += 1
    return tally


def _slipped(
    tally: Tally,
    judge: Judge,
    known: list[Reading],
    bench: Bench,
    step: Step,
    value: float,
    rng: np.random.Generator,
) -> None:
    made = [(kind, text) for kind in SLIPS if (text := slip(kind, value, rng, bench))]
    if not made:
        return
    kind, text = made[int(rng.integers(len(made)))]
    try:
        wrong = bench.read(step, text)
    except (TravelError, UnitError):  # no arm, surface or linkage can do it
        likely = instead(retyped(bench.question, text, step, bench.make), text, known, ())
        tally.slips[kind] += 1
        tally.refused += 1
        if likely is not None:
            tally.questioned[kind] += 1
            tally.offered += 1
            tally.named += abs(understand(bench.question, likely[0]).value - value) < 1e-6
        return
    doubt = bench.doubt(judge, step, wrong)
    asked = doubt is not None and doubt.worth_asking
    tally.slips[kind] += 1
    tally.questioned[kind] += asked
    meant = doubt.likely if doubt else None
    if asked and meant is not None:
        tally.named += abs(understand(bench.question, meant).value - value) < 1e-6
