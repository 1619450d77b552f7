"""A reading in doubt, in words for people and in figures for the records."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from hingeline.bench.asking import Question
from hingeline.travel.judging import LEAST, REPEATED, Again, Doubt, Judge
from hingeline.travel.reading import Reading
from hingeline.travel.suspects import NUMBER, meant


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


def instead(
    again: Again, typed: str, before: Sequence[Reading], behind: Sequence[Reading]
) -> tuple[str, str] | None:
    """Find what was probably meant by a text of which no reading can be made.

    No arm stands at 575 deg, and no linkage shows every angle; but 57.5 may go with the others.

    Parameters
    ----------
    again : callable
        What would be typed and read with another number in the text.
    typed : str
        The text.
    before, behind : sequence of Reading
        The other readings, in the order in which they were taken.

    Returns
    -------
    text, slip : str
        What to type, and what happened, as in `hingeline.travel.suspects.Suspect`. None when
        nothing goes with the other readings, or they are too few to say.
    """
    others = (*behind, *before)  # its neighbour comes last
    if len({reading.pulse_us for reading in others}) < LEAST:
        return None
    found = NUMBER.search(typed)
    if found is None or not (number := float(found.group().replace(",", "."))):
        return None
    judge = Judge()
    for reading in others:
        judge.keep(reading, judge.doubt(reading))
    on_stop = None
    for slip, other in meant(found.group(), number):
        if (made := again(other)) is None:
            continue
        doubt = judge.doubt(made[1])
        if doubt is None:
            return made[0], slip
        if on_stop is None and not doubt.worth_asking:
            on_stop = made[0], slip
    return on_stop


def offering(question: Question, place: str, likely: tuple[str, str]) -> Question:
    """Make the question whether that was meant, to be answered by yes or by the reading.

    Parameters
    ----------
    question : Question
        The question for the reading.
    place : str
        Where it is read: "1700 us".
    likely : tuple of str
        As of `instead`.
    """
    text, slip = likely
    return replace(
        question,
        text=f"{place}, was {text} meant ({slip}): yes, or the reading again",
        help=f"yes: takes {text} instead; or type what the gauge shows. {question.help}",
    )
