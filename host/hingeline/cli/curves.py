"""A servo's travel curve on record, with its arm as it sits now."""

from __future__ import annotations

from dataclasses import dataclass

from hingeline.records.store import Records, Row
from hingeline.travel.curve import TravelCurve
from hingeline.travel.seated import seated

SEAT = "seat"


@dataclass(frozen=True)
class CurveOnRecord:
    """A servo's newest curve.

    Attributes
    ----------
    curve : TravelCurve
        With its arm as it sits now.
    noted : str
        When it was calibrated.
    session_id : int
        The calibration's session.
    seated : str or None
        When the arm was put on and its lean read, if that was later; None: it was not.
    """

    curve: TravelCurve
    noted: str
    session_id: int
    seated: str | None


def curve_row_of(records: Records, servo: str, *, simulated: bool) -> CurveOnRecord | None:
    """Return a servo's newest curve with its dates; None when it was never calibrated.

    An arm that was put on again since moves the whole curve.
    """
    found = records.latest_curve(servo, simulated=simulated)
    if found is None:
        return None
    curve = TravelCurve.from_dict(found["curve"])
    seat = records.latest_finding(SEAT, servo, simulated=simulated)
    when = None
    if seat is not None and _later(seat, found):
        figures, when = seat["figures"], seat["noted"]
        curve = seated(curve, figures["arm_deg"], figures["pulse_us"], figures["u_deg"])
    return CurveOnRecord(curve, found["noted"], found["session_id"], when)


def curve_of(records: Records, servo: str, *, simulated: bool) -> TravelCurve | None:
    """Return a servo's newest curve, its arm as it sits now; None when never calibrated."""
    found = curve_row_of(records, servo, simulated=simulated)
    return None if found is None else found.curve


def _later(seat: Row, curve: Row) -> bool:
    """Tell whether an arm was put on after a curve was measured."""
    if "curve" in seat["figures"]:  # the newest curve at that time
        return bool(seat["figures"]["curve"] == curve["session_id"])
    return bool(seat["noted"] > curve["noted"])
