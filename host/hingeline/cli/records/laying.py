"""Figures of any kind laid out for people, under the names that they have in the records."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from hingeline.cli.output import table, wrapped


def laid(figures: Mapping[str, Any]) -> Iterator[str]:
    """Lay figures out: what stands alone in one paragraph, rows of like figures as a table.

    Parameters
    ----------
    figures : dict
        As kept in the records, plain JSON types.
    """
    alone = {key: value for key, value in figures.items() if not _is_rows(value)}
    if alone:
        yield wrapped("; ".join(f"{key} {_said(value)}" for key, value in alone.items()))
    for key, rows in figures.items():
        if not _is_rows(rows):
            continue
        yield f"{key}:"
        names = list(dict.fromkeys(name for row in rows for name in row))
        numbers = [
            all(isinstance(row.get(name, 0), (int, float)) for row in rows) for name in names
        ]
        headings = [
            f">{name}" if number else name for name, number in zip(names, numbers, strict=True)
        ]
        cells = [[_said(row[name]) if name in row else "" for name in names] for row in rows]
        yield from (f"  {line}" for line in table(headings, cells).splitlines())


def _is_rows(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(row, dict) for row in value)


def _said(value: Any) -> str:
    if value is None:
        return "-"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.4g}" if abs(value) < 1000 else f"{value:.0f}"
    if isinstance(value, list):
        return ", ".join(map(_said, value)) or "none"
    if isinstance(value, dict):
        return ", ".join(f"{key} {_said(inner)}" for key, inner in value.items()) or "none"
    return str(value)
