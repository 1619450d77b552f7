"""Values with units in and out: the one place where a unit is converted.

Files and the command line carry the unit in the value ("6.4 mm", "1520 us"); a bare
number is refused there. A prompt names the unit in its question and takes a bare
number in that unit. Inside the program a value is a plain float in the kind's
internal unit, and its name ends in that unit (``arm_mm``, ``pulse_us``).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from hingeline.errors import UnitError


@dataclass(frozen=True)
class Kind:
    """One kind of quantity.

    Attributes
    ----------
    name : str
        What the quantity is, as used in messages.
    unit : str
        The internal unit, one of ``factors``.
    factors : dict of str to float
        Accepted unit, as typed, to how many internal units it is.
    example : str
        A well-formed value, shown when a value is refused.
    other_example : str
        A second one, where a single one could be taken for advice; empty: none.
    whole : bool
        Whether only whole numbers without sign or decimal mark are accepted.
    """

    name: str
    unit: str
    factors: dict[str, float]
    example: str
    whole: bool = False
    other_example: str = ""

    @property
    def shown(self) -> str:
        """The examples as they are shown, in quotes."""
        return " or ".join(f'"{one}"' for one in (self.example, self.other_example) if one)

    @property
    def named(self) -> str:
        """The name with its article, to begin a sentence: "An angle"."""
        return f"{'An' if self.name[0] in 'aeiou' else 'A'} {self.name}"

    def accepted(self) -> str:
        """Return the accepted units as one readable list."""
        return ", ".join(self.factors)


_KGF_CM = 0.0980665  # N m in one kgf cm: standard gravity 9.80665 m/s2 (CGPM 1901), exact
_OZF_IN = 0.45359237 / 16 * 9.80665 * 0.0254  # N m; avoirdupois pound and inch, exact

LENGTH = Kind("length", "mm", {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}, "6.4 mm")
ANGLE = Kind("angle", "deg", {"deg": 1.0, "°": 1.0}, "13 deg")
# A pulse in milliseconds invites slips by a factor of 1000, so only microseconds are taken.
# Whoever has a narrow-pulse servo must not be shown a pulse that may ruin it as the only one.
PULSE = Kind(
    "pulse width",
    "us",
    {"us": 1.0, "µs": 1.0, "μs": 1.0},
    "760 us",
    whole=True,
    other_example="1500 us",
)
RATE = Kind("rate", "deg/us", {"deg/us": 1.0, "deg/µs": 1.0}, "0.09 deg/us")
TORQUE = Kind(
    "torque",
    "N m",
    {
        "N m": 1.0,
        "N cm": 0.01,
        "N mm": 0.001,
        "kg cm": _KGF_CM,
        "kg-cm": _KGF_CM,
        "oz in": _OZF_IN,
        "oz-in": _OZF_IN,
    },
    "1.8 kg cm",
)
SPEED = Kind(
    "speed",
    "m/s",
    # International mile 1609.344 m and international nautical mile 1852 m, exact.
    {"m/s": 1.0, "km/h": 1.0 / 3.6, "mph": 0.44704, "kt": 1852.0 / 3600.0},
    "25 m/s",
)
TIME = Kind("time", "s", {"s": 1.0, "ms": 0.001, "min": 60.0}, "2 s")
FRAME_RATE = Kind("frame rate", "Hz", {"Hz": 1.0}, "50 Hz", whole=True)
SLEW = Kind("slew", "us/s", {"us/s": 1.0, "µs/s": 1.0, "μs/s": 1.0}, "500 us/s", whole=True)
VOLTAGE = Kind("voltage", "V", {"V": 1.0, "mV": 0.001}, "5 V")

# ASCII digits only: float() would also take "1_500", "1e3", "nan" and full-width digits.
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)", re.ASCII)
_WHOLE = re.compile(r"[0-9]+", re.ASCII)


def parse_number(text: str, *, whole: bool = False, shown: str = "1500") -> float:
    """Read one number as a person types it; a single comma is a decimal mark.

    Parameters
    ----------
    text : str
        The number alone, without a unit.
    whole : bool
        Accept digits only (pulse widths: "1,500" could mean 1.5 or 1500).
    shown : str
        How a whole number is to be written, shown when one is refused.

    Raises
    ------
    UnitError
        For anything that is not one finite decimal number.
    """
    stripped = text.strip()
    if whole:
        if not _WHOLE.fullmatch(stripped):
            raise UnitError(
                f"{text!r} is not a whole number.",
                cause="A sign, a comma or a point could be misread by a factor of a thousand.",
                mend=f"Type digits only, for example {shown}.",
            )
        return float(stripped)
    if "." in stripped and "," in stripped:
        raise UnitError(
            f"{text!r} has both a comma and a point.",
            cause="It is not clear which of them is the decimal mark.",
            mend="Type the number without a thousands mark, for example 1234.5.",
        )
    if not _NUMBER.fullmatch(stripped):
        raise UnitError(f"{text!r} is not a number.", mend="Type it like 12.5 or 12,5.")
    value = float(stripped.replace(",", "."))
    if not math.isfinite(value):
        raise UnitError(f"{text!r} is too large to be a number.", mend="Type it like 12.5.")
    return value


_SPLIT = re.compile(r"\s*([^\sa-zA-Z°µμ]+)\s*(.*?)\s*", re.DOTALL)


def split_unit(text: str) -> tuple[str, str]:
    """Split "6.4 mm" into its number and its unit, both as typed; the unit may be empty."""
    match = _SPLIT.fullmatch(text)
    if match is None:
        return text.strip(), ""
    return match.group(1), " ".join(match.group(2).split())


def parse(text: object, kind: Kind) -> float:
    """Read a value that must carry its unit, as in files and on the command line.

    Returns
    -------
    float
        The value in ``kind.unit``.

    Raises
    ------
    UnitError
        For a bare number, an unknown unit, or text that is not a number.
    """
    if not isinstance(text, str):
        raise UnitError(
            f"{text!r} has no unit.",
            cause=f"{kind.named} is written with its unit ({kind.accepted()}).",
            mend=f"Write it in quotes, like {kind.shown}.",
        )
    number, unit = split_unit(text)
    if not unit:
        # "abc" is not a number before it is unitless.
        parse_number(number, whole=kind.whole, shown=kind.shown)
        raise UnitError(
            f"{text!r} has no unit.",
            cause=f"{kind.named} is written with its unit ({kind.accepted()}).",
            mend=f"Write it like {kind.shown}.",
        )
    return _convert(number, unit, text, kind)


def parse_at_prompt(text: str, kind: Kind, unit: str | None = None) -> tuple[float, str]:
    """Read a value typed at a prompt that named ``unit`` (default: the internal one).

    Returns
    -------
    value : float
        In ``kind.unit``.
    understood : str
        What was understood, with its unit, to be echoed ("12.5 deg").

    Raises
    ------
    UnitError
        As for :func:`parse`, except that a bare number is accepted.
    """
    number, typed_unit = split_unit(text)
    used = typed_unit or unit or kind.unit
    value = _convert(number, used, text, kind)
    plain = parse_number(number, whole=kind.whole, shown=kind.shown)
    return value, f"{plain:g} {used}"


def _convert(number: str, unit: str, text: str, kind: Kind) -> float:
    factor = kind.factors.get(unit)
    if factor is None:
        raise UnitError(
            f"{text!r} is not {kind.named.lower()}: the unit {unit!r} is not one of "
            f"{kind.accepted()}.",
            mend=f"Write it like {kind.shown}.",
        )
    value = parse_number(number, whole=kind.whole, shown=kind.shown) * factor
    if not math.isfinite(value):
        raise UnitError(
            f"{text[:40]!r}... is too large to be {kind.named.lower()}.",
            mend=f"Write it like {kind.shown}.",
        )
    return value


def in_unit(value: float, kind: Kind, unit: str) -> float:
    """Convert an internal value to ``unit`` for display."""
    return value / kind.factors[unit]


def deg(value: float) -> str:
    """Write an angle as fine as it means: tenths of a degree, never "-0.0"."""
    return f"{_no_minus_zero(value, 1):.1f} deg"


def mm(value: float) -> str:
    """Write a length in tenths of a millimetre, never "-0.0"."""
    return f"{_no_minus_zero(value, 1):.1f} mm"


def us(value: float) -> str:
    """Write a pulse width in whole microseconds."""
    return f"{round(value)} us"


def rounded_up(value: float, places: int) -> str:
    """Write an uncertainty rounded up, so that it never looks better than it is."""
    scale = 10.0**places
    return f"{math.ceil(value * scale) / scale:.{places}f}"


def _no_minus_zero(value: float, places: int) -> float:
    return round(value, places) + 0.0
