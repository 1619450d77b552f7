"""What a board keeps: its own settings, and what its button does with each channel."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

from shared_protocol import table

#: Greatest change of pulse by the button, unless another is kept, in us per s.
USUAL_SLEW_US_PER_S = 500


@dataclass(frozen=True)
class BoardSettings:
    """Settings of a whole board.

    Attributes
    ----------
    frame_hz : int
        Frames per second at the start.
    hold_s, off_s : float
        Silence of the host after which motion stops, and after which pulses stop.
    period_s : float
        The button's sweep, there and back.
    shape : {"triangle", "smooth"}
        Shape of that sweep.
    knob : bool
        Whether a knob is fitted.
    rail_full_v : float
        Servo supply at which its input reads full; 0: no divider is fitted.
    rail_low_v : float
        Servo supply below which pulses stop.
    """

    frame_hz: int
    hold_s: float
    off_s: float
    period_s: float
    shape: str
    knob: bool
    rail_full_v: float
    rail_low_v: float


@dataclass(frozen=True)
class Kept:
    """What a board does with a channel when it is worked by its button.

    Attributes
    ----------
    pulse_class : {"standard", "narrow", "custom"}
        Class of its pulses.
    limits_us : tuple of int
        Lowest and highest pulse.
    centre_us : int
        Centre.
    slew_us_per_s : int
        Greatest change of pulse.
    """

    pulse_class: str
    limits_us: tuple[int, int]
    centre_us: int
    slew_us_per_s: int


def board_settings(values: Mapping[str, int]) -> BoardSettings:
    """Read settings from the wire."""
    return BoardSettings(
        frame_hz=values["frame_hz"],
        hold_s=values["hold_ms"] / 1000,
        off_s=values["off_ms"] / 1000,
        period_s=values["period_ms"] / 1000,
        shape=table.name_of(table.SHAPES, values["shape"]),
        knob=bool(values["knob"]),
        rail_full_v=values["rail_full_mv"] / 1000,
        rail_low_v=values["rail_low_mv"] / 1000,
    )


def changes(wanted: Mapping[str, float | str]) -> dict[str, int]:
    """Write settings, named like the attributes of ``BoardSettings``, for the wire.

    Raises
    ------
    KeyError
        For any other name.
    """
    known = {field.name for field in fields(BoardSettings)}
    return dict(_change(key, value, known) for key, value in wanted.items())


def _change(key: str, value: float | str, known: set[str]) -> tuple[str, int]:
    if key not in known:
        raise KeyError(key)
    if key == "shape":
        return key, table.number_of(table.SHAPES, str(value))
    number = float(value)
    stem, _, unit = key.rpartition("_")
    if unit in ("s", "v"):
        return f"{stem}_m{unit}", round(number * 1000)
    return key, round(number)


def kept(values: Mapping[str, int]) -> Kept | None:
    """Read what is kept for a channel; None: the button leaves it alone."""
    if not values["class"]:
        return None
    return Kept(
        table.name_of(table.CLASSES, values["class"]),
        (values["low_ns"] // 1000, values["high_ns"] // 1000),
        values["centre_ns"] // 1000,
        values["slew_ns_per_ms"],
    )


def channel_values(
    pulse_class: str, limits_us: tuple[int, int], centre_us: int, slew_us_per_s: int
) -> dict[str, int]:
    """Write what hangs on a channel for the wire, as `setup` and `keep` have it."""
    return {
        "class": table.number_of(table.CLASSES, pulse_class),
        "low_ns": limits_us[0] * 1000,
        "high_ns": limits_us[1] * 1000,
        "centre_ns": centre_us * 1000,
        "slew_ns_per_ms": slew_us_per_s,  # us per s and ns per ms are the same number
    }
