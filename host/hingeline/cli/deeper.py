"""Rod, load, slop, limits and tolerance of a planned surface, as figures and laid out."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from hingeline import units
from hingeline.cli.output import table, wrapped
from hingeline.cli.planned import Planned
from hingeline.linkage.angles import rod_angles
from hingeline.linkage.closure import Linkage
from hingeline.linkage.limits import dead_points, shaft_limits
from hingeline.linkage.load import Load, SurfaceLoad, surface_load
from hingeline.linkage.mounting import mounted
from hingeline.linkage.option import Limits
from hingeline.linkage.rod import RodFigures, rod_figures, stock
from hingeline.linkage.slop import SurfaceSlop, surface_slop
from hingeline.linkage.tolerance import Tolerance, tolerance
from hingeline.model.schema import Model
from hingeline.travel.setting import Setting

_POINTS = 181
#: An end of the linkage nearer to the throws than this is told. Our own choice.
NEAR_DEG = 25.0
#: What the building errors are called, and the unit of their size.
_ERRORS = {
    "arm_hole_mm": ("place of the arm's hole", "mm"),
    "horn_hole_mm": ("height of the horn's hole", "mm"),
    "set_back_mm": ("set-back of the horn's hole", "mm"),
    "lean_deg": ("lean of the arm", "deg"),
    "hinge_mm": ("place of the hinge line", "mm"),
    "rod_mm": ("length of the rod", "mm"),
}


@dataclass(frozen=True)
class Details:
    """What a builder may want to know of one surface beyond its throws.

    Attributes
    ----------
    rod : RodFigures
        Length, bends, threads.
    slop : SurfaceSlop
        Free play at the trailing edge.
    load : SurfaceLoad
        What the air asks of servo and rod, as far as the file says enough.
    tolerance : Tolerance
        What usual building errors make of neutral and throws.
    radio_us : tuple of int
        Pulses beyond which the surface would meet its stop, the linkage lock, or the
        servo's own limits be passed.
    ends_deg : tuple of (str, float)
        Where the surface turns back or the linkage locks, each way: what happens, and the
        shaft angle; infinite where neither does.
    end_angle_deg : float
        Greatest angle of the rod to the planes of arm and horn, within the throws.
    binds_deg : float or None
        Least size of servo turn at which a bent-wire end would bind; None when none does
        within the servo's travel.
    """

    rod: RodFigures
    slop: SurfaceSlop
    load: SurfaceLoad
    tolerance: Tolerance
    radio_us: tuple[int, int]
    ends_deg: tuple[tuple[str, float], ...]
    end_angle_deg: float
    binds_deg: float | None


def details_of(model: Model, item: Planned) -> Details | None:
    """Work out the details of a surface; None when a wanted throw cannot be had."""
    shafts = [way.shaft_deg for way in item.plan.ways.values()]
    if any(shaft is None for shaft in shafts):
        return None
    first, second = (math.radians(shaft) for shaft in shafts if shaft is not None)
    low, high = sorted((first, second))
    linkage = mounted(item.surface, item.servo)
    setting = Setting(item.surface, item.servo, linkage, item.line)
    end_angle, binds = _ends(item, setting, low, high)
    return Details(
        rod=rod_figures(item.surface.rod, linkage),
        slop=surface_slop(item.surface, item.servo, linkage, low, high),
        load=surface_load(model, item.surface, linkage, low, high),
        tolerance=tolerance(linkage, first, second),
        radio_us=_radio_us(item, setting),
        ends_deg=_linkage_ends(setting.linkage),
        end_angle_deg=end_angle,
        binds_deg=binds,
    )


def _radio_us(item: Planned, setting: Setting) -> tuple[int, int]:
    line, servo = item.line, item.servo
    pulses = [line.centre_us + end / line.rate_deg_per_us for end in setting.allowed_shaft_deg()]
    least, most = servo.pulse_limits_us
    # Rounded inwards: a limit may be a microsecond tighter, never wider.
    return max(least, math.ceil(min(pulses))), min(most, math.floor(max(pulses)))


def _linkage_ends(linkage: Linkage) -> tuple[tuple[str, float], ...]:
    """Return where the linkage ends each way: what happens there, and the shaft angle."""
    locks, dead = shaft_limits(linkage), dead_points(linkage)
    found = []
    for lock, back in ((locks.low_rad, dead.low_rad), (locks.high_rad, dead.high_rad)):
        what = "locks" if abs(lock) < abs(back) else "turns back"
        found.append((what, math.degrees(lock if what == "locks" else back)))
    return tuple(found)


def _ends(
    item: Planned, setting: Setting, low_rad: float, high_rad: float
) -> tuple[float, float | None]:
    """Return the rod's greatest end angle within the throws, and where a bent end binds."""
    travel = [item.line.angle_deg(pulse) for pulse in item.servo.pulse_limits_us]
    shaft = np.radians(np.linspace(min(travel), max(travel), _POINTS))
    angles = rod_angles(setting.linkage, shaft)
    ends = np.degrees(
        np.fmax(np.abs(angles.arm_out_of_plane_rad), np.abs(angles.horn_out_of_plane_rad))
    )
    inside = (shaft >= low_rad) & (shaft <= high_rad)
    beyond = np.abs(np.degrees(shaft[ends > Limits().end_angle_deg]))
    return float(np.nanmax(ends[inside])), float(beyond.min()) if beyond.size else None


