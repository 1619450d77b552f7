"""One planned surface: worked out, as figures, and laid out for people."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from hingeline import units
from hingeline.cli.choosing import completed
from hingeline.cli.models import ModelFile
from hingeline.cli.output import table, wrapped
from hingeline.linkage.explain import Lean, best_lean, lean_sentence, leans
from hingeline.linkage.plan import EVEN_DEG, SurfacePlan, lean_in_words, plan_surface
from hingeline.model.schema import Servo, Surface
from hingeline.travel.nominal import NominalCurve, nominal

#: Leans up to so many teeth are listed; further ones are for odd cases only.
SHOWN_TEETH = 2.2
#: A difference of throws this far from the one wanted is not called giving it.
FAR_DEG = 2.0


@dataclass(frozen=True)
class Planned:
    """A surface, planned.

    Attributes
    ----------
    surface : Surface
        With both holes chosen: by the file, or for it.
    servo : Servo
        From the file.
    line : NominalCurve
        The maker's rate as a line.
    plan : SurfacePlan
        What the linkage does.
    leans : list of Lean
        Every buildable lean of these holes.
    filled : bool
        Whether a hole was left open by the file and chosen here.
    """

    surface: Surface
    servo: Servo
    line: NominalCurve
    plan: SurfacePlan
    leans: list[Lean]
    filled: bool

    @property
    def best_lean(self) -> Lean:
        """The lean whose throws differ most nearly as wanted."""
        return best_lean(
            self.leans, {word: way.wanted_deg for word, way in self.plan.ways.items()}
        )

    def pulse_us(self, shaft_deg: float | None) -> int | None:
        """Return the pulse for a shaft angle, None when it is not to be had."""
        if shaft_deg is None:
            return None
        pulse = round(self.line.centre_us + shaft_deg / self.line.rate_deg_per_us)
        low, high = self.servo.pulse_limits_us
        return pulse if low <= pulse <= high else None


def travel_of(servo: Servo) -> tuple[float, float]:
    """Return the lowest and highest shaft angle at the pulse limits, by the maker's rate."""
    line = nominal(servo)
    low, high = sorted(line.angle_deg(pulse) for pulse in servo.pulse_limits_us)
    return low, high


def planned(surface: Surface, servo: Servo) -> Planned:
    """Plan a surface; holes that its file leaves open are chosen."""
    travel = travel_of(servo)
    whole = completed(surface, servo, travel)
    return Planned(
        whole,
        servo,
        nominal(servo),
        plan_surface(whole, servo, travel),
        leans(whole, servo, travel),
        whole is not surface,
    )


def planned_surfaces(file: ModelFile) -> list[Planned]:
    """Plan every surface of a model."""
    return [planned(surface, file.model.servo_of(surface)) for surface in file.model.surfaces]


def surface_figures(item: Planned) -> dict[str, Any]:
    """Return a planned surface as plain figures."""
    surface, servo, plan = item.surface, item.servo, item.plan
    return {
        "name": surface.name,
        "servo": surface.servo,
        "channel": surface.channel,
        "arm_hole": surface.arm.hole,
        "arm_hole_mm": plan.arm_mm,
        "horn_hole": surface.horn.hole,
        "horn_hole_mm": plan.horn_mm,
        "holes_chosen_here": item.filled,
        "teeth_lean": surface.arm.teeth_lean,
        "part_arm": surface.arm.part_arm,
        "lean_deg": plan.lean_deg,
        "rod_length_mm": plan.rod_mm,
        "wanted_deg": {word: way.wanted_deg for word, way in plan.ways.items()},
        "reach_deg": {word: way.reach_deg for word, way in plan.ways.items()},
        "free_travel_deg": {word: way.free_deg for word, way in plan.ways.items()},
        "servo_deg": {word: way.shaft_deg for word, way in plan.ways.items()},
        "pulse_us": {
            "centre": servo.centre_us,
            **{word: item.pulse_us(way.shaft_deg) for word, way in plan.ways.items()},
        },
        "turns_assumed": servo.turns is None,
        "locks_deg": list(plan.locks_deg),
        "leans": [
            {
                "lean_deg": lean.lean_deg,
                "part_arm": lean.arm,
                "teeth": lean.teeth,
                "equal_turns_deg": lean.even_deg,
                "differential_percent": lean.differential_percent,
            }
            for lean in item.leans
        ],
        "best_lean_deg": item.best_lean.lean_deg,
        "warnings": list(plan.warnings),
    }


