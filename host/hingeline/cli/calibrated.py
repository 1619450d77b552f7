"""What a calibration gave: its figures, what they say of the servo, and what has changed since."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from hingeline import units
from hingeline.cli.curves import is_void
from hingeline.cli.output import wrapped
from hingeline.cli.verdicts import keep_verdict
from hingeline.errors import TravelError
from hingeline.records.store import Records
from hingeline.travel.comparing import Change, Comparison, compare
from hingeline.travel.curve import TravelCurve
from hingeline.travel.verdict import Verdict, verdict

_PLAIN = (
    "centre_us",
    "centre_error_deg",
    "rate_deg_per_us",
    "hysteresis_deg",
    "dead_band_us",
    "linearity_deg",
    "terminal_linearity_deg",
    "repeatability_deg",
    "residual_sd_deg",
)


@dataclass(frozen=True)
class Calibrated:
    """A fitted servo.

    Attributes
    ----------
    label : str or None
        The servo's.
    curve : TravelCurve
        Its curve.
    verdict : Verdict
        Whether it is fit for a control surface.
    before : TravelCurve or None
        The curve that was the newest on record until now.
    noted : str
        When that was noted.
    since : Comparison or None
        What has changed; None without one before, or when the two cannot be compared.
    """

    label: str | None
    curve: TravelCurve
    verdict: Verdict
    before: TravelCurve | None = None
    noted: str = ""
    since: Comparison | None = None


def calibrated(label: str | None, curve: TravelCurve) -> Calibrated:
    """Judge a curve of which nothing is on record."""
    return Calibrated(label, curve, verdict(curve))


def keep(
    records: Records,
    session_id: int,
    servo: str,
    curve: TravelCurve,
    *,
    simulated: bool,
    teeth: int,
) -> Calibrated:
    """Keep a curve and its verdict, and compare it with the one before."""
    row = records.latest_curve(servo, simulated=simulated)
    if row is not None and is_void(records, servo, row, simulated=simulated):
        row = None  # of a servo that is gone: what differs says nothing of this one
    judged = verdict(curve)
    records.note_curve(session_id, servo, curve.to_dict())
    keep_verdict(records, session_id, servo, judged)
    if row is None:
        return Calibrated(servo, curve, judged)
    try:
        before = TravelCurve.from_dict(row["curve"])
        since = compare(before, curve, teeth=teeth)
    except TravelError:  # of an older format, or over another range: there is nothing to compare
        return Calibrated(servo, curve, judged)
    return Calibrated(servo, curve, judged, before, row["noted"], since)


def figures(found: Calibrated) -> dict[str, Any]:
    """Return all figures, each with its standard uncertainty under the key plus _u."""
    return {
        **curve_figures(found.label, found.curve),
        "fit": found.verdict.fit,
        "unfit": list(found.verdict.unfit),
        "doubts": list(found.verdict.doubts),
        "since": None if found.since is None else _since_figures(found.since, found.noted),
    }


def text(found: Calibrated) -> Iterator[str]:
    """Lay everything out for people, with 95 % intervals."""
    yield from curve_text(found.label, found.curve)
    for reason in found.verdict.unfit:
        yield wrapped(f"  UNFIT for a control surface: {reason}")
    for doubt in found.verdict.doubts:
        yield wrapped(f"  DOUBT, within its uncertainty: {doubt}")
    if found.since is not None:
        yield from _since_text(found.since, found.noted)


def curve_figures(label: str | None, curve: TravelCurve) -> dict[str, Any]:
    """Return a curve's figures, each with its standard uncertainty under the key plus _u."""
    # In the order of reach_deg: lowest angle first, whichever way the servo turns.
    ends = sorted(curve.limits_us, reverse=curve.rate_deg_per_us < 0)
    plain = {key: getattr(curve, key) for name in _PLAIN for key in (name, f"{name}_u")}
    return {
        "servo": label,
        **plain,
        "nominal_centre_us": curve.nominal_centre_us,
        "limits_us": list(curve.limits_us),
        "limits_us_u": list(curve.limits_us_u),
        "reach_deg": list(curve.reach_deg()),
        "reach_deg_u": [float(curve.angle_u_deg(pulse)) for pulse in ends],
        "kind": curve.kind,
        "degree": curve.degree,
        "readings": len(curve.readings),
        "suspects": [
            {
                "pulse_us": suspect.pulse_us,
                "approach": suspect.approach,
                "typed": suspect.as_typed,
                "off_by_deg": suspect.residual_deg,
                "slip": suspect.slip,
                "likely": suspect.likely,
            }
            for suspect in curve.suspects
        ],
        "notes": list(curve.notes),
    }


