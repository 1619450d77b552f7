"""A stand-in that also watches, listens, and takes the rod off when it is asked to."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from hingeline.bench.asking import Question
from hingeline.bench.choices import Choice
from hingeline.bench.levelling import FALLS, RISES
from hingeline.bench.procedures.binding import BUZZING, OFF, ON, QUIET
from hingeline.bench.procedures.deadband import MOVED, STILL
from hingeline.bench.simulated.standin import StandIn
from hingeline.bench.simulated.station import Station
from hingeline.model.words import directions, sign_of


class Listener(StandIn):
    """Answers choices by what is seen and heard of the modelled servos.

    Parameters
    ----------
    stations, seed, show
        As for `StandIn`.
    """

    def __init__(
        self,
        stations: Mapping[int, Station],
        seed: int,
        show: Callable[[str], None] = lambda _text: None,
    ) -> None:
        super().__init__(stations, seed, show)
        self._at = stations
        self._say = show

    def shown(self, question: Question) -> float:
        """Return what the gauge shows; a level whose zero is asked for, what it shows there."""
        gauge = question.gauge
        if gauge.kind != "level" or gauge.zero is not None:
            return super().shown(question)
        step = gauge.resolution
        return float(round(self._at[question.channel].level.shown_deg / step) * step)

    def pick(self, choice: Choice) -> str:
        """Return the word that is true."""
        word = self.seen(choice)
        self._say(f"{choice.text}: {word}")
        return word

    def seen(self, choice: Choice) -> str:
        """Return the true word, and do what a choice asks for."""
        station = self._at[choice.channel]
        if MOVED in choice.words:
            return MOVED if station.senses.saw_movement() else STILL
        if BUZZING in choice.words:
            return BUZZING if station.senses.heard_buzzing() else QUIET
        if choice.words == (RISES, FALLS) and station.surface is not None:
            first = directions(station.surface)[0]
            return RISES if sign_of(station.surface, first) == station.level.sense else FALLS
        if choice.words in ((OFF,), (ON,)):
            station.rod_on = choice.words == (ON,)
            return choice.words[0]
        raise ValueError(f"a stand-in cannot know: {choice.text}")
