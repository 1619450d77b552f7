"""One value of the model file, from its text to its typed form."""

from __future__ import annotations

import math
from typing import Any

from hingeline import units
from hingeline.errors import UnitError
from hingeline.model import schema

_PLAIN: dict[type, units.Kind] = {
    schema.Length: units.LENGTH,
    schema.Offset: units.LENGTH,
    schema.Angle: units.ANGLE,
    schema.Speed: units.SPEED,
    schema.Pulse: units.PULSE,
    schema.Rate: units.RATE,
    schema.Torque: units.TORQUE,
    schema.FrameRate: units.FRAME_RATE,
}
_SIGNED = (schema.Offset, schema.Angle)
_MEASURES = ("drop", "straight")
_DIRECTIONS = {
    "ahead": schema.Direction(1.0, 0.0, 0.0),
    "aft": schema.Direction(-1.0, 0.0, 0.0),
    "off": schema.Direction(0.0, 1.0, 0.0),
    "in": schema.Direction(0.0, -1.0, 0.0),
    "along+": schema.Direction(0.0, 0.0, 1.0),
    "along-": schema.Direction(0.0, 0.0, -1.0),
}


def decode(wanted: type, raw: Any) -> Any:
    """Turn a raw TOML value into ``wanted``, one of the schema's value types.

    Raises
    ------
    UnitError
        Naming the value, the limit and the accepted form.
    """
    if wanted is schema.Direction:
        return _direction(raw)
    if wanted is schema.Throw:
        return decode_throw(raw)
    kind = _PLAIN[wanted]
    value = units.parse(raw, kind)
    if wanted not in _SIGNED and not value > 0:
        raise UnitError(f"{raw!r} must be greater than zero.", mend=f"Write it like {kind.shown}.")
    return wanted(value)


def _direction(raw: Any) -> schema.Direction:
    if isinstance(raw, str) and raw in _DIRECTIONS:
        return _DIRECTIONS[raw]
    if (
        isinstance(raw, list)
        and len(raw) == 3
        and all(isinstance(c, (int, float)) and not isinstance(c, bool) for c in raw)
        and all(math.isfinite(c) for c in raw)
        and any(raw)
    ):
        return schema.Direction(*(float(c) for c in raw))
    raise UnitError(
        f"{raw!r} is not a direction.",
        mend=f"Write one of {', '.join(_DIRECTIONS)}, or three numbers "
        "[ahead, off, along] that are not all zero.",
    )


def decode_throw(raw: Any) -> schema.Throw:
    """Read a throw: "13 deg", "12 mm drop" or "12 mm straight".

    Raises
    ------
    UnitError
        For a bare number, or a distance that does not say how it is measured.
    """
    if isinstance(raw, str):
        *first, last = raw.split() or [""]
        if last in _MEASURES:
            value = units.parse(" ".join(first), units.LENGTH)
            measure = last
        elif units.split_unit(raw)[1] in units.LENGTH.factors:
            raise UnitError(
                f"{raw!r} does not say how the distance is measured.",
                cause="A ruler held square to the neutral plane and one held straight "
                "between the two edges read differently.",
                mend=f'Write "{raw} drop" or "{raw} straight", or give the throw in deg.',
            )
        else:
            value = units.parse(raw, units.ANGLE)
            measure = "deg"
    else:
        value = units.parse(raw, units.ANGLE)  # raises: no unit
        measure = "deg"
    if not value > 0:
        raise UnitError(f"{raw!r} must be greater than zero.", mend='Write it like "13 deg".')
    return schema.Throw(value, measure)  # type: ignore[arg-type]
