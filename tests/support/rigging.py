"""Guided runs in tests: a truthful builder who may be told what to type, and how to run one."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any
from unittest.mock import patch

from hingeline.bench.asking import Question
from hingeline.bench.choices import Choice
from hingeline.bench.simulated.builder import Builder
from hingeline.bench.simulated.station import Station, well_built
from hingeline.cli import standing
from hingeline.cli.entry import hingeline
from hingeline.errors import HingelineError
from hingeline.model.reading import parse_model
from hingeline.model.schema import Model
from hingeline.model.writing import example_text

MODEL = parse_model(example_text(), source="example")
SURFACES = tuple(surface.name for surface in MODEL.surfaces)
#: More than any run asks.
MOST = 400


class Told(Builder):
    """A builder who types what he is told to, and else what is true.

    Parameters
    ----------
    stations, seed
        As for `Builder`.
    script : mapping
        For a topic and a surface, or a topic alone: what to type first, in order.
    before : callable
        Called with topic and surface before each answer.
    """

    def __init__(
        self,
        stations: dict[int, Station],
        seed: int,
        script: Mapping[Any, list[str]],
        before: Callable[[str, str], None],
    ) -> None:
        #: Everything shown.
        self.lines: list[str] = []
        super().__init__(stations, seed, self.lines.append)
        self._script = {key: list(typed) for key, typed in script.items()}
        self._before = before
        #: Topic and surface of everything asked so far.
        self.asked: list[tuple[str, str]] = []

    def ask(self, question: Question) -> str:
        return self._told(question) or super().ask(question)

    def pick(self, choice: Choice) -> str:
        return self._told(choice) or super().pick(choice)

    def _told(self, asked: Question | Choice) -> str | None:
        surface = str(asked.detail.get("surface", ""))
        self.asked.append((asked.topic, surface))
        assert len(self.asked) < MOST, f"it asks for ever: {asked}"
        self._before(asked.topic, surface)
        for key in ((asked.topic, surface), asked.topic):
            if self._script.get(key):
                self._show(f"{asked.text}: {self._script[key][0]}")
                return self._script[key].pop(0)
        return None


class Played:
    """A guided run that was played.

    Attributes
    ----------
    code : int or None
        What the command returned; None when it ended with an error.
    error : HingelineError or None
        The error.
    builders : list of Told
        One for each time that the bench was opened.
    """

    def __init__(self) -> None:
        self.code: int | None = None
        self.error: HingelineError | None = None
        self.builders: list[Told] = []

    @property
    def lines(self) -> list[str]:
        """Everything that the builders were shown."""
        return [line for builder in self.builders for line in builder.lines]

    @property
    def prompts(self) -> list[tuple[str, str]]:
        """Topic and surface of everything asked."""
        return [prompt for builder in self.builders for prompt in builder.asked]

    @property
    def talk(self) -> str:
        """Everything shown, on one line."""
        return " ".join(self.lines)


def play(
    *arguments: str,
    script: Mapping[Any, list[str]] | None = None,
    build: Callable[[dict[int, Station]], None] = lambda _stations: None,
    before: Callable[[str, str], None] = lambda _topic, _surface: None,
    port: str = "sim:20",
) -> Played:
    """Run ``hingeline rig millrace.toml`` on the simulated bench, as the command does.

    Parameters
    ----------
    arguments : str
        Added to the command line.
    script, before
        As for `Told`.
    build : callable
        Changes what stands on the channels.
    port : str
        Chooses the servos.
    """
    played = Played()

    def stations(model: Model, seed: int) -> dict[int, Station]:
        there = well_built(model, seed)
        build(there)
        return there

    def builder(there: dict[int, Station], seed: int) -> Told:
        played.builders.append(Told(there, seed, script or {}, before))
        return played.builders[-1]

    line = ["millrace.toml", "--port", port, "--yes", *arguments]
    with patch.multiple(standing, builder=builder, sound=stations):
        try:
            played.code = hingeline.main(args=["rig", *line], standalone_mode=False)
        except HingelineError as error:  # for the test to look at
            played.error = error
    return played
