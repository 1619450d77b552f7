"""Invented models for tests, built from the same words as a model file."""

from __future__ import annotations

from typing import Any

import msgspec

from hingeline.model import checks, values
from hingeline.model.schema import Model, Surface

SERVO = {
    "spline_teeth": 25,
    "pulse_class": "standard",
    "centre": "1500 us",
    "pulse_limits": ["900 us", "2100 us"],
    "rate": "0.09 deg/us",
    "turns": "ccw",
}
AILERON = {
    "name": "left aileron",
    "kind": "aileron",
    "side": "left",
    "servo": "A1",
    "channel": 1,
    "throws": {"up": "15 deg", "down": "11 deg"},
    "free_travel": {"up": "30 deg", "down": "30 deg"},
    "chord": "45 mm",
    "mount": {"ahead": "70 mm", "spindle": "along+", "arm_points": "off"},
    "arm": {"holes": ["6.4 mm", "9 mm", "11.5 mm"], "hole": 1},
    "horn": {"side": "bottom", "holes": ["12 mm", "15.5 mm", "19 mm"], "hole": 3},
    "rod": {"diameter": "1.2 mm", "material": "steel", "play": "0.1 mm"},
}


def servo(**changes: Any) -> dict[str, Any]:
    """Return a [servos] table."""
    return {**SERVO, **changes}


def surface(**changes: Any) -> dict[str, Any]:
    """Return a [[surfaces]] table: the left aileron, changed; tables are changed key by key."""
    made: dict[str, Any] = {**AILERON}
    for key, value in changes.items():
        old = made.get(key)
        merge = isinstance(old, dict) and isinstance(value, dict) and key in _TABLES
        made[key] = {**old, **value} if merge else value
    return made


_TABLES = ("mount", "arm", "horn", "rod")


def model(
    *surfaces: dict[str, Any],
    servos: dict[str, dict[str, Any]] | None = None,
    pairs: list[dict[str, str]] | None = None,
) -> Model:
    """Return a checked model; every servo that is named by no table is a common one."""
    known = {table["servo"]: servo() for table in surfaces}
    raw = {
        "model": {"name": "Fenwick"},
        "servos": {**known, **(servos or {})},
        "surfaces": list(surfaces),
        "pairs": pairs or [],
    }
    made = msgspec.convert(raw, Model, dec_hook=values.decode)
    assert [problem.message for problem in checks.problems(made)] == []
    return made


def one(**changes: Any) -> tuple[Surface, Any]:
    """Return one surface of its own model, and its servo."""
    made = model(surface(**changes))
    return made.surfaces[0], made.servo_of(made.surfaces[0])


def aileron_pair(
    *, right: dict[str, Any] | None = None, servos: dict[str, dict[str, Any]] | None = None
) -> Model:
    """Return a model with a pair of ailerons; ``right`` changes the right one."""
    other = {"name": "right aileron", "side": "right", "servo": "A2", "channel": 2}
    pair = {"left": "left aileron", "right": "right aileron", "moves": "opposite"}
    return model(surface(), surface(**{**other, **(right or {})}), servos=servos, pairs=[pair])
