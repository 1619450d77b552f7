"""Two throws that differ more than planned: what would explain it, with sizes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hingeline.linkage.diagnosis import Causes, causes
from hingeline.linkage.estimate import MATTERS_DEG, Diagnosis, diagnose
from hingeline.travel.curve import TravelCurve
from hingeline.travel.setting import Setting

#: Less than this may be the gauge's and the reader's doing. Our own choice.
UNEVEN_DEG = 1.5
#: From so many throws on, lean, set-back and rod can be told apart. Our own choice.
LEAST_PAIRS = 4


@dataclass(frozen=True)
class Seen:
    """One throw as it came out; angles signed, positive when the rod is pushed.

    Attributes
    ----------
    pulse_us : float
        What was sent.
    predicted_deg, measured_deg : float
        By the plan, and on the gauge.
    """

    pulse_us: float
    predicted_deg: float
    measured_deg: float


@dataclass(frozen=True)
class Unevenness:
    """How the difference of two throws departs from the plan.

    Attributes
    ----------
    more_pushed_deg : float
        How much further the surface goes to the pushed side, compared with the other, than
        planned; negative: to the pulled side.
    causes : Causes
        Sizes beyond what is planned, each taken alone.
    """

    more_pushed_deg: float
    causes: Causes


def unevenness(setting: Setting, seen: Sequence[Seen]) -> Unevenness | None:
    """Compare the throws to both sides with the plan.

    Parameters
    ----------
    setting : Setting
        The surface.
    seen : sequence of Seen
        Its throws; the largest to each side are compared.

    Returns
    -------
    Unevenness or None
        None when there is no throw to one of the sides, when one went the wrong way, or
        when the difference is within `UNEVEN_DEG` of the plan's.
    """
    pushed = max((item for item in seen if item.predicted_deg > 0), key=_size, default=None)
    pulled = max((item for item in seen if item.predicted_deg < 0), key=_size, default=None)
    if pushed is None or pulled is None:
        return None
    if pushed.measured_deg <= 0 or pulled.measured_deg >= 0:
        return None
    more = (pushed.measured_deg + pulled.measured_deg) - (
        pushed.predicted_deg + pulled.predicted_deg
    )
    if abs(more) < UNEVEN_DEG:
        return None
    turns = [
        abs(float(setting.curve.angle_deg(item.pulse_us, setting.approach_of(item.pulse_us))))
        for item in (pushed, pulled)
    ]
    turn = sum(turns) / 2.0
    horn, teeth = setting.linkage.horn.radius_mm, setting.servo.spline_teeth
    measured, planned = (
        causes(pair[0], -pair[1], turn, horn_mm=horn, teeth=teeth)
        for pair in (
            (pushed.measured_deg, pulled.measured_deg),
            (pushed.predicted_deg, pulled.predicted_deg),
        )
    )
    return Unevenness(more, _beyond(measured, planned))


def built_otherwise(setting: Setting, seen: Sequence[Seen], u_deg: float) -> Diagnosis | None:
    """Estimate from several throws what is built differently than planned.

    Parameters
    ----------
    setting : Setting
        The surface.
    seen : sequence of Seen
        Its throws.
    u_deg : float
        Standard uncertainty of a measured throw.

    Returns
    -------
    Diagnosis or None
        None for fewer than `LEAST_PAIRS` throws, or when they came out as planned.
    """
    if len(seen) < LEAST_PAIRS:
        return None
    shaft = [
        float(setting.curve.angle_deg(item.pulse_us, setting.approach_of(item.pulse_us)))
        for item in seen
    ]
    curve = setting.curve
    # An unmeasured servo's curve is a guess, of which no uncertainty is known.
    u_shaft = [
        float(curve.angle_u_deg(item.pulse_us, setting.approach_of(item.pulse_us)))
        if isinstance(curve, TravelCurve)
        else 0.0
        for item in seen
    ]
    found = diagnose(
        setting.surface,
        setting.servo,
        shaft,
        [item.measured_deg for item in seen],
        u_deg=u_deg,
        u_shaft_deg=u_shaft,
    )
    return found if found.before_deg >= MATTERS_DEG else None


def _size(item: Seen) -> float:
    return abs(item.predicted_deg)


def _beyond(measured: Causes, planned: Causes) -> Causes:
    set_back = None
    if measured.set_back_mm is not None:
        set_back = measured.set_back_mm - (planned.set_back_mm or 0.0)
    return Causes(
        lean_deg=measured.lean_deg - planned.lean_deg,
        teeth=measured.teeth - planned.teeth,
        set_back_mm=set_back,
        rod_mm=measured.rod_mm - planned.rod_mm,
    )
