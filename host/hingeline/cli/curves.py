"""A servo's travel curve on record, with its arm as it sits now."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hingeline.kinds import OTHER_SERVO, SEAT
from hingeline.model.schema import Servo
from hingeline.records.store import Records, Row
from hingeline.travel.curve import TravelCurve
from hingeline.travel.nominal import NominalCurve, nominal, turned
from hingeline.travel.seated import seated


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
    unread : bool
        Whether the arm was put on anew since, and nobody has read where it sits.
    """

    curve: TravelCurve
    noted: str
    session_id: int
    seated: str | None
    unread: bool = False


def unseat(records: Records, session_id: int, servo: str, mend: str, *, curve: int | None) -> None:
    """Keep that nobody has read how an arm sits since a mend.

    What was read of it before no longer holds; nor does the curve of a servo that is gone.

    Parameters
    ----------
    mend : str
        Name of the mend: "refit"; `OTHER_SERVO`: another one was fitted.
    curve : int or None
        Session of the servo's newest curve.
    """
    records.note_finding(session_id, SEAT, servo, {"unread": mend, "curve": curve})


def curve_row_of(records: Records, servo: str, *, simulated: bool) -> CurveOnRecord | None:
    """Return a servo's newest curve with its dates.

    An arm that was put on again since moves the whole curve. None when the servo was never
    calibrated, or another one was fitted in its place since.
    """
    found = records.latest_curve(servo, simulated=simulated)
    if found is None:
        return None
    seats = records.finding_history(SEAT, servo, simulated=simulated)
    own = [seat for seat in seats if _later(seat, found)]
    if _gone(own):
        return None
    curve = TravelCurve.from_dict(found["curve"])
    noted, session_id = found["noted"], found["session_id"]
    if not own or own[0] is not seats[0]:
        return CurveOnRecord(curve, noted, session_id, None)
    figures = own[0]["figures"]
    if "unread" in figures:
        return CurveOnRecord(curve, noted, session_id, None, unread=True)
    curve = seated(curve, figures["arm_deg"], figures["pulse_us"], figures["u_deg"])
    return CurveOnRecord(curve, noted, session_id, own[0]["noted"])


def is_void(records: Records, servo: str, curve: Row, *, simulated: bool) -> bool:
    """Tell whether a curve is that of a servo in whose place another one was fitted since."""
    seats = records.finding_history(SEAT, servo, simulated=simulated)
    return _gone([seat for seat in seats if _later(seat, curve)])


def curve_of(records: Records, servo: str, *, simulated: bool) -> TravelCurve | None:
    """Return a servo's newest curve, its arm as it sits now; None when it has none."""
    found = curve_row_of(records, servo, simulated=simulated)
    return None if found is None else found.curve


def nominal_of(records: Records, label: str, servo: Servo, *, simulated: bool) -> NominalCurve:
    """Return the maker's rate of a servo without a curve, its arm as it sits now."""
    plain = nominal(servo)
    seat = records.latest_finding(SEAT, label, simulated=simulated)
    if seat is None or "unread" in seat["figures"]:
        return plain
    return turned(plain, seat["figures"]["arm_deg"], seat["figures"]["pulse_us"])


def _gone(seats: Sequence[Row]) -> bool:
    return any(seat["figures"].get("unread") == OTHER_SERVO for seat in seats)


def _later(seat: Row, curve: Row) -> bool:
    """Tell whether an arm was put on after a curve was measured."""
    if "curve" in seat["figures"]:  # the newest curve at that time
        return bool(seat["figures"]["curve"] == curve["session_id"])
    return bool(seat["noted"] > curve["noted"])