def _pulse_at(item: Planned, shaft_deg: float) -> int | None:
    """Return the pulse that would turn the shaft so far, None when no pulse does."""
    if not math.isfinite(shaft_deg):
        return None
    return round(item.line.centre_us + shaft_deg / item.line.rate_deg_per_us)


def details_figures(item: Planned, details: Details | None) -> dict[str, Any]:
    """Return the details as plain figures; empty when there are none."""
    if details is None:
        return {}
    load = details.load
    return {
        "rod": asdict(details.rod),
        "slop": asdict(details.slop),
        "load": {
            "thin_aerofoil": _load_figures(load.linear),
            "upper_estimate": _load_figures(load.upper),
            "assumed": list(load.assumed),
            "missing": list(load.missing),
            "remarks": list(load.remarks),
        },
        "tolerance": asdict(details.tolerance),
        "radio_limits_us": list(details.radio_us),
        "linkage_ends": [
            {"what": what, "servo_deg": angle, "pulse_us": _pulse_at(item, angle)}
            for what, angle in details.ends_deg
        ],
        "rod_end_angle_deg": details.end_angle_deg,
        "bent_end_binds_at_servo_deg": details.binds_deg,
    }


def _load_figures(load: Load | None) -> dict[str, Any] | None:
    return None if load is None else asdict(load)


def details_text(item: Planned, details: Details | None, *, whole: bool) -> Iterator[str]:
    """Lay the details out for people; ``whole`` adds what they rest on."""
    if details is None:
        return
    yield from _rod_text(details.rod)
    low, high = details.radio_us
    if (low, high) == item.servo.pulse_limits_us:
        yield wrapped(
            f"  The servo's own limits, {low} to {high} us, keep the surface clear of its stops; "
            "give the radio the same."
        )
    else:
        yield wrapped(
            f"  The radio must never send less than {low} us or more than {high} us: beyond, the "
            "surface would meet its stop or the linkage lock."
        )
    for what, angle in details.ends_deg:
        spare = _spare_deg(item, angle)
        if spare < NEAR_DEG:
            yield wrapped(f"  {_end_sentence(item, what, angle, spare)}")
    if details.binds_deg is not None:
        yield wrapped(
            f"  A bent-wire end binds when the servo has turned {details.binds_deg:.0f} deg: the "
            "rod leaves the plane of arm or horn too far. Use a ball or a universal end."
        )
    neutral = details.slop.neutral
    if neutral.total_deg > 0:
        yield (
            f"  Slop: {neutral.total_deg:.1f} deg, {neutral.drop_mm:.1f} mm at the trailing edge."
        )
    for sentence in details.slop.missing:
        yield wrapped(f"  Slop: {sentence}")
    yield from _load_text(details.load)
    yield from _tolerance_text(item, details.tolerance, whole=whole)
    if whole:
        notes = (
            *details.rod.assumed,
            *details.rod.missing,
            *details.load.assumed,
            *details.load.missing,
            *details.load.remarks,
        )
        for note in notes:
            yield wrapped(f"    - {note}")


def _spare_deg(item: Planned, angle_deg: float) -> float:
    """Return how far an end of the linkage is from what the throw to its side uses."""
    used = [
        way.shaft_deg
        for way in item.plan.ways.values()
        if way.shaft_deg is not None and way.shaft_deg * angle_deg > 0
    ]
    return abs(angle_deg) - max(map(abs, used), default=0.0)


def _end_sentence(item: Planned, what: str, angle_deg: float, spare_deg: float) -> str:
    turned = "counter-clockwise" if angle_deg > 0 else "clockwise"
    who = "The linkage locks" if what == "locks" else "The surface turns back"
    return (
        f"{who} at {abs(angle_deg):.0f} deg of servo {turned} ({_pulse_at(item, angle_deg)} us), "
        f"only {spare_deg:.0f} deg beyond its throw."
    )


