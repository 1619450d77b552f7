"""A stand-in that also watches, listens, and takes the rod off when it is asked to."""

from __future__ import annotations

from hingeline.bench.asking import Question
from hingeline.bench.choices import Choice
from hingeline.bench.levelling import FALLS, RISES
from hingeline.bench.procedures.binding import BUZZING, OFF, ON, QUIET
from hingeline.bench.procedures.deadband import MOVED, STILL
from hingeline.bench.simulated.standin import StandIn
from hingeline.model.words import directions, sign_of


class Listener(StandIn):
    """Answers choices by what is seen and heard of the modelled servos."""

    def shown(self, question: Question) -> float:
        """Return what the gauge shows; a level whose zero is asked for, what it shows there."""
        gauge = question.gauge
        if gauge.kind != "level" or gauge.zero is not None:
            return super().shown(question)
        step = gauge.resolution
        return float(round(self._stations[question.channel].level.shown_deg / step) * step)

    def pick(self, choice: Choice) -> str:
        """Return the word that is true."""
        word = self.seen(choice)
        self._show(f"{choice.text}: {word}")
        return word

    def seen(self, choice: Choice) -> str:
        """Return the true word, and do what a choice asks for."""
        station = self._stations[choice.channel]
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
