"""Readings noted on paper and typed into a table: CSV text in, readings out."""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import dataclass

from hingeline import units
from hingeline.errors import HingelineError, TravelError, UnitError
from hingeline.model.checks import CLASS_LIMITS_US
from hingeline.travel.reading import Approach, Reading
from hingeline.travel.schedule import Step

COLUMNS = ("pulse_us", "approach", "reading")
_APPROACHES: dict[str, Approach] = {
    "up": "rising",
    "rising": "rising",
    "down": "falling",
    "falling": "falling",
}
_MOST_LINES = 10_000
_SHORTEST_US = min(low for low, _ in CLASS_LIMITS_US.values())
_LONGEST_US = max(high for _, high in CLASS_LIMITS_US.values())


@dataclass(frozen=True)
class Line:
    """One line of the table.

    Attributes
    ----------
    number : int
        In the file, from 1.
    pulse_us : int
        The pulse that was sent.
    approach : {"rising", "falling"}
        From which side it was reached.
    typed : str
        The reading as noted, with its unit.
    """

    number: int
    pulse_us: int
    approach: Approach
    typed: str

    @property
    def step(self) -> Step:
        """The step at which it was read."""
        return Step(self.pulse_us, self.approach, True)


def read_table(text: str, *, source: str) -> list[Line]:
    """Read a table with the columns pulse_us, approach (up or down) and reading.

    Columns may stand in any order, beside others, and be separated by commas, semicolons or
    tabs. The approach is "up" when the pulse was reached from a shorter one.

    Raises
    ------
    TravelError
        Naming the file, the line, the value and what is accepted.
    """
    # Not splitlines(): a form feed or the like must not shift the numbers of the lines.
    lines = text.lstrip("\ufeff").split("\n")
    if len(lines) > _MOST_LINES:
        raise TravelError(
            f"{source}: {len(lines)} lines are more than {_MOST_LINES}.",
            mend="Check that this is the table of readings.",
        )
    separator = next((mark for mark in ";\t" if mark in lines[0]), ",")
    heading = [cell.lower() for cell in _cells(lines[0], separator, f"{source}, line 1")]
    if any(heading.count(column) != 1 for column in COLUMNS):
        raise TravelError(
            f"{source}: the first line must name the columns {', '.join(COLUMNS)}, each once.",
            mend="Begin with the line  pulse_us,approach,reading  and go on like  1400,up,-9 deg",
        )
    places = [heading.index(column) for column in COLUMNS]
    found = []
    for number, line in enumerate(lines[1:], start=2):
        cells = _cells(line, separator, f"{source}, line {number}")
        if any(cells):
            found.append(_line(cells, places, len(heading), number, source))
    if not found:
        raise TravelError(
            f"{source}: there are no readings below the first line.",
            mend="Write each reading on a line of its own, like  1400,up,-9 deg",
        )
    return found


def _cells(line: str, separator: str, where: str) -> list[str]:
    # Line by line: a quote that was forgotten spoils its own line, not the rest of the file.
    # Spaces behind the last quote are nobody's fault; tabs may be empty cells.
    reader = csv.reader([line.strip(" ")], delimiter=separator, skipinitialspace=True, strict=True)
    try:
        return [cell.strip() for row in reader for cell in row]
    except csv.Error as error:
        raise TravelError(
            f"{where}: cannot be read as a line of a table ({error}).",
            mend='Quotes come in pairs round a whole cell: "12,5 deg".',
        ) from None


def _line(cells: list[str], places: list[int], width: int, number: int, source: str) -> Line:
    where = f"{source}, line {number}"
    if len(cells) != width:
        raise TravelError(
            f"{where}: {len(cells)} cells where the heading has {width}.",
            mend='Put a reading with a decimal comma in quotes: "12,5 deg".',
        )
    pulse, approach, typed = (cells[place] for place in places)
    try:
        pulse_us = int(units.parse_number(pulse, whole=True))
    except UnitError as error:
        raise TravelError(
            f"{where}: pulse_us: {error.message}", cause=error.cause, mend=error.mend
        ) from None
    if not _SHORTEST_US <= pulse_us <= _LONGEST_US:
        raise TravelError(
            f"{where}: pulse_us: {pulse_us} is not in {_SHORTEST_US} to {_LONGEST_US} us, "
            "which is all that any servo may be given.",
            mend="Write the pulse in microseconds, such as 1500.",
        )
    side = _APPROACHES.get(approach.lower())
    if side is None:
        raise TravelError(
            f"{where}: the approach {approach!r} is not known.",
            mend="Write up when the pulse was reached from a shorter one, down from a longer one.",
        )
    return Line(number, pulse_us, side, typed)


def readings_of(
    lines: list[Line], making: Callable[[Line], Reading], *, source: str
) -> list[Reading]:
    """Turn lines into readings; an error of ``making`` is given its place in the file."""
    readings = []
    for line in lines:
        try:
            readings.append(making(line))
        except HingelineError as error:
            raise TravelError(
                f"{source}, line {line.number}: {error.message}",
                cause=error.cause,
                mend=error.mend,
            ) from None
    return readings
