"""Typing with the arrow keys and Tab, where Python has readline: never on Windows."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Sequence
from typing import Any

import click

from hingeline.cli.output import lively

#: What is asked of readline, in its own words: complete with Tab, and only ever write what
#: is shown. By itself it would wrap each question in escape sequences.
_SETTINGS = (
    "tab: complete",
    "set enable-bracketed-paste off",
    "set enable-meta-key off",
    "set bell-style none",
)
_LIBEDIT_SETTINGS = ("bind ^I rl_complete",)


def possible() -> bool:
    """Return whether typed lines can be edited: keyboard and screen are one terminal."""
    return sys.stdin.isatty() and sys.stdout.isatty() and lively() and _readline() is not None


def typed(prompt: str, words: Sequence[str]) -> str:
    """Let a line be typed and edited, and return it; the last ones come back with Arrow Up.

    Parameters
    ----------
    prompt : str
        The question, on stdout: readline has to know what stands before the cursor.
    words : sequence of str
        What Tab completes.

    Raises
    ------
    click.Abort
        At Ctrl-C and at the end of input.
    """
    readline = _readline()

    def complete(text: str, place: int) -> str | None:
        # Whoever has typed "UP" has begun it, too.
        found = [word for word in words if word.startswith(text.lower())]
        return found[place] if place < len(found) else None

    readline.set_completer(complete)
    readline.set_completer_delims(" ")
    try:
        return input(prompt)
    except (KeyboardInterrupt, EOFError):
        raise click.Abort from None
    finally:
        readline.set_completer(None)


def _readline() -> Any:
    """Return the module, made ready; None where there is none. It keeps nothing on disk."""
    try:
        # By its name: it is wanted at a terminal only, and checkers on Windows know none.
        readline = importlib.import_module("readline")
    except ImportError:
        return None
    backend = getattr(readline, "backend", None)  # since Python 3.13
    libedit = backend == "editline" or "libedit" in (readline.__doc__ or "")
    for setting in _LIBEDIT_SETTINGS if libedit else _SETTINGS:
        readline.parse_and_bind(setting)
    return readline
