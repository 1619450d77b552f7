"""Writing a new model file: a commented example to be overwritten with real measurements."""

from __future__ import annotations

import json
from importlib import resources
from pathlib import Path

from hingeline import newfile
from hingeline.errors import ModelError

_EXAMPLE_NAME = 'name = "Millrace"'


def example_text() -> str:
    """Return the commented model file of the invented trainer "Millrace"."""
    return resources.files("hingeline.model").joinpath("millrace.toml").read_text("utf-8")


def new_text(name: str) -> str:
    """Return the commented example under another model name.

    Raises
    ------
    ModelError
        For an empty name, or one with control characters.
    """
    if not name.strip() or not name.isprintable():
        raise ModelError(
            f"{name!r} cannot be a model's name.", mend="Use printable characters, at least one."
        )
    # A JSON string without escapes of its own kind is a valid TOML basic string.
    quoted = json.dumps(name, ensure_ascii=False)
    return example_text().replace(_EXAMPLE_NAME, f"name = {quoted}", 1)


def write_new(path: Path, name: str) -> None:
    """Write a new commented model file; an existing file is never overwritten.

    Raises
    ------
    ModelError
        When the file exists or cannot be written.
    """
    newfile.write_new(path, new_text(name), ModelError)
