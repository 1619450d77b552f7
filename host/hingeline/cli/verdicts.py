"""What calibrations said of servos: kept beside their curves, and heeded afterwards."""

from __future__ import annotations

from dataclasses import dataclass

from hingeline.cli.output import tell
from hingeline.errors import TravelError
from hingeline.kinds import VERDICT
from hingeline.records.store import Records
from hingeline.travel.verdict import Verdict


@dataclass(frozen=True)
class Unfit:
    """Why a servo is not fit for a control surface, by its newest calibration.

    Attributes
    ----------
    reasons : str
        In sentences.
    noted : str
        When that was found.
    without_curve : bool
        The calibration ended without a curve: an older one no longer holds.
    """

    reasons: str
    noted: str
    without_curve: bool


def keep_verdict(records: Records, session_id: int, servo: str, judged: Verdict) -> None:
    """Keep what a calibration says of a servo."""
    figures = {"fit": judged.fit, "unfit": list(judged.unfit), "doubts": list(judged.doubts)}
    records.note_finding(session_id, VERDICT, servo, figures)


def found_unfit(records: Records, servo: str, *, simulated: bool) -> Unfit | None:
    """Return why a servo was found unfit; None when nothing speaks against it, or no longer."""
    found = records.latest_finding(VERDICT, servo, simulated=simulated)
    if found is None or found["figures"]["fit"]:
        return None
    curve = records.latest_curve(servo, simulated=simulated)
    own = curve is not None and curve["session_id"] == found["session_id"]
    if not own and curve is not None and curve["noted"] > found["noted"]:
        return None
    reasons = " ".join(found["figures"]["unfit"])
    return Unfit(reasons, found["noted"], without_curve=not own)


def refuse_unfit(records: Records, servo: str, *, simulated: bool) -> None:
    """Refuse a servo whose newest calibration ended in a verdict without a curve.

    One that has a curve, and was found unfit by its figures, is warned of.

    Raises
    ------
    TravelError
        With the reason.
    """
    unfit = found_unfit(records, servo, simulated=simulated)
    if unfit is None:
        return
    if not unfit.without_curve:
        tell(f"Servo {servo} was found unfit for a control surface: {unfit.reasons}")
        return
    raise TravelError(
        f"servo {servo} was found unfit for a control surface on {unfit.noted[:10]}.",
        cause=unfit.reasons,
        mend="Fit another servo and calibrate it; the same command judges this one anew: "
        f"hingeline calibrate MODEL {servo}",
    )
