"""A stand-in for the builder at the simulated bench: reads the gauge and types."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from hingeline.bench.asking import Question
from hingeline.bench.simulated.station import Station


class StandIn:
    """Answers questions by reading the modelled gauge, to its resolution, as people type.

    Parameters
    ----------
    stations : mapping of int to Station
        What stands on each channel.
    seed : int
        For the way in which numbers are typed.
    show : callable
        Takes each line that a person would see; default: nobody looks.
    """

    def __init__(
        self,
        stations: Mapping[int, Station],
        seed: int,
        show: Callable[[str], None] = lambda _text: None,
    ) -> None:
        self._stations = stations
        self._rng = np.random.default_rng([seed, 1])
        self._show = show

    def ask(self, question: Question) -> str:
        """Return what a careful builder would type."""
        typed = self._typed(question, self.shown(question))
        self._show(f"{question.text}: {typed}")
        return typed

    def shown(self, question: Question) -> float:
        """Return what the gauge shows: the truth, rounded to its resolution."""
        step = question.gauge.resolution
        truth = self._stations[question.channel].shown(question.gauge.kind)
        return float(round(truth / step) * step)

    def tell(self, text: str) -> None:
        """Look at a line."""
        self._show(text)

    def pause(self, text: str) -> None:
        """Be ready at once."""
        self._show(text)

    def agree(self, text: str) -> bool:
        """Say no: whatever may be asked about, no modelled servo does it."""
        self._show(f"{text} no")
        return False

    def _typed(self, question: Question, value: float) -> str:
        if question.signed:
            number = plain_number(value)
        elif value == 0:
            return "0"
        else:
            word = next(w for w, sign in question.signs.items() if sign * value > 0)
            number = plain_number(abs(value))
            number = f"{word} {number}" if self._rng.random() < 0.7 else f"{number} {word}"
        # Half of the world types a decimal comma.
        return number.replace(".", ",") if self._rng.random() < 0.3 else number


def plain_number(value: float) -> str:
    """Write all digits that a gauge can show and no exponent, which nobody types."""
    return f"{value:.9f}".rstrip("0").rstrip(".")
