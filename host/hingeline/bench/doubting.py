"""A reading in doubt, in words for people and in figures for the records."""

from __future__ import annotations

from typing import Any

from hingeline.travel.judging import REPEATED, Doubt


def said(doubt: Doubt) -> str:
    """Say what is odd about a reading, and what was probably meant."""
    text = (
        f"{doubt.reading.as_typed.strip()} is {abs(doubt.away_deg):.1f} deg of arm from where the "
        f"other readings lead ({doubt.expected_deg:.1f})."
    )
    if doubt.partner is not None:
        other = doubt.partner.as_typed.strip()
        return f"{text} It would fit if exchanged with {other}, read here the other way."
    if doubt.likely is not None:
        return f"{text} Was {doubt.likely} meant ({doubt.slip})?"
    return f"{text} Is it {REPEATED}?" if doubt.slip == REPEATED else text


def figures_of(doubt: Doubt) -> dict[str, Any]:
    """Return what is kept of a doubt, as plain JSON types."""
    return {
        "expected_deg": doubt.expected_deg,
        "u_deg": doubt.u_deg,
        "slip": doubt.slip,
        "likely": doubt.likely,
    }
