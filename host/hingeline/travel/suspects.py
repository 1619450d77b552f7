"""A suspect reading, and the slip of the pencil or keyboard that probably made it."""

from __future__ import annotations

import re
from dataclasses import dataclass

from hingeline.travel.reading import Approach, Reading

NUMBER = re.compile(r"[-+]?\d+(?:[.,]\d+)?")


@dataclass(frozen=True)
class Suspect:
    """A reading that does not go with the others.

    Attributes
    ----------
    index : int
        Its place in the readings as given, from 0.
    pulse_us : float
        Its pulse, in us.
    approach : {"rising", "falling"}
        Its approach.
    as_typed : str
        What was typed.
    residual_deg : float
        Reading less what the others let expect, in degrees of shaft.
    slip : str
        The likely slip: "sign", "decimal point", "sign and decimal point",
        "digits swapped", "up/down swapped"; empty when none explains the reading.
    likely : float or None
        The number that was probably meant, in the unit as typed; None when no slip
        explains the reading, or it was exchanged with its partner.
    """

    index: int
    pulse_us: float
    approach: Approach
    as_typed: str
    residual_deg: float
    slip: str = ""
    likely: float | None = None

    def __str__(self) -> str:
        text = (
            f'{self.pulse_us:g} us ({self.approach}): "{self.as_typed}" is '
            f"{abs(self.residual_deg):.1f} deg off the others"
        )
        if self.likely is not None:
            return f"{text} ({self.slip}; {self.likely:g}?)"
        return f"{text} ({self.slip}?)" if self.slip else text


def explain(index: int, reading: Reading, expected_deg: float, nearest_deg: float) -> Suspect:
    """Describe a suspect, with the slip that best turns it into what was expected.

    Parameters
    ----------
    index : int
        The reading's place.
    reading : Reading
        The suspect.
    expected_deg : float
        Shaft angle that the other readings let expect.
    nearest_deg : float
        How near to it a corrected value must come to be believed, in degrees.

    Returns
    -------
    Suspect
    """
    text = reading.as_typed or f"{reading.angle_deg:g}"
    found = NUMBER.search(text)
    slip, likely = "", None
    if found and (typed := float(found.group().replace(",", "."))):
        # What is typed at the surface, or in mm, goes nearly in proportion to the shaft.
        shaft_per_typed = reading.angle_deg / typed
        for name, number in meant(found.group(), typed):
            away = abs(number * shaft_per_typed - expected_deg)
            if away < nearest_deg:
                nearest_deg, slip, likely = away, name, number
    residual_deg = reading.angle_deg - expected_deg
    return Suspect(index, reading.pulse_us, reading.approach, text, residual_deg, slip, likely)


def meant(number: str, typed: float) -> list[tuple[str, float]]:
    """List the numbers that one slip away would have been, the commonest slips first."""
    slips = [("sign", -typed)]
    slips += [("decimal point", typed * factor) for factor in (0.1, 10.0, 0.01, 100.0)]
    slips += [("sign and decimal point", -typed * factor) for factor in (0.1, 10.0)]
    for place in range(len(number) - 1):
        left, right = number[place], number[place + 1]
        if left.isdigit() and right.isdigit() and left != right:
            swapped = number[:place] + right + left + number[place + 2 :]
            slips.append(("digits swapped", float(swapped.replace(",", "."))))
    return slips
