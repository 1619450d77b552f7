"""What every step of the guided run works with: model, board, prompts, what is known so far."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, Literal

from hingeline.bench.asking import Gauge
from hingeline.bench.boards import Boards
from hingeline.bench.procedures.channels import Channel, channel_of, go, in_use
from hingeline.bench.readings import reading_u_deg
from hingeline.bench.rigging.asbuilt import AsBuilt, as_built, trimmed
from hingeline.bench.rigging.keeping import Keeper, Row
from hingeline.bench.rigging.prompting import Prompter
from hingeline.model.schema import Model, Surface
from hingeline.rigging.progress import Progress
from hingeline.rigging.steps import Item
from hingeline.travel.curve import TravelCurve
from hingeline.travel.setting import Setting, setting_of


@dataclass(frozen=True)
class Result:
    """How a step ended.

    Attributes
    ----------
    outcome : {"done", "failed"}
        Whether what was found is as it should be.
    text : str
        What was found, in a sentence; may be empty.
    figures : mapping
        The same as plain JSON types.
    reopens : tuple of (str, str)
        Subject and step name of what has to be done again.
    """

    outcome: Literal["done", "failed"]
    text: str = ""
    figures: Mapping[str, Any] = field(default_factory=dict)
    reopens: tuple[tuple[str, str], ...] = ()


@dataclass
class Rig:
    """A model being rigged.

    Attributes
    ----------
    model : Model
        As its file says.
    surfaces : sequence of Surface
        Those that are rigged, as their file says.
    board : Boards
        Greeted, every channel off.
    prompter : Prompter
        Puts the prompts.
    keeper : Keeper
        Keeps and looks up.
    gauge : Gauge
        What the surfaces are read with.
    tolerance_deg : float
        By how much a throw may miss, and a pair differ.
    progress : Progress
        Where the checklist stands.
    prints : mapping
        For each item of the checklist, what tells whether its part of the file has changed.
    rows : list
        The rows of this rig, oldest first.
    boards : tuple of str
        Identities of the boards.
    calibration : str
        How servos are calibrated, once that is settled: "record", "quick", "usual" or "thorough".
    arms_off : bool
        Whether the arms were said to be off in this sitting, and none was fitted since.
    """

    model: Model
    surfaces: Sequence[Surface]
    board: Boards
    prompter: Prompter
    keeper: Keeper
    gauge: Gauge
    tolerance_deg: float
    progress: Progress
    prints: Mapping[tuple[str, str], str]
    rows: list[Row] = field(default_factory=list)
    boards: tuple[str, ...] = ()
    calibration: str = ""
    arms_off: bool = False

    def planned(self, name: str) -> Surface:
        """Return a surface as its file says."""
        return self.model.surface(name)

    def built(self, name: str) -> AsBuilt:
        """Return what is known of a surface besides what its file says."""
        return as_built(name, self.rows, AsBuilt(self.keeper.free_deg(name)))

    def surface(self, name: str) -> Surface:
        """Return a surface as it is known to be built by now."""
        return self.built(name).surface(self.planned(name))

    def curve(self, name: str) -> TravelCurve | None:
        """Return the curve of the servo that is fitted to a surface; None without one."""
        label = self.planned(name).servo
        if self.keeper.curve_number(label) in self.built(name).void:
            return None
        return self.keeper.curve(label)

    def setting(self, name: str) -> Setting:
        """Return a surface with its servo's curve, by all that is known by now."""
        built = self.built(name)
        surface = built.surface(self.planned(name))
        curve = self.curve(name) or self.keeper.nominal(surface.servo)
        plain = setting_of(surface, self.model.servo_of(surface), curve)
        return Setting(
            plain.surface, plain.servo, plain.linkage, trimmed(plain.curve, built.trim_us)
        )

    def channel(self, name: str) -> Channel:
        """Return the channel of a surface's servo."""
        surface = self.planned(name)
        label = f"{surface.servo}, {surface.name}"
        return channel_of(self.model.servo_of(surface), surface.channel, label)

    def u_deg(self, name: str) -> float:
        """Return the standard uncertainty of one reading at a surface, in degrees."""
        return reading_u_deg(self.gauge, self.planned(name))

    def throws_found(self, name: str) -> Mapping[str, Any] | None:
        """Return the figures of a surface's newest throws; None when none were measured."""
        row = self.found("throws", name)
        if row is None or "points" not in row["figures"]:
            return None
        figures: Mapping[str, Any] = row["figures"]
        return figures

    @contextmanager
    def live(self, names: Sequence[str]) -> Iterator[None]:
        """Give the channels of surfaces pulses as they are asked for; all off at the end."""
        channels = {channel.number: channel for channel in map(self.channel, names)}
        with in_use(self.board, list(channels.values())):
            yield

    def go(self, pulses_us: Mapping[str, int]) -> None:
        """Send the servos of surfaces to pulses, together, and let everything come to rest."""
        go(self.board, {self.planned(name).channel: us for name, us in pulses_us.items()})

    def found(self, step: str, name: str) -> Mapping[str, Any] | None:
        """Return the newest row of a surface's step that found something; None: there is none."""
        for row in reversed(self.rows):
            at = row["step"], row["surface"]
            if at == (step, name) and row["outcome"] in ("done", "failed"):
                return row
        return None


def about(item: Item) -> str:
    """Name an item for people: "left aileron: neutral"."""
    return f"{item.subject}: {item.step.title}" if item.subject else item.step.title
