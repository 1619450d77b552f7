"""Guided runs in tests: a truthful stand-in that may be told what to type, and how to run one."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any
from unittest.mock import patch

from hingeline.bench.asking import Question
from hingeline.bench.choices import Choice
from hingeline.bench.simulated.listener import Listener
from hingeline.bench.simulated.station import Station
from hingeline.chord import throw_mm
from hingeline.cli import rig
from hingeline.linkage.closure import Linkage
from hingeline.linkage.mounting import ahead_sense, lean_deg, mounted
from hingeline.linkage.slop import surface_slop
from hingeline.model.reading import parse_model
from hingeline.model.words import word_of
from hingeline.model.writing import example_text

MODEL = parse_model(example_text(), source="example")
SURFACES = tuple(surface.name for surface in MODEL.surfaces)
#: More than any run asks.
MOST = 400
#: What is answered whenever it is asked.
PLAIN = {
    "leads": "seen",
    "class": "listed",
    "arms off": "off",
    "travel": "quick",
    "holes": "fitted",
    "screws": "done",
    "signoff": "Ada Moss",
    "mend": "1",
    "doing": "done",
    "reason": "good enough",
    "broken off": "stop",
}


class Truthful(Listener):
    """Tells what is true of the stations, and types what it was told to instead.

    Attributes
    ----------
    script : dict
        For a topic and a surface (or a topic alone): what to type first, in order.
    prompts : list of (str, str)
        Topic and surface of everything asked so far.
    lines : list of str
        Everything shown.
    """

    def __init__(
        self,
        stations: dict[int, Station],
        seed: int,
        script: Mapping[Any, list[str]] | None = None,
        before: Callable[[str, str], None] = lambda _topic, _surface: None,
    ) -> None:
        self.lines: list[str] = []
        super().__init__(stations, seed, show=self.lines.append)
        self.script = {key: list(typed) for key, typed in (script or {}).items()}
        self.prompts: list[tuple[str, str]] = []
        self._before = before

    def ask(self, question: Question) -> str:
        told = self._told(question)
        typed = self._true(question) if told is None else told
        self._show(f"{question.text}: {typed}")
        return typed

    def pick(self, choice: Choice) -> str:
        told = self._told(choice)
        typed = self._seen(choice) if told is None else told
        self._show(f"{choice.text}: {typed}")
        return typed

    def _told(self, asked: Question | Choice) -> str | None:
        surface = str(asked.detail.get("surface", ""))
        self.prompts.append((asked.topic, surface))
        assert len(self.prompts) < MOST, f"it asks for ever: {asked}"
        self._before(asked.topic, surface)
        for key in ((asked.topic, surface), asked.topic):
            if self.script.get(key):
                return self.script[key].pop(0)
        return None

    def _true(self, question: Question) -> str:
        station = self._stations[question.channel]
        surface = station.surface
        if question.topic == "seat" and surface is not None:
            servo = MODEL.servo_of(surface)
            turned = ahead_sense(mounted(surface, servo)) * station.servo.rest_deg
            return _worded(question, lean_deg(surface, servo) + turned)
        if question.topic == "bare" and surface is not None:
            word = question.detail["word"]
            end = max(question.signs[word] * one for one in station.free_deg)
            kind = question.gauge.kind
            mm = kind in ("drop", "straight")
            size = throw_mm(end, surface.chord_mm, kind) if mm else end  # type: ignore[arg-type]
            return f"{int(size / question.gauge.resolution) * question.gauge.resolution:g}"
        if question.topic == "set-back" and surface is not None:
            return _worded(question, surface.horn.set_back_mm)
        if question.topic == "slop" and surface is not None and station.linkage is not None:
            found = surface_slop(surface, MODEL.servo_of(surface), station.linkage, -0.1, 0.1)
            return f"{round(found.neutral.total_deg * 2.0) / 2.0:g}"
        return self._typed(question, self.shown(question))

    def _seen(self, choice: Choice) -> str:
        station = self._stations[choice.channel]
        if choice.topic == "which servo" and station.surface is not None:
            return station.surface.servo
        if choice.topic == "direction" and station.surface is not None:
            if abs(station.surface_deg) < 0.5:
                return "still"
            return word_of(station.surface, station.surface_deg)
        if choice.topic in ("arm hole", "horn hole") and station.surface is not None:
            part = getattr(station.surface, choice.topic.split()[0])
            return str(part.hole)
        if choice.topic == "doing":
            self._do(choice)
        if choice.topic in PLAIN:
            return PLAIN[choice.topic]
        return self.seen(choice)

    def _do(self, choice: Choice) -> None:
        station = self._stations[choice.channel]
        name = choice.detail["name"]
        if name == "rod" and station.linkage is not None:
            old = station.linkage
            longer = old.length_mm + choice.detail["by_mm"]
            station.linkage = Linkage(old.arm, old.horn, longer)
            station._solved = (float("nan"), float("nan"))
        elif name == "swap leads":
            one, other = choice.detail["channels"]
            exchange(self._stations, one, other)


def exchange(stations: Any, one: int, other: int) -> None:
    """Exchange the plugs of two channels."""
    stations[one], stations[other] = stations[other], stations[one]


def _worded(question: Question, value: float) -> str:
    step = question.gauge.resolution
    size = round(value / step) * step
    word = next((word for word, sign in question.signs.items() if sign * size > 0), "")
    return f"{word} {abs(size):g}".strip()


class Played:
    """A guided run that was played.

    Attributes
    ----------
    code : int or None
        What the command returned; None when it ended with an error.
    error : Exception or None
        The error.
    askers : list of Truthful
        Who stood in, one for each time that the bench was opened.
    """

    def __init__(self) -> None:
        self.code: int | None = None
        self.error: Exception | None = None
        self.askers: list[Truthful] = []

    @property
    def lines(self) -> list[str]:
        """Everything shown by whoever stood in."""
        return [line for asker in self.askers for line in asker.lines]

    @property
    def prompts(self) -> list[tuple[str, str]]:
        """Topic and surface of everything asked."""
        return [prompt for asker in self.askers for prompt in asker.prompts]

    @property
    def talk(self) -> str:
        """Everything shown, on one line."""
        return " ".join(self.lines)


def play(
    *arguments: str,
    script: Mapping[Any, list[str]] | None = None,
    build: Callable[[dict[int, Station]], None] = lambda _stations: None,
    before: Callable[[str, str], None] = lambda _topic, _surface: None,
) -> Played:
    """Run ``hingeline rig millrace.toml`` on the simulated bench, as the command does.

    Parameters
    ----------
    arguments : str
        Added to the command line.
    script : mapping, optional
        As for `Truthful`.
    build : callable
        Changes what stands on the channels.
    before : callable
        Called with topic and surface before each answer.
    """
    played = Played()

    def stand_in(stations: dict[int, Station], seed: int) -> Truthful:
        build(stations)
        played.askers.append(Truthful(stations, seed, script, before))
        return played.askers[-1]

    line = ["millrace.toml", "--port", "sim:", "--yes", *arguments]
    with patch.object(rig, "Work", partial(rig.Work, asker=stand_in)):
        try:
            played.code = rig.command.main(args=line, standalone_mode=False)
        except Exception as error:  # for the test to look at
            played.error = error
    return played
