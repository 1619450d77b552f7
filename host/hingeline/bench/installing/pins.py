"""A user's own list of pins, checked as far as it can be without the board."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from hingeline.errors import BenchError
from shared_protocol.table import CHANNELS

#: Keys of the list, and what each may be.
KEYS = {
    "gpios": f"a list of at most {CHANNELS} pin numbers, channel 1 first",
    "button": "a pin number or null",
    "light": 'a pin number, "LED" or null',
    "knob": "a pin number or null",
    "rail": "a pin number or null",
    "probe": "a pin number or null",
}


def read_pins(path: Path) -> bytes:
    """Return the contents of a list of pins.

    Raises
    ------
    BenchError
        When it cannot be read, is no such list, or names a pin twice.
    """
    try:
        data = path.read_bytes()
        pins = json.loads(data)
    except OSError as error:
        raise BenchError(f"{path}: cannot be read ({error.strerror}).") from None
    except ValueError as error:
        raise _wrong(path, f"is not JSON ({error})") from None
    if not isinstance(pins, dict):
        raise _wrong(path, "is not a JSON object")
    for key, value in pins.items():
        if key not in KEYS:
            raise _wrong(path, f"has a key {key!r}; there are: {', '.join(KEYS)}")
        if not _suits(key, value):
            raise _wrong(path, f"{key} is {json.dumps(value)}, not {KEYS[key]}")
    used = [*pins.get("gpios", []), *(pins[key] for key in pins if key != "gpios")]
    twice = sorted({pin for pin in used if isinstance(pin, int) and used.count(pin) > 1})
    if twice:
        raise _wrong(path, f"uses pin {twice[0]} twice")
    return data


def _suits(key: str, value: Any) -> bool:
    if key == "gpios":
        return (
            isinstance(value, list)
            and len(value) <= CHANNELS
            and all(_is_pin(one) for one in value)
        )
    return value is None or _is_pin(value) or (key == "light" and value == "LED")


def _is_pin(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= 99


def _wrong(path: Path, what: str) -> BenchError:
    return BenchError(
        f"{path}: {what}.",
        mend='A list of pins looks like: {"gpios": [0, 1, 2, 3], "button": 22, "light": "LED"}',
    )