def surface_text(item: Planned) -> Iterator[str]:
    """Lay a planned surface out for people."""
    surface, servo, plan = item.surface, item.servo, item.plan
    yield f"{surface.name}  (servo {surface.servo}, channel {surface.channel})"
    yield (
        f"  Arm hole {surface.arm.hole} ({units.mm(plan.arm_mm)}), "
        f"horn hole {surface.horn.hole} ({units.mm(plan.horn_mm)}), "
        f"rod {units.mm(plan.rod_mm)} from hole to hole."
    )
    if item.filled:
        yield wrapped(
            "  The file leaves holes open; these were chosen, with the file's lean kept. "
            "With --choose the leans are judged as well."
        )
    yield f"  Arm at centre ({servo.centre_us} us): {lean_in_words(surface, servo)}."
    rows = [
        (
            word,
            units.deg(way.wanted_deg),
            "-" if way.shaft_deg is None else units.deg(abs(way.shaft_deg)),
            _pulse_text(item.pulse_us(way.shaft_deg)),
            "locks" if way.reach_deg is None else units.deg(way.reach_deg),
            units.deg(way.free_deg),
        )
        for word, way in plan.ways.items()
    ]
    headings = ["", ">wanted", ">servo turns", ">pulse", ">reach", ">free travel"]
    yield from (f"  {row}" for row in table(headings, rows).splitlines())
    yield from _lean_text(item)
    if servo.turns is None:
        yield wrapped(
            "  NOTE: the file does not say which way the servo turns; the pulses are for "
            "counter-clockwise."
        )
    for warning in plan.warnings:
        yield wrapped(f"  WARNING: {warning}")


def _lean_text(item: Planned) -> Iterator[str]:
    """Say what the leans do, for a surface whose throws should differ or which leans."""
    first, second = (way.wanted_deg for way in item.plan.ways.values())
    if abs(first - second) < EVEN_DEG and abs(item.plan.lean_deg) < 1e-9:
        return
    best = item.best_lean
    gives = list(best.even_deg.values())
    nearest = abs(gives[0] - gives[1] - (first - second)) > FAR_DEG
    start = (
        "No lean gives the wanted difference; the nearest is to"
        if nearest
        else ("For the wanted difference,")
    )
    yield wrapped(f"  {start} {lean_sentence(best, item.servo)}.")
    words = list(item.plan.ways)
    rows = [
        (
            f"{lean.lean_deg:+.1f} deg",
            units.deg(lean.even_deg[words[0]]),
            units.deg(lean.even_deg[words[1]]),
            f"{round(lean.differential_percent) + 0:d} %",
        )
        for lean in item.leans
        if abs(lean.lean_deg) <= SHOWN_TEETH * 360.0 / item.servo.spline_teeth
    ]
    headings = [">lean", *(f">{word}" for word in words), ">differential"]
    yield from (f"  {row}" for row in table(headings, rows).splitlines())
    yield wrapped(
        "  Leans that can be built and give the throws (+ away from the hinge line), for equal "
        f"turns of the servo. Differential: how much smaller {words[1]} is than {words[0]}, "
        "in degrees."
    )


def closing_text() -> Iterator[str]:
    """Say what the figures of a plan mean and how far they hold."""
    yield "Reach: where the surface stands at the servo's pulse limits."
    yield "Pulses are by the maker's rate; calibrate each servo before they are trusted."


def _pulse_text(pulse_us: int | None) -> str:
    return "-" if pulse_us is None else units.us(pulse_us)
