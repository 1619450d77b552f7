"""Readings noted on paper and typed into a table: CSV text in, readings out."""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import dataclass

from hingeline import units
from hingeline.errors import HingelineError, TravelError, UnitError
from hingeline.travel.reading import Approach, Reading

COLUMNS = ("pulse_us", "approach", "reading")
_APPROACHES: dict[str, Approach] = {
    "up": "rising",
    "rising": "rising",
    "down": "falling",
    "falling": "falling",
}
_MOST_LINES = 10_000


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


def read_table(text: str, *, source: str) -> list[Line]:
    """Read a table with the columns pulse_us, approach (up or down) and reading.

    Columns may stand in any order and be separated by commas or semicolons. The approach
    is "up" when the pulse was reached from a shorter one.

    Raises
    ------
    TravelError
        Naming the file, the line, the value and what is accepted.
    """
    lines = text.lstrip("\ufeff").splitlines()
    if len(lines) > _MOST_LINES:
        raise TravelError(
            f"{source}: {len(lines)} lines are more than {_MOST_LINES}.",
            mend="Check that this is the table of readings.",
        )
    separator = ";" if lines and ";" in lines[0] else ","
    rows = csv.reader(lines, delimiter=separator, skipinitialspace=True)
    try:
        heading = [cell.strip().lower() for cell in next(rows, [])]
        places = [heading.index(column) for column in COLUMNS]
    except ValueError:
        raise TravelError(
            f"{source}: the first line must name the columns {', '.join(COLUMNS)}.",
            mend="Begin with the line  pulse_us,approach,reading  and go on like  1400,up,-9 deg",
        ) from None
    found = []
    for row in rows:
        if any(cell.strip() for cell in row):
            found.append(_line(row, places, len(heading), rows.line_num, source))
    return found


def _line(row: list[str], places: list[int], width: int, number: int, source: str) -> Line:
    where = f"{source}, line {number}"
    if len(row) != width:
        raise TravelError(
            f"{where}: {len(row)} cells where the heading has {width}.",
            mend='Put a reading with a decimal comma in quotes: "12,5 deg".',
        )
    pulse, approach, typed = (row[place].strip() for place in places)
    try:
        pulse_us = int(units.parse_number(pulse, whole=True))
    except UnitError as error:
        raise TravelError(f"{where}: pulse_us: {error.message}", mend=error.mend) from None
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
