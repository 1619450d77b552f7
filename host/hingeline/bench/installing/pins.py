"""A user's own list of pins, checked as far as it can be without the board.

Whether the pins exist and get on with each other depends on the chip: that the board itself says,
by the firmware's own rules, before it is started.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from hingeline.errors import BenchError
from shared_protocol.table import CHANNELS

MOST_BITS = 20
#: Keys of the list, and what each may be. A test holds them equal to the firmware's.
KEYS = {
    "gpios": f"a list of 1 to {CHANNELS} pin numbers, channel 1 first",
    "button": "a pin number or null",
    "light": 'a pin number, a name such as "LED", or null',
    "knob": "a pin number or null",
    "rail": "a pin number or null",
    "probe": "a pin number or null",
    "bits": f"a whole number from 0 to {MOST_BITS}",
}
#: What a board reads of its list at most; a test holds it equal to the firmware's figure.
MOST_BYTES = 1000
#: Pins of an RP2 chip repeat their pulse outputs after so many: RP2040 datasheet, section 4.5.2.
_RP2_OUTPUTS = 16


def read_pins(path: Path) -> bytes:
    """Return a list of pins as it is put on a board: without blanks.

    Raises
    ------
    BenchError
        When it cannot be read, is no such list, or names a pin twice.
    """
    try:
        pins = json.loads(path.read_bytes(), object_pairs_hook=_once_each)
    except OSError as error:
        raise BenchError(
            f"{path}: cannot be read ({error.strerror}).",
            mend="Name a file that is there; hardware/README.md shows what stands in it.",
        ) from None
    except ValueError as error:
        raise _wrong(path, f"is not JSON ({error})") from None
    if not isinstance(pins, dict):
        raise _wrong(path, "is not a JSON object")
    for key, value in pins.items():
        if key not in KEYS:
            raise _wrong(path, f"has a key {key!r}; there are: {', '.join(KEYS)}")
        if not _suits(key, value):
            raise _wrong(path, f"{key} is {json.dumps(value)[:60]}, not {KEYS[key]}")
    others = [pins[key] for key in pins if key not in ("gpios", "bits")]
    used = [*pins.get("gpios", []), *others]
    twice = sorted({pin for pin in used if isinstance(pin, int) and used.count(pin) > 1})
    if twice:
        raise _wrong(path, f"uses pin {twice[0]} twice")
    data = json.dumps(pins, separators=(",", ":")).encode("ascii")
    if len(data) > MOST_BYTES:
        raise _wrong(path, f"has {len(data)} bytes without its blanks; a board reads {MOST_BYTES}")
    return data


def same_output_on_rp2(data: bytes) -> str:
    """Say which servo pins would be one pulse output on an RP2 chip; empty when none would.

    Parameters
    ----------
    data : bytes
        From :func:`read_pins`.
    """
    gpios: Sequence[int] = json.loads(data).get("gpios", [])
    for index, gpio in enumerate(gpios):
        for other in gpios[:index]:
            if gpio % _RP2_OUTPUTS == other % _RP2_OUTPUTS:
                return (
                    f"GP{other} and GP{gpio} are the same pulse output on an RP2040 or RP2350: "
                    "such a board will not start its channels with this list."
                )
    return ""


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise ValueError(f"it has {twice!r} twice")
    return found


def _suits(key: str, value: Any) -> bool:
    if key == "gpios":
        return (
            isinstance(value, list)
            and 1 <= len(value) <= CHANNELS
            and all(_is_number(one) for one in value)
        )
    if key == "bits":
        return _is_number(value) and value <= MOST_BITS
    if key == "light" and isinstance(value, str):
        return value != ""
    return value is None or _is_number(value)


def _is_number(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= 99


def _wrong(path: Path, what: str) -> BenchError:
    return BenchError(
        f"{path}: {what}.",
        mend='A list of pins looks like: {"gpios": [0, 1, 2, 3], "button": 22, "light": "LED"}',
    )
