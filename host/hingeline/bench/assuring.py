"""Showing boards that the host is there while something else takes its time."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def assured(beat: Callable[[], object], every_s: float) -> Iterator[None]:
    """Call ``beat`` in a thread of its own; what it raises is raised at the end.

    Parameters
    ----------
    beat : callable
        Shows one board or several that the host is there.
    every_s : float
        How often, in seconds.
    """
    done = threading.Event()
    failure: list[Exception] = []

    def assure() -> None:
        while not done.wait(every_s):
            try:
                beat()
            except Exception as error:  # whatever it is, it belongs to whoever waits
                failure.append(error)
                return

    beats = threading.Thread(target=assure, name="beats", daemon=True)
    beats.start()
    try:
        yield
    finally:
        done.set()
        beats.join()
    if failure:
        raise failure[0]
