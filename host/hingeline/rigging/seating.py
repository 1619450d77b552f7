"""How an arm sits on its spline: its lean as read against its planned place."""

from __future__ import annotations

from dataclasses import dataclass

from hingeline import units
from hingeline.linkage.mounting import ahead_sense, lean_deg, mounted, tooth_deg
from hingeline.linkage.spline import finest_deg, nearest_fit
from hingeline.model.schema import Servo, Surface
from hingeline.rigging.naming import Mend, Named, mend, teeth_words, way_words

#: A refit is worth its trouble from so many degrees nearer on. Our own choice: what a
#: protractor at the arm shows for certain.
WORTH_DEG = 1.0
#: So near to whole teeth, in parts of a tooth, a wrong tooth is the likely story. Our own choice.
_WHOLE = 0.25


@dataclass(frozen=True)
class Refit:
    """Where else the part could be put.

    Attributes
    ----------
    teeth : int
        Teeth by which it is turned, positive ahead.
    part_arm : int or None
        The arm of the part that then carries the rod; None: the same.
    left_deg : float
        What remains between the arm and its place, positive ahead.
    """

    teeth: int
    part_arm: int | None
    left_deg: float


@dataclass(frozen=True)
class Seat:
    """How an arm sits.

    Attributes
    ----------
    planned_deg, read_deg : float
        Lean from square at centre, positive ahead.
    off_deg : float
        Read less planned.
    arm_deg : float
        The same as a turn of the shaft, counter-clockwise positive.
    refit : Refit or None
        What would bring it nearer; None when it is on the nearest tooth.
    trim_us : float
        Change of the pulse that turns the arm to its place.
    differential : bool
        Whether the arm leans to the wrong side by about what is planned.
    text : str
        How it sits, and what would help.
    named : Named or None
        What is wrong; None when a trim is all that is left to do.
    """

    planned_deg: float
    read_deg: float
    off_deg: float
    arm_deg: float
    refit: Refit | None
    trim_us: float
    differential: bool
    text: str
    named: Named | None


def seat_of(
    surface: Surface,
    servo: Servo,
    lean_read_deg: float,
    *,
    rate_deg_per_us: float,
    part_arm: int | None = None,
) -> Seat:
    """Judge how an arm sits.

    Parameters
    ----------
    surface, servo : Surface, Servo
        With holes chosen: they say where square is.
    lean_read_deg : float
        Lean from square to the rod with the servo at its centre, positive ahead.
    rate_deg_per_us : float
        Of the servo, counter-clockwise positive.
    part_arm : int, optional
        The arm of the part that carries the rod; default: the one planned.

    Raises
    ------
    ModelError, LinkageError
        When the model file makes no linkage of this surface.
    """
    planned = lean_deg(surface, servo)
    off = lean_read_deg - planned
    arm = ahead_sense(mounted(surface, servo)) * off
    refit = refit_of(surface, servo, off, part_arm=part_arm)
    trim = -arm / rate_deg_per_us
    differential = _wrong_way(planned, lean_read_deg, servo)
    text = _text(off, refit, trim)
    named = None
    if refit is not None and abs(off) - abs(refit.left_deg) >= WORTH_DEG:
        named = _named(surface, servo, planned, lean_read_deg, refit, trim, differential)
    return Seat(planned, lean_read_deg, off, arm, refit, trim, differential, text, named)


def refit_of(
    surface: Surface, servo: Servo, off_deg: float, *, part_arm: int | None = None
) -> Refit | None:
    """Find where the part would sit nearer, an arm being so far ahead of its place.

    ``part_arm`` carries the rod; default: the one planned. None when it is on the nearest tooth.
    """
    # Counted ahead instead of counter-clockwise: the sums are the same in a mirror.
    fit = nearest_fit(servo.spline_teeth, servo.arm_count, off_deg)
    if fit.arm == 1 and fit.teeth == 0:
        return None
    # Arms are numbered the way a positive lean turns.
    now = surface.arm.part_arm if part_arm is None else part_arm
    arm = (now - 1 + fit.arm - 1) % servo.arm_count + 1
    return Refit(fit.teeth, None if fit.arm == 1 else arm, fit.off_deg)


def _wrong_way(planned_deg: float, read_deg: float, servo: Servo) -> bool:
    tooth = tooth_deg(servo)
    return abs(planned_deg) >= tooth / 2.0 and abs(read_deg + planned_deg) <= tooth / 4.0


def _text(off_deg: float, refit: Refit | None, trim_us: float) -> str:
    if abs(off_deg) < 0.05:
        return "sits in its place"
    trim = f"trim {abs(trim_us):.0f} us {'longer' if trim_us > 0 else 'shorter'}"
    said = f"sits {units.deg(abs(off_deg))} {way_words(off_deg)} of its place: "
    if refit is None:
        return said + f"no tooth is nearer; {trim}"
    left = abs(refit.left_deg)
    return said + f"{_refit_words(refit)} leaves {units.deg(left)}, or {trim}"


def _refit_words(refit: Refit) -> str:
    parts = []
    if refit.part_arm is not None:
        parts.append(f"arm {refit.part_arm} of the part")
    if refit.teeth:
        parts.append(f"{teeth_words(refit.teeth)} {way_words(refit.teeth)}")
    return ", ".join(parts)


def _named(
    surface: Surface,
    servo: Servo,
    planned_deg: float,
    read_deg: float,
    refit: Refit,
    trim_us: float,
    differential: bool,
) -> Named:
    off = read_deg - planned_deg
    teeth = off / tooth_deg(servo)
    whole = round(teeth)
    mends = (refit_mend(refit), _trim_mend(trim_us))
    sits = f"{surface.name}: the arm sits {units.deg(abs(off))} {way_words(off)} of its place"
    if differential:
        text = (
            f"{surface.name}: the differential is the wrong way round: the arm leans "
            f"{units.deg(abs(read_deg))} {hinge_words(read_deg)} the hinge line and should lean "
            f"as far {hinge_words(planned_deg)} it."
        )
        return Named("differential", text, mends)
    if whole and abs(teeth - whole) <= _WHOLE:
        return Named("tooth", f"{sits}, {teeth_words(whole)} of {servo.spline_teeth}.", mends)
    text = f"{sits}: was the servo at its centre when the arm was fitted?"
    if refit.part_arm is not None and abs(off) <= tooth_deg(servo) / 2.0:
        text = (
            f"{sits}; another arm of the part comes nearer: they stand "
            f"{units.deg(finest_deg(servo))} apart on this spline."
        )
    return Named("off centre", text, mends)


def hinge_words(lean: float) -> str:
    """Say which way of the hinge line an arm leans: ahead is away from it."""
    return "AWAY from" if lean > 0 else "TOWARDS"


def refit_mend(refit: Refit, gives: str = "") -> Mend:
    """Make the mend that puts the part on elsewhere; by default it gives what is left."""
    carries = "" if refit.part_arm is None else f", with arm {refit.part_arm} of it to the rod"
    turned = (
        f"put it on {teeth_words(refit.teeth)} further {way_words(refit.teeth)}"
        if refit.teeth
        else "put it back on the same tooth"
    )
    return mend(
        "refit",
        f"take the arm off and {turned}{carries}",
        gives or f"leaves {units.deg(abs(refit.left_deg))}",
        teeth=refit.teeth,
        part_arm=refit.part_arm,
    )


def _trim_mend(trim_us: float) -> Mend:
    return mend(
        "trim",
        f"leave the arm and trim the servo's centre by {trim_us:+.0f} us",
        "the arm in its place, with less travel to one side",
        trim_us=round(trim_us),
    )
