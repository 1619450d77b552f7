"""Free play, and what binds at the ends."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from hingeline import units
from hingeline.bench.asking import Answer, Gauge, Question, surface_question
from hingeline.bench.choices import Choice
from hingeline.bench.procedures.binding import BUZZING, HOLD_S, HOT, QUIET
from hingeline.bench.procedures.throwing import surface_deg
from hingeline.bench.rigging.context import Result, Rig
from hingeline.bench.rigging.linking import come_to_neutral
from hingeline.bench.rigging.mending import settle
from hingeline.bench.rigging.throwing import pulses_of
from hingeline.model.schema import Surface
from hingeline.model.words import directions
from hingeline.rigging.mends import binding_named, slop_named
from hingeline.rigging.steps import Item
from hingeline.travel.setting import Setting


def slop(rig: Rig, item: Item) -> Result:
    """Hold a surface at neutral, and have its whole free play read."""
    name = item.subject
    setting = rig.setting(name)
    surface = setting.surface
    question = slop_question(surface, rig.gauge)
    with rig.live([name]):
        come_to_neutral(rig, setting, _neutral_us(rig, setting))
        with rig.board.attended():
            answer = rig.prompter.read(question)
    play = slop_deg(answer, surface, rig.gauge)
    figures: dict[str, Any] = {"slop_deg": play}
    named = slop_named(setting, play)
    if named is None:
        return Result("done", f"free play {units.deg(play)}", figures)
    return settle(rig, item, named, figures)


def _neutral_us(rig: Rig, setting: Setting) -> int:
    """Return the pulse at neutral alone: a throw that cannot be had is no matter here."""
    if rig.built(setting.surface.name).aimed:
        return pulses_of(rig, setting)[0.0]
    return round(setting.centre_us)


def slop_question(surface: Surface, gauge: Gauge) -> Question:
    """Ask for the whole free play of a surface whose servo holds."""
    asked = surface_question(surface, surface.channel, gauge, assumed=None)
    where = "" if gauge.unit == "deg" else f" at the {surface.chord_mm:g} mm chord"
    return replace(
        asked,
        text=f"{surface.name}: how far does the trailing edge move in all, from one side of its "
        f"free play to the other{where}, in {gauge.unit}",
        signs={},
        signed=True,
        help="The servo holds. Move the trailing edge gently with a finger, both ways, until the "
        "servo resists, and measure the whole way.",
        topic="slop",
        detail={"surface": surface.name},
    )


def slop_deg(answer: Answer, surface: Surface, gauge: Gauge) -> float:
    """Return a free play in degrees, whatever it was measured in."""
    return abs(surface_deg(replace(answer, value=abs(answer.value)), surface, gauge))


def binding(rig: Rig, item: Item) -> Result:
    """Hold a surface at each end for a moment, and have it said what was heard."""
    name = item.subject
    setting = rig.setting(name)
    pulses = pulses_of(rig, setting)
    heard: dict[str, str] = {}
    with rig.live([name]):
        rig.go({name: pulses[0.0]})
        for word, share in zip(directions(setting.surface), (1.0, -1.0), strict=True):
            rig.prompter.tell(f"Listen to {setting.surface.servo}: {name} goes {word}.")
            rig.go({name: pulses[share]})
            rig.board.wait(HOLD_S)
            rig.go({name: pulses[0.0]})  # nobody who is called away leaves it buzzing
            with rig.board.attended():
                heard[word] = rig.prompter.pick(
                    Choice(
                        f"{name}, {word} at {pulses[share]} us: was it",
                        setting.surface.channel,
                        (QUIET, BUZZING, HOT),
                        help=f"{BUZZING}: it hummed or growled for as long as it was held. {HOT}: "
                        "too hot to touch, or it smells: its pulses stop at once, pull its plug.",
                        topic="binding",
                        detail={"surface": name, "word": word},
                    )
                )
            if heard[word] == HOT:
                break
    figures: dict[str, Any] = {"heard": heard}
    worst = next((word for word, what in heard.items() if what != QUIET), None)
    if worst is None:
        return Result("done", "quiet at both ends", figures)
    named = binding_named(setting, worst, heard[worst])
    return settle(rig, item, named, figures)