def curve_text(label: str | None, curve: TravelCurve) -> Iterator[str]:
    """Lay a curve's figures out for people, with 95 % intervals."""
    k = curve.coverage_factor(0.95)
    yield f"Travel curve of {label or 'the servo'}, from {len(curve.readings)} readings"
    for name, value in _lines(curve, k):
        yield f"  {name:20}{value}"
    yield "  (+/-: 95 % interval)"
    for suspect in curve.suspects:
        yield wrapped(f"  SUSPECT: {suspect}. It is kept, and had no weight.")
    for note in curve.notes:
        # The curve names its suspects in a note as well.
        if not any(str(suspect) in note for suspect in curve.suspects):
            yield wrapped(f"  NOTE: {note}")


def _lines(curve: TravelCurve, k: float) -> Iterator[tuple[str, str]]:
    def within(u: float | None, places: int) -> str:
        return "" if u is None else f"  (+/- {units.rounded_up(k * u, places)})"

    if curve.centre_us is not None:
        yield "Centre", f"{units.us(curve.centre_us)}{within(curve.centre_us_u, 0)}"
    if curve.centre_error_deg is not None:
        off = round(curve.centre_error_deg, 1) + 0.0  # no "-0.0"
        half = within(curve.centre_error_deg_u, 1)
        yield f"At {curve.nominal_centre_us:.0f} us", f"{off:+.1f} deg off neutral{half}"
    turns = "ccw" if curve.rate_deg_per_us > 0 else "cw"
    rate = f"{abs(curve.rate_deg_per_us):.4f} deg/us, {turns} with rising pulse"
    yield "Rate", f"{rate}{within(curve.rate_deg_per_us_u, 4)}"
    if curve.hysteresis_deg is not None:
        half = within(curve.hysteresis_deg_u, 1)
        yield "Up/down difference", f"{units.deg(curve.hysteresis_deg)}{half}"
    if curve.dead_band_us is not None:
        half = within(curve.dead_band_us_u, 0)
        yield "Dead band", f"{units.us(curve.dead_band_us)}{half}, by the up/down difference"
    low, high = curve.limits_us
    least, most = curve.reach_deg()
    reach = f"{low:.0f} to {high:.0f} us: {units.deg(least)} to {units.deg(most)}"
    if curve.limits_us == curve.range_us:
        yield "Measured", reach
    else:
        yield "Measured", "{:.0f} to {:.0f} us".format(*curve.range_us)
        yield "Moves freely", reach
    if curve.linearity_deg is not None:
        half = within(curve.linearity_deg_u, 1)
        yield "Linearity", f"{units.deg(curve.linearity_deg)}{half}, independent"
    if curve.terminal_linearity_deg is not None:
        half = within(curve.terminal_linearity_deg_u, 1)
        yield (
            "",
            f"{units.deg(curve.terminal_linearity_deg)}{half}, terminal-based",
        )
    if curve.repeatability_deg is not None:
        spread = f"{curve.repeatability_deg:.2f} deg standard deviation, same pulse and side"
        yield "Repeatability", spread
    yield "Scatter", f"{curve.residual_sd_deg:.2f} deg standard deviation about the curve"


def _since_figures(since: Comparison, noted: str) -> dict[str, Any]:
    return {
        "noted": noted,
        "changed": since.changed,
        "at_us": since.at_us,
        "angle": _change_figures(since.curve),
        "changes": [_change_figures(change) for change in since.changes],
        "words": list(since.words),
    }


def _change_figures(change: Change) -> dict[str, Any]:
    return {
        "name": change.name,
        "unit": change.unit,
        "old": change.old,
        "new": change.new,
        "difference": change.difference,
        "difference_u": change.u,
        "beyond": change.beyond,
    }


def _since_text(since: Comparison, noted: str) -> Iterator[str]:
    yield f"Against the calibration of {noted[:10]}"
    if not since.changed:
        yield wrapped("  Nothing changed beyond uncertainty, arm and gauge put on as before.")
        return
    for change in (*since.changes, since.curve):
        if change.beyond:
            name = f"angle at {since.at_us:.0f} us" if change is since.curve else change.name
            yield f"  {name:20}{_amount(change, change.old)}, now {_amount(change, change.new)}"
    for words in since.words:
        yield wrapped(f"  CHANGED: {words}")


def _amount(change: Change, value: float) -> str:
    places = {"us": 0, "deg": 1, "deg/us": 4}[change.unit]
    return f"{round(value, places) + 0.0:.{places}f} {change.unit}"
