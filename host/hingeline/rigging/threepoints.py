"""The three points at which a surface is checked against its record."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

#: Shares of the throws that are checked, and from where each is come to.
POINTS = ((1.0, "neutral"), (0.0, "first"), (-1.0, "neutral"))
#: A surface whose first end is further from its record than this, or than this part of the
#: throw, is not driven to the other end, where something may be forced. Our own choices, as is
#: the least that counts whatever the throw.
FAR_DEG, FAR_PART, LEAST_FAR_DEG = 10.0, 0.5, 3.0


def too_far(then_deg: float, now_deg: float) -> bool:
    """Tell whether a first end stands too far from its record to go on to the other."""
    far = max(LEAST_FAR_DEG, min(FAR_DEG, FAR_PART * abs(then_deg)))
    return abs(now_deg - then_deg) > far


def of_record(found: Mapping[str, Any]) -> tuple[list[int], tuple[float, ...]]:
    """Return pulses and readings of a record at the points of `POINTS`.

    Raises
    ------
    KeyError
        When the record lacks one.
    """
    pulses, readings = [], []
    for share, origin in POINTS:
        for row in found["points"]:
            # An end is come to from neutral alone.
            if row["share"] == share and (share or row["from"] == origin):
                pulses.append(int(row["pulse_us"]))
                readings.append(float(row["measured_deg"]))
                break
        else:
            raise KeyError(f"{share:+.0%} of the throw")
    return pulses, tuple(readings)
