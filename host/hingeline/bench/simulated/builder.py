"""A stand-in for the builder in a guided run: looks, types, and does what the prompts say.

It reads only what a person could see, acts only on what a prompt says, and takes the first mend
that is offered and was not tried before. What it reads or says wrongly is given to it beforehand.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, MutableMapping
from dataclasses import replace
from typing import Any

import numpy as np

from hingeline.bench.asking import Question
from hingeline.bench.choices import Choice
from hingeline.bench.simulated.listener import Listener
from hingeline.bench.simulated.servo import random_truth
from hingeline.bench.simulated.standin import plain_number
from hingeline.bench.simulated.station import Station, planned_free_deg, sound
from hingeline.chord import throw_mm
from hingeline.linkage.mounting import tooth_deg
from hingeline.model.words import sign_of, word_of

#: What is typed wrongly: by topic and surface, each a text, or a change of the true one.
Slips = Mapping[tuple[str, str], "list[str | Callable[[str], str]]"]
#: A surface that moved less than this is said to be still.
_SEEN_DEG = 0.5
_SAID = {
    "leads": "seen",
    "class": "listed",
    "arms off": "off",
    "screws": "done",
    "signoff": "Ada Brook",  # an invented name
    "reason": "left as it is",
    "broken off": "again",
}


class Builder(Listener):
    """Answers every prompt of a guided run.

    Parameters
    ----------
    stations : mapping of int to Station
        What stands on each channel; plugs are exchanged in it.
    seed : int
        For the way in which numbers are typed, and for servos fitted anew.
    show : callable
        Takes each line that a person would see.
    slips : mapping
        What is typed wrongly, in turn, before the truth is.
    calibration : {"quick", "usual", "thorough"}
        How servos are measured that are not on record.
    """

    def __init__(
        self,
        stations: MutableMapping[int, Station],
        seed: int,
        show: Callable[[str], None] = lambda _text: None,
        *,
        slips: Slips | None = None,
        calibration: str = "quick",
    ) -> None:
        super().__init__(stations, seed, show)
        self._channels = stations
        self._slips = {key: list(texts) for key, texts in (slips or {}).items()}
        self._calibration = calibration
        self._new = np.random.default_rng([seed, 2])
        self._tried: set[str] = set()
        #: How many prompts were answered.
        self.prompts = 0

    def ask(self, question: Question) -> str:
        """Return what a builder would type for a reading."""
        typed = self._slipped(question, self._typed(question, self.shown(question)))
        self._answered()
        self._show(f"{question.text}: {typed}")
        return typed

    def pick(self, choice: Choice) -> str:
        """Return what a builder would answer, and do what is asked."""
        typed = self._slipped(choice, self.seen(choice))
        self._answered()
        self._show(f"{choice.text}: {typed}")
        return typed

    def shown(self, question: Question) -> float:
        """Return what the gauge shows, to its resolution."""
        name = question.detail.get("surface")
        if name is None or question.topic == "":
            if question.gauge.kind == "arm":  # a servo is measured with its rod off
                self._channels[question.channel].rod_on = False
            return super().shown(question)
        step = question.gauge.resolution
        return float(round(self._truth(question, self._of(name)) / step) * step)

    def seen(self, choice: Choice) -> str:
        """Return the true word, and do what a prompt asks for."""
        if choice.topic in _SAID:
            return _SAID[choice.topic]
        if choice.topic == "rod off":
            self._of(choice.detail["surface"]).rod_on = False
            return "off"
        if choice.topic == "which servo":
            return self._moved(choice)
        if choice.topic == "travel":
            return "record" if "record" in choice.words else self._calibration
        if choice.topic == "mend":
            return self._mend(choice)
        if choice.topic == "doing":
            self._do(choice.detail)
            return "done"
        if choice.topic in ("holes", "arm hole", "horn hole"):
            return self._holes(choice)
        if choice.topic == "direction":
            return self._went(self._of(choice.detail["surface"]))
        if choice.topic == "binding":
            station = self._of(choice.detail["surface"])
            return "buzzing" if station.senses.heard_buzzing() else "quiet"
        return super().seen(choice)

    # -- within ------------------------------------------------------------------------

    def _answered(self) -> None:
        """Forget what was heard: a later prompt is about what comes after this one."""
        self.prompts += 1
        for station in self._channels.values():
            station.senses.heard_buzzing()

    def _of(self, name: str) -> Station:
        """Return what drives a surface, whichever channel it hangs on."""
        for station in self._channels.values():
            if station.surface is not None and station.surface.name == name:
                return station
        raise ValueError(f"no station drives {name}")

    def _slipped(self, asked: Question | Choice, typed: str) -> str:
        if asked.detail.get("doubt"):
            return typed  # asked about it, a builder looks again
        waiting = self._slips.get((asked.topic, asked.detail.get("surface", "")))
        if not waiting:
            return typed
        slip = waiting.pop(0)
        return slip if isinstance(slip, str) else slip(typed)

    def _truth(self, question: Question, station: Station) -> float:
        surface, gauge = station.surface, question.gauge
        assert surface is not None  # noqa: S101  (found by its surface)
        if question.topic == "seat":
            return station.lean_deg
        if question.topic == "set-back":
            return float(surface.horn.set_back_mm) + station.build.set_back_mm
        if question.topic == "bare":
            sign = sign_of(surface, question.detail["word"])
            low, high = station.free_deg
            angle = high if sign > 0 else low
        elif question.topic == "slop":
            angle = station.slop_deg
        else:
            self._rod_on(station)
            angle = station.surface_deg
        if gauge.kind in ("drop", "straight"):
            return throw_mm(angle, surface.chord_mm, gauge.kind)
        return angle

    def _rod_on(self, station: Station) -> None:
        if not station.rod_on:
            station.rod_on = True
            station.settle()

    def _typed(self, question: Question, value: float) -> str:
        if not question.signs:
            return plain_number(abs(value))
        return super()._typed(question, value)

    def _moved(self, choice: Choice) -> str:
        station = self._channels.get(choice.channel)
        if station is None or station.surface is None or not station.senses.saw_movement():
            return "none"
        return station.surface.servo

    def _went(self, station: Station) -> str:
        self._rod_on(station)
        surface = station.surface
        assert surface is not None  # noqa: S101  (found by its surface)
        if abs(station.surface_deg) < _SEEN_DEG:
            return "still"
        return word_of(surface, station.surface_deg)

    def _mend(self, choice: Choice) -> str:
        """Take the first mend that was not tried before; none is left: leave it."""
        for word, mend in zip(choice.words, choice.detail["mends"], strict=False):
            what = repr((choice.detail["surface"], sorted(mend.items())))
            if what not in self._tried:
                self._tried.add(what)
                return word
        return choice.words[-1]

    def _holes(self, choice: Choice) -> str:
        """Count the holes, and put the rod on."""
        station = self._of(choice.detail["surface"])
        self._rod_on(station)
        surface = station.surface
        assert surface is not None  # noqa: S101  (found by its surface)
        real = station.build.surface(surface)
        if choice.topic == "arm hole":
            return str(real.arm.hole)
        if choice.topic == "horn hole":
            return str(real.horn.hole)
        planned = choice.detail["arm_hole"], choice.detail["horn_hole"]
        return "fitted" if planned == (real.arm.hole, real.horn.hole) else "different"

    def _do(self, mend: Mapping[str, Any]) -> None:
        """Do with the hands what a mend says, and nothing else."""
        name = mend["name"]
        if name == "swap leads":
            one, other = mend["channels"]
            here, there = self._channels[one], self._channels[other]
            self._channels[one], self._channels[other] = there, here
            return
        station = self._of(mend["surface"])
        surface, servo = station.surface, station.planned
        assert surface is not None  # noqa: S101  (found by its surface)
        assert servo is not None  # noqa: S101  (every surface has one)
        build = station.build
        if name == "refit":
            before = build.part_arm or surface.arm.part_arm
            arm = mend.get("part_arm") or before
            turned = mend["teeth"] * tooth_deg(servo) + (arm - before) * 360.0 / servo.arm_count
            lean = math.remainder(build.lean_deg + turned, 360.0)
            build = replace(build, lean_deg=lean, part_arm=arm)
        elif name == "hole":
            build = replace(build, **{f"{mend['part']}_hole": mend["hole"]})
        elif name == "set-back":
            build = replace(build, set_back_mm=build.set_back_mm + mend["move_mm"])
        elif name == "rod":
            build = replace(build, rod_mm=build.rod_mm + mend["by_mm"])
        elif name == "rod side":
            build = replace(build, other_side=not build.other_side)
        elif name == "joints":
            build = replace(build, play_mm=None)
        elif name in ("hinge", "free"):
            station.free_deg = planned_free_deg(surface)
        elif name == "servo":
            sense = -1.0 if servo.turns == "cw" else 1.0
            truth = random_truth(
                self._new,
                centre_us=float(servo.centre_us),
                rate_deg_per_us=sense * servo.rate_deg_per_us,
            )
            station.servo = station.servo.replaced(sound(truth))
            build = replace(build, lean_deg=0.0, part_arm=None)
        else:
            raise ValueError(f"a builder cannot do: {name}")
        station.rebuild(build)
