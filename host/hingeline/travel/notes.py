"""What the user should know about a travel curve, in sentences."""

from __future__ import annotations

from hingeline.travel.curve import TravelCurve

#: A half gap this many standard uncertainties below zero is no scatter. Our own choice.
_CLEARLY = 3.0


def notes_on(curve: TravelCurve) -> tuple[str, ...]:
    """Return the sentences that belong beside a curve's figures."""
    notes = [f"Given no weight: {suspect}." for suspect in curve.suspects]
    for limit, stop, edge in zip(curve.limits_us, curve.stops, curve.range_us, strict=True):
        if stop is not None:
            notes.append(
                f"The servo met a stop at {stop.angle_deg:.1f} deg, between {limit:g} and "
                f"{stop.pulse_us:g} us; {limit:g} us is the limit of use."
            )
        elif limit != edge:
            notes.append(
                f"Between {limit:g} and {edge:g} us the arm did not move clearly; "
                f"{limit:g} us is the limit of use."
            )
    if curve.kind == "points":
        notes.append("No smooth curve fits these readings; the curve runs through their means.")
    if curve.approach is not None:
        notes.append(
            f"Read {curve.approach} only: the play is not known, and the centre may be off by "
            "half of it."
        )
    gap, u = curve.half_gap_deg, curve.half_gap_deg_u
    if gap is not None and u is not None and gap < -_CLEARLY * u:
        notes.append(
            "The arm seems to run ahead of the pulse; perhaps rising and falling were exchanged."
        )
    if curve.dof == 0:
        notes.append("There are no readings to spare, so the scatter is taken from the gauge.")
    return tuple(notes)
