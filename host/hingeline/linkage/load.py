"""What the air asks of servo and rod over the travel of a surface.

Power in is power out: with H the hinge moment, the servo gives H |d(surface)/d(shaft)| and the
rod carries H over the horn's effective lever, which is the servo's torque over the arm's.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from hingeline.errors import LinkageError
from hingeline.linkage.aero import LINEAR_UP_TO_DEG, OVER_ESTIMATE, SEA_LEVEL_KG_M3, Airload
from hingeline.linkage.buckling import SLENDER_FROM, Buckling, Section, buckling, section_of
from hingeline.linkage.closure import Floats, Linkage, surface_angle
from hingeline.linkage.levers import levers
from hingeline.linkage.limits import reach
from hingeline.linkage.materials import STIFFNESS
from hingeline.model.schema import Model, Surface

#: Part of the stall torque that a servo is asked for: our own choice. A stalled servo stands
#: still, and one that works near stall is slow and hot; friction is left to this too.
DERATING = 0.5
#: Air at this speed (about Mach 0.3) begins to be compressed, which the estimates leave out.
SLOW_AIR_M_S = 100.0
# Shaft angles looked at, both ends among them. An extreme between two of them is missed by
# about a millionth part, away from places where the linkage nearly locks.
_POINTS = 721


@dataclass(frozen=True)
class Load:
    """The worst of one estimate of hinge moment over a range of shaft angles.

    Attributes
    ----------
    hinge_nm : float
        Largest hinge moment, without sign.
    torque_nm : float
        Largest torque the servo must give, without sign.
    at_shaft_deg, at_surface_deg : float
        Where it is needed, in the engine's signs.
    margin : float or None
        Derated stall torque over ``torque_nm``: below 1 the servo is too weak. None when
        the stall torque is not known; infinite when nothing is needed.
    push_n, pull_n : float
        Largest force along the rod as it pushes and as it pulls the horn, without sign; 0
        when it does not.
    buckling : Buckling or None
        The rod under ``push_n``; None when no rod was given.
    """

    hinge_nm: float
    torque_nm: float
    at_shaft_deg: float
    at_surface_deg: float
    margin: float | None
    push_n: float
    pull_n: float
    buckling: Buckling | None


@dataclass(frozen=True)
class SurfaceLoad:
    """The load of one surface, by two estimates.

    Attributes
    ----------
    linear, upper : Load or None
        By thin-aerofoil theory, and by the upper estimate of `hingeline.linkage.aero`. None
        when the model file does not give what they need.
    assumed, missing, remarks : tuple of str
        Sentences to be shown with the figures: what was taken for granted, what the file
        would have to give for what is absent, and where the estimates stop holding.
    """

    linear: Load | None
    upper: Load | None
    assumed: tuple[str, ...]
    missing: tuple[str, ...]
    remarks: tuple[str, ...]


def worst_load(
    linkage: Linkage,
    shaft_low_rad: float,
    shaft_high_rad: float,
    moment_nm: Callable[[Floats], Floats],
    *,
    stall_nm: float | None = None,
    derating: float = DERATING,
    efficiency: float = 1.0,
    section: Section | None = None,
    bare_mm: float | None = None,
) -> Load:
    """Find the worst that a hinge moment asks of servo and rod over a range of the shaft.

    Parameters
    ----------
    linkage : Linkage
    shaft_low_rad, shaft_high_rad : float
        Ends of the range, low first.
    moment_nm : callable
        Takes surface angles in radians, gives the hinge moments on the surface in N m in
        the same sense: negative against a positive deflection.
    stall_nm : float or None
        Stall torque of the servo.
    derating : float
        Part of the stall torque that may be asked for.
    efficiency : float
        Part of the servo's work that reaches the surface; 1 is no friction.
    section : Section or None
        The rod's; None leaves buckling out.
    bare_mm : float or None
        The rod's longest stretch without support; None is the whole rod.

    Raises
    ------
    LinkageError
        When the linkage does not close all the way, derating or efficiency is not above 0
        and up to 1, or the bare stretch is longer than the rod.
    """
    for name, part in (("derating", derating), ("efficiency", efficiency)):
        if not 0.0 < part <= 1.0:
            raise LinkageError(
                f"{name} {part:g} is not above 0 and up to 1.", mend="Give a part, such as 0.5."
            )
    if bare_mm is not None and bare_mm > linkage.length_mm:
        raise LinkageError(
            f"a bare stretch of {bare_mm:g} mm is longer than the rod, "
            f"{linkage.length_mm:.1f} mm from hole to hole.",
            mend="Give the rod's longest stretch without support, or leave it out.",
        )
    reach(linkage, shaft_low_rad, shaft_high_rad)  # refuses a range that does not close
    shaft = np.linspace(shaft_low_rad, shaft_high_rad, _POINTS)
    surface = surface_angle(linkage, shaft)
    moment = moment_nm(surface)
    lever = levers(linkage, shaft)
    with np.errstate(divide="ignore"):
        push = -1000.0 * moment / lever.horn_mm  # the rod holds what the air turns back
    torque = np.abs(push * lever.arm_mm) / 1000.0 / efficiency
    worst = int(np.argmax(torque))
    needed, most_push = float(torque[worst]), max(0.0, float(np.max(push)))
    margin = None
    if stall_nm is not None:
        margin = derating * stall_nm / needed if needed > 0.0 else float("inf")
    rod = None
    if section is not None:
        rod = buckling(section, linkage.length_mm if bare_mm is None else bare_mm, most_push)
    return Load(
        hinge_nm=float(np.max(np.abs(moment))),
        torque_nm=needed,
        at_shaft_deg=float(np.degrees(shaft[worst])),
        at_surface_deg=float(np.degrees(surface[worst])),
        margin=margin,
        push_n=most_push,
        pull_n=max(0.0, -float(np.min(push))),
        buckling=rod,
    )


def air_of(model: Model, surface: Surface) -> Airload | None:
    """Return the air that loads a surface; None when the model file does not give enough."""
    airspeed, span, whole = model.header.airspeed_m_s, surface.span_mm, surface.whole_chord_mm
    if airspeed is None or span is None or whole is None:
        return None
    chord = surface.chord_mm
    return Airload(chord / whole, span * chord**2 * 1e-9, airspeed)


def surface_load(
    model: Model,
    surface: Surface,
    linkage: Linkage,
    shaft_low_rad: float,
    shaft_high_rad: float,
    *,
    derating: float = DERATING,
) -> SurfaceLoad:
    """Work out the load of a surface from the model file.

    Parameters
    ----------
    model, surface : Model, Surface
    linkage : Linkage
        As `hingeline.linkage.mounting.mounted` builds it.
    shaft_low_rad, shaft_high_rad : float
        Shaft angles of the two throws, low first.
    derating : float
        As in `worst_load`.

    Raises
    ------
    LinkageError
        As for `worst_load`.
    """
    servo = model.servo_of(surface)
    airspeed, span, whole = model.header.airspeed_m_s, surface.span_mm, surface.whole_chord_mm
    stall = servo.stall_torque_nm
    missing = []
    if stall is None:
        missing.append(
            f"No margin of the servo: stall_torque of servo {surface.servo} is not given."
        )
    air = air_of(model, surface)
    if air is None or airspeed is None:
        keys = {"airspeed of the model": airspeed, "span": span, "whole_chord": whole}
        absent = " and ".join(key for key, value in keys.items() if value is None)
        missing.insert(0, f"No load of the air: {absent} not given in the model file.")
        return SurfaceLoad(None, None, (), tuple(missing), ())
    rod = section_of(surface.rod)
    linear, upper = (
        worst_load(
            linkage,
            shaft_low_rad,
            shaft_high_rad,
            moment,
            stall_nm=stall,
            derating=derating,
            section=rod,
            bare_mm=surface.rod.bare_mm,
        )
        for moment in (air.linear_nm, air.upper_nm)
    )
    steepest_deg = np.degrees(
        np.max(np.abs(surface_angle(linkage, [shaft_low_rad, shaft_high_rad])))
    )
    return SurfaceLoad(
        linear=linear,
        upper=upper,
        assumed=tuple(_assumed(surface, linkage, derating)),
        missing=tuple(missing),
        remarks=tuple(_remarks(float(steepest_deg), airspeed, upper.buckling)),
    )


def _assumed(surface: Surface, linkage: Linkage, derating: float) -> list[str]:
    stiffness = STIFFNESS[surface.rod.material]
    said = [
        f"Air at sea level ({SEA_LEVEL_KG_M3:g} kg/m3), wing or tail at zero incidence.",
        "The surface is taken as a rectangle of its span and its chord at the station.",
        f"A servo is asked for {100 * derating:.0f} % of its stall torque at most; "
        "friction is not counted otherwise.",
        f"{surface.rod.material} is reckoned with {stiffness.young_gpa:g} GPa "
        f"({stiffness.source}).",
    ]
    if surface.rod.bare_mm is None:
        said.append(
            f"The rod is taken as without support over its whole {linkage.length_mm:.1f} mm."
        )
    return said


def _remarks(steepest_deg: float, airspeed_m_s: float, rod: Buckling | None) -> list[str]:
    least, most = OVER_ESTIMATE
    said = [
        "Thin-aerofoil theory commonly gives "
        f"{least:g} to {most:g} times too much at small deflections."
    ]
    if steepest_deg > LINEAR_UP_TO_DEG:
        said.append(
            f"Beyond {LINEAR_UP_TO_DEG:.0f} deg (here up to {steepest_deg:.0f} deg) it does not "
            "hold and may give too little: go by the upper estimate."
        )
    if airspeed_m_s > SLOW_AIR_M_S:
        said.append(f"Above {SLOW_AIR_M_S:.0f} m/s air is compressed, which is left out here.")
    if rod is not None and rod.slenderness < SLENDER_FROM:
        said.append(
            f"The rod is stout (slenderness {rod.slenderness:.0f}, below {SLENDER_FROM:.0f}): it "
            "gives way by its strength before it bows, at less than the push stated."
        )
    return said