def _rod_text(rod: RodFigures) -> Iterator[str]:
    cut = "" if rod.cut_mm is None else f", cut {rod.cut_mm:.1f} mm of wire"
    yield (
        f"  Rod {units.mm(rod.length_mm)} from hole to hole{cut}; 1 mm of length moves neutral "
        f"by {abs(rod.neutral_deg_per_mm):.1f} deg."
    )
    if rod.bends:
        marks = ", ".join(
            f"{bend.from_mm:.1f} to {bend.to_mm:.1f} ({bend.end})" for bend in rod.bends
        )
        yield wrapped(f"  Bends, mm from the cut end at the arm: {marks}.")
    if rod.turn_mm is not None and rod.turn_deg is not None:
        yield (
            f"  One turn of the adjustable end: {rod.turn_mm:.2f} mm, "
            f"{abs(rod.turn_deg):.1f} deg of neutral."
        )


def _load_text(load: SurfaceLoad) -> Iterator[str]:
    if load.linear is None or load.upper is None:
        for sentence in load.missing:
            yield wrapped(f"  {sentence}")
        return
    for name, one in (("Load", load.linear), ("Upper estimate", load.upper)):
        margin = "" if one.margin is None else f", margin {one.margin:.1f}"
        rod = ""
        if one.buckling is not None:
            rod = (
                f"; rod pushed with {one.push_n:.1f} N (bows at {one.buckling.holds_n:.0f} N) and "
                f"pulled with {one.pull_n:.1f} N"
            )
        yield wrapped(f"  {name}: servo needs {torque(one.torque_nm)}{margin}{rod}.")
        if one.margin is not None and one.margin < 1.0:
            yield wrapped("  WARNING: the servo is too weak for this estimate.")
        if one.buckling is not None and one.buckling.margin < 1.0:
            yield wrapped(
                "  WARNING: the rod would bow. Support it at least every "
                f"{one.buckling.enough_mm:.0f} mm, or take a stiffer one."
            )


def torque(torque_nm: float) -> str:
    """Write a torque in the three units that makers' sheets use."""
    kg_cm = units.in_unit(torque_nm, units.TORQUE, "kg cm")
    oz_in = units.in_unit(torque_nm, units.TORQUE, "oz in")
    return f"{torque_nm:.3f} N m ({kg_cm:.2f} kg cm, {oz_in:.1f} oz in)"


def _tolerance_text(item: Planned, found: Tolerance, *, whole: bool) -> Iterator[str]:
    first, second = item.plan.ways
    half = (found.neutral.high_deg - found.neutral.low_deg) / 2.0
    most = max(found.sensitivities, key=lambda row: row.worst_deg)
    yield wrapped(
        f"  Built with usual care: neutral within {half:.1f} deg, {first} "
        f"{found.first.low_deg:.1f} to {found.first.high_deg:.1f}, {second} "
        f"{found.second.low_deg:.1f} to {found.second.high_deg:.1f} deg (95 of 100 builds); "
        f"{100 * found.within:.0f} % within {found.allowed.throw_deg:g} deg. "
        f"What matters most: the {_ERRORS[most.factor][0]}."
    )
    if not whole:
        return
    rows = [
        (
            _ERRORS[row.factor][0],
            f"{row.size:g} {_ERRORS[row.factor][1]}",
            f"{row.neutral_deg:+.1f}",
            f"{row.first_deg:+.1f}",
            f"{row.second_deg:+.1f}",
            "yes" if row.matters else "does not matter",
        )
        for row in found.sensitivities
    ]
    headings = ["error", ">size", ">neutral, deg", f">{first}, deg", f">{second}, deg", "matters"]
    yield from (f"    {line}" for line in table(headings, rows).splitlines())


def stock_figures(items: Sequence[Planned], details: Sequence[Details | None]) -> list[Any]:
    """Return the wire and tube that the whole model needs."""
    return [asdict(row) for row in _stock(items, details)]


def stock_text(items: Sequence[Planned], details: Sequence[Details | None]) -> Iterator[str]:
    """Lay the stock out for people."""
    rows = [
        (
            row.material,
            units.mm(row.diameter_mm),
            ", ".join(f"{piece:.0f}" for piece in row.pieces_mm),
            f"{row.total_mm:.0f} mm" + ("" if row.all_known else " and more"),
        )
        for row in _stock(items, details)
    ]
    if rows:
        yield "Rods for these surfaces"
        yield from table(["material", ">diameter", "pieces, mm", ">in all"], rows).splitlines()


def _stock(items: Sequence[Planned], details: Sequence[Details | None]) -> Any:
    return stock(
        (item.surface.rod, one.rod)
        for item, one in zip(items, details, strict=True)
        if one is not None
    )
