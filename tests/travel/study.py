"""Many invented servos read as people read them: how often the intervals hold the truth.

The truth is not of the fit's own family (see `tests.support.servo_truth`). The gauge's step,
the number of readings, the play and the share of slips that were left in are drawn for each
servo; slips are a lost or added decimal point, a lost sign, or two digits exchanged, and
move a reading by more than six steps of the gauge and no farther than half a turn. Where asked
for, the gauge's zero was set by hand and is off by up to half a step.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.optimize import brentq

from hingeline.errors import TravelError
from hingeline.travel.curve import TravelCurve
from hingeline.travel.fit import fit
from hingeline.travel.reading import Reading, resolution_u, shaft_reading
from hingeline.travel.schedule import traverse
from tests.support.servo_truth import ServoTruth, random_servo

GAUGES_DEG = (0.25, 0.5, 1.0, 2.0)
POINTS = (5, 7, 9, 13, 17, 21)
SLIPS = (0.0, 0.0, 0.05, 0.1)
#: A slip smaller than this many steps of the gauge is hardly told from a careless reading.
LEAST_STEPS = 6.0
FIGURES = ("centre", "rate", "inverse", "curve", "gap")


@dataclass
class Case:
    """One servo, its readings and what the fit made of them."""

    servo: ServoTruth
    gauge_deg: float
    points: int
    share: float
    readings: list[Reading]
    slipped: frozenset[int]
    rng: np.random.Generator
    curve: TravelCurve | None = None
    refusal: str = ""
    hits: dict[str, list[bool]] = field(default_factory=dict)

    @property
    def cells(self) -> tuple[tuple[str, float], ...]:
        """The rows of the table this servo counts in."""
        play = float(np.floor(2.0 * self.servo.play_deg) / 2.0)
        return (
            ("all", 0.0),
            ("gauge", self.gauge_deg),
            ("readings", float(len(self.readings))),
            ("slips", self.share),
            ("play from", play),
        )


def slip(text: str, gauge_deg: float, rng: np.random.Generator) -> str:
    """Return what a slip makes of a typed number; the same where none is large enough."""
    value = float(text)
    made = [f"{value * 10:g}", f"{value / 10:g}", f"{-value:g}"]
    for place in range(len(text) - 1):
        left, right = text[place : place + 2]
        if left.isdigit() and right.isdigit() and left != right:
            made.append(text[:place] + right + left + text[place + 2 :])
    large = [
        one
        for one in made
        if abs(float(one)) <= 180.0 and abs(float(one) - value) > LEAST_STEPS * gauge_deg
    ]
    return str(rng.choice(large)) if large else text


def read_case(seed: int, stream: int = 31, *, zero_by_hand: bool = False) -> Case:
    """Draw a servo and read it, without fitting."""
    rng = np.random.default_rng([stream, seed])
    servo = random_servo(rng)
    gauge, share = float(rng.choice(GAUGES_DEG)), float(rng.choice(SLIPS))
    points = int(rng.choice(POINTS))
    steps = traverse(1000, 2000, limits_us=(900, 2100), start_us=1500, points=points)
    zero_deg = float(rng.uniform(-0.5, 0.5)) * gauge if zero_by_hand else 0.0
    # Through a gauge whose zero is off the servo looks like one whose centre is.
    seen = replace(servo, centre_us=servo.centre_us - zero_deg / servo.rate_deg_per_us)
    readings = seen.read(steps, rng, gauge)
    chosen = rng.choice(len(readings), int(share * len(readings)), replace=False)
    slipped = set()
    for place in chosen:
        honest = readings[place]
        text = slip(honest.as_typed, gauge, rng)
        if text != honest.as_typed:
            slipped.add(int(place))
            readings[place] = shaft_reading(
                honest.pulse_us, honest.approach, float(text), resolution_deg=gauge, as_typed=text
            )
    if zero_by_hand:
        u_deg = resolution_u(gauge)
        readings = [replace(reading, u_common_deg=u_deg) for reading in readings]
    return Case(servo, gauge, points, share, readings, frozenset(slipped), rng)


def fitted_case(seed: int, stream: int = 31, *, zero_by_hand: bool = False) -> Case:
    """Draw, read and fit a servo, and see which of the 95 % intervals hold the truth."""
    case = read_case(seed, stream, zero_by_hand=zero_by_hand)
    try:
        case.curve = curve = fit(case.readings)
    except TravelError as refused:
        case.refusal = str(refused)
        return case
    servo, factor = case.servo, curve.coverage_factor(0.95)
    pulses = case.rng.uniform(*curve.limits_us, 10)
    low, high = curve.interval_deg(pulses)
    truth = servo.means_deg(pulses)
    hits: dict[str, list[bool]] = {"curve": list((low <= truth) & (truth <= high))}
    least, most = curve.reach_deg()
    held = []
    for pulse, angle in zip(pulses, truth, strict=True):
        if least <= angle <= most:
            early, late = curve.interval_us(angle)
            held.append(bool(early <= pulse <= late))
    hits["inverse"] = held
    off = abs(curve.rate_deg_per_us - servo.slope_deg_per_us(1500.0))
    hits["rate"] = [off <= factor * curve.rate_deg_per_us_u]
    if curve.centre_us is not None:
        centre = brentq(servo.mean_deg, 1300.0, 1700.0)
        hits["centre"] = [abs(curve.centre_us - centre) <= factor * curve.centre_us_u]
    if curve.hysteresis_deg is not None:
        gap = abs(curve.hysteresis_deg - servo.play_deg)
        hits["gap"] = [gap <= factor * curve.hysteresis_deg_u]
    case.hits = hits
    return case


def study(servos: int, stream: int = 31, *, zero_by_hand: bool = False) -> Iterator[Case]:
    """Give so many servos, fitted."""
    return (fitted_case(seed, stream, zero_by_hand=zero_by_hand) for seed in range(servos))


def table(cases: Iterable[Case]) -> dict[tuple[str, float], dict[str, float]]:
    """Give the share of intervals that held the truth, per cell and figure.

    Besides the figures, ``servos`` counts them, ``half_deg`` is the median half width of the
    curve's interval at centre and ``half_rate`` that of the rate in percent.
    """
    gathered: dict[tuple[str, float], dict[str, list[float]]] = {}
    for case in cases:
        for cell in case.cells:
            row = gathered.setdefault(cell, {})
            row.setdefault("refused", []).append(float(case.curve is None))
            if case.curve is None:
                continue
            factor = case.curve.coverage_factor()
            half = factor * float(case.curve.angle_u_deg(1500.0))
            row.setdefault("half_deg", []).append(half)
            rate, rate_u = case.curve.rate_deg_per_us, case.curve.rate_deg_per_us_u
            row.setdefault("half_rate", []).append(100.0 * factor * rate_u / abs(rate))
            for name, held in case.hits.items():
                row.setdefault(name, []).extend(map(float, held))
    found = {}
    for cell in sorted(gathered):
        row = gathered[cell]
        found[cell] = {name: 100.0 * float(np.mean(row[name])) for name in FIGURES if name in row}
        found[cell] |= {
            name: float(np.median(row[name])) for name in ("half_deg", "half_rate") if name in row
        }
        found[cell] |= {"servos": len(row["refused"]), "refused": sum(row["refused"])}
    return found


def print_table(found: dict[tuple[str, float], dict[str, float]]) -> None:
    """Print what `table` gives."""
    print(
        f"{'cell':>16} {'servos':>6} {'refused':>7}", *(f"{name:>8}" for name in FIGURES), end=""
    )
    print("   half deg  half rate %")
    for (name, value), row in found.items():
        cell = name if name == "all" else f"{name} {value:g}"
        shares = (f"{row.get(figure, float('nan')):8.1f}" for figure in FIGURES)
        print(f"{cell:>16} {row['servos']:6.0f} {row['refused']:7.0f}", *shares, end="")
        half, rate = (row.get(name, float("nan")) for name in ("half_deg", "half_rate"))
        print(f"   {half:8.2f} {rate:11.2f}")
