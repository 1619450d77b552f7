"""What a model file says of a servo, as it is kept in the records."""

from __future__ import annotations

from typing import Any

import msgspec

from hingeline.model.schema import Servo


def makers_figures(servo: Servo) -> dict[str, Any]:
    """Return a servo's figures as plain JSON types, under the names of the schema."""
    return {name: _plain(value) for name, value in msgspec.structs.asdict(servo).items()}


def _plain(value: Any) -> Any:
    # A quantity is a number that knows its unit; JSON's readers need not.
    for number in (bool, int, float):
        if isinstance(value, number):
            return number(value)
    if isinstance(value, (list, tuple)):
        return [_plain(one) for one in value]
    return value
