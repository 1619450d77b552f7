"""What a model file says of a servo, as it is kept in the records."""

from __future__ import annotations

from typing import Any

import msgspec

from hingeline.model.schema import Servo


def makers_figures(servo: Servo) -> dict[str, Any]:
    """Return a servo's figures as plain JSON types, under the names of the schema."""
    return {name: _plain(value) for name, value in msgspec.structs.asdict(servo).items()}


def _plain(value: Any) -> Any:
    # A quantity is a float that knows its unit; JSON's readers need not.
    if isinstance(value, float):
        return float(value)
    if isinstance(value, (list, tuple)):
        return [_plain(one) for one in value]
    return value
