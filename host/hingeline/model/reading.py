"""The strict reader: text of a model file in, a checked :class:`Model` out."""

from __future__ import annotations

import difflib
import re
import sys
from pathlib import Path
from typing import Any, Literal, get_args, get_origin, get_type_hints

import msgspec

from hingeline.errors import HingelineError, ModelError
from hingeline.model import checks, values
from hingeline.model.schema import Model

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

_LARGEST_FILE = 1_000_000  # bytes; a model of a hundred surfaces takes about 100 kB


def read_model(path: Path) -> Model:
    """Read and check a model file.

    Raises
    ------
    ModelError
        Naming the file, the place in it, the value, the limit and the next step.
    """
    return parse_model(read_text(path), source=str(path))


def read_text(path: Path) -> str:
    """Read the text of a model file, unchecked.

    Raises
    ------
    ModelError
        When there is no such file, or it is no text of a sensible size.
    """
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise ModelError(
            f"{path}: there is no such file.",
            mend=f"Check the name, or write a commented one with: hingeline new {path}",
        ) from None
    except OSError as error:
        raise ModelError(
            f"{path}: cannot be read ({error.strerror}).", mend="Check the name."
        ) from None
    if len(data) > _LARGEST_FILE:
        raise ModelError(
            f"{path}: {len(data)} bytes is more than a model file may have ({_LARGEST_FILE}).",
            mend="Check that this is the model file.",
        )
    try:
        # Some editors put a mark before the text, which says no more than that it is UTF-8.
        return data.decode("utf-8").removeprefix("\ufeff")
    except UnicodeDecodeError as error:
        raise ModelError(
            f"{path}: byte {error.start} is not UTF-8 text.", mend="Save the file as UTF-8."
        ) from None


def parse_model(text: str, *, source: str) -> Model:
    """Read a model from text; ``source`` names it in errors.

    Raises
    ------
    ModelError
        As for :func:`read_model`.
    """
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ModelError(
            f"{source}: not valid TOML: {error}.",
            mend="Mend the line named; text values stand in double quotes.",
        ) from None
    except RecursionError:
        raise ModelError(
            f"{source}: not valid TOML: nested too deeply.",
            mend="Check that this is the model file.",
        ) from None
    try:
        model: Model = msgspec.convert(raw, Model, dec_hook=values.decode)
    except msgspec.ValidationError as error:
        raise _explain(error, raw, source) from None
    for problem in checks.problems(model):
        raise ModelError(
            f"{source}: {_name_place(problem.place, raw)}: {problem.message}",
            cause=problem.cause,
            mend=problem.mend,
        )
    return model


_AT = re.compile(r"^(?P<what>.*?)(?: - at `(?P<path>\$[^`]*)`)?$", re.DOTALL)
_STEP = re.compile(r"\.([^.\[\]]+)|\[(\d+|\.\.\.)\]")


def _explain(error: msgspec.ValidationError, raw: dict[str, Any], source: str) -> ModelError:
    """Say a validation error in the file's own words: place, value, limit, next step."""
    match = _AT.match(str(error))
    assert match is not None  # noqa: S101  (the pattern matches any text)
    what, path = match["what"], match["path"] or "$"
    keys = _keys(path, raw)
    place = _name_place(keys, raw)
    own = error.__cause__
    if isinstance(own, HingelineError):
        return ModelError(f"{source}: {place}: {own.message}", cause=own.cause, mend=own.mend)
    if found := re.search(r"missing required field `([^`]+)`", what):
        return ModelError(
            f"{source}: {place}: the key {found[1]!r} is missing.",
            mend="Add it; `hingeline new` writes an example of every key with its meaning.",
        )
    if found := re.search(r"unknown field `([^`]+)`", what):
        known = _known_keys(keys)
        close = difflib.get_close_matches(found[1], known, n=1)
        hint = f"Did you mean {close[0]!r}?" if close else f"Known keys here: {', '.join(known)}."
        return ModelError(
            f"{source}: {place}: there is no key {found[1]!r} here.",
            mend=f"{hint} Remove it or correct its name.",
        )
    value = _value_at(keys, raw)
    choices = _choices(_type_at(keys))
    if choices:
        return ModelError(
            f"{source}: {place}: {_shown(value)} cannot stand here.",
            mend=f"Write one of: {', '.join(choices)}.",
        )
    return ModelError(
        f"{source}: {place}: {_shown(value)} cannot stand here. {what}.",
        mend="Correct the value; `hingeline new` writes an example of every key.",
    )


def _shown(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _keys(path: str, raw: dict[str, Any]) -> list[str | int]:
    """Turn ``$.surfaces[0].arm`` into keys; a dict's value is reported as ``[...]``."""
    keys: list[str | int] = []
    for name, index in _STEP.findall(path):
        if name:
            keys.append(name)
        elif index != "...":
            keys.append(int(index))
        else:
            table = _value_at(keys, raw)
            # msgspec does not name the key of a mapping: find the first entry that fails.
            keys.append(_failing_entry(keys, table))
    return keys


def _failing_entry(keys: list[str | int], table: Any) -> str:
    expected = _type_at(keys)
    if isinstance(table, dict) and expected is not None:
        entry_type = get_args(expected)[1]
        for key, entry in table.items():
            try:
                msgspec.convert(entry, entry_type, dec_hook=values.decode)
            except msgspec.ValidationError:
                return str(key)
    return "..."


def _type_at(keys: list[str | int]) -> Any:
    """Return the annotated type at a place in the file, None when there is none."""
    here: Any = Model
    for key in keys:
        if isinstance(key, int):
            here = get_args(here)[0] if get_args(here) else None
        elif get_origin(here) is dict:
            here = get_args(here)[1]
        elif isinstance(here, type) and issubclass(here, msgspec.Struct):
            names = {field.encode_name: field.name for field in msgspec.structs.fields(here)}
            if key not in names:
                return None
            here = get_type_hints(here)[names[key]]
        else:
            return None
    return here


def _choices(wanted: Any) -> list[str]:
    """Return the words of a Literal, also of one that may be left out."""
    if get_origin(wanted) is Literal:
        return [repr(choice) for choice in get_args(wanted)]
    return [choice for part in get_args(wanted) for choice in _choices(part)]


def _known_keys(keys: list[str | int]) -> list[str]:
    here = _type_at(keys)
    if isinstance(here, type) and issubclass(here, msgspec.Struct):
        return [field.encode_name for field in msgspec.structs.fields(here)]
    return []


def _value_at(keys: list[str | int], raw: Any) -> Any:
    here = raw
    for key in keys:
        try:
            here = here[key]
        except (KeyError, IndexError, TypeError):
            return None
    return here


def _name_place(keys: list[str | int], raw: dict[str, Any]) -> str:
    """Write a place as a person finds it: ``surfaces[2] "left aileron".arm.holes[1]``.

    Tables of a list are counted from 1 and named; ``keys`` count from 0.
    """
    text = ""
    for depth, key in enumerate(keys):
        if isinstance(key, int):
            text += f"[{key + 1}]"
            entry = _value_at(keys[: depth + 1], raw)
            name = entry.get("name") if isinstance(entry, dict) else None
            if isinstance(name, str):
                text += f' "{name[:40]}"'
        else:
            text += f".{key}" if text else str(key)
    return text or "the file"
