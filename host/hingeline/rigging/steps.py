"""The checklist of a rig: what has to be done, in the order in which hands can do it.

The order follows the work, not the surfaces: all rods stay off until every servo is centred
and measured, so no step undoes another. Which step needs which is common practice, no source.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import msgspec

from hingeline.model.schema import Direction, Model, Pair, Surface, Throw

Scope = Literal["model", "surface", "pair"]

#: Between the two names of a pair's subject.
PAIR_MARK = " / "


@dataclass(frozen=True)
class Step:
    """One kind of step.

    Attributes
    ----------
    name : str
        Under which it is kept in the records.
    scope : {"model", "surface", "pair"}
        What it is done for: once, for each surface, for each pair.
    title : str
        What is done, for people.
    why : str
        Why it matters, in a line.
    rests_on : tuple of str
        Steps of which a later change makes this one due again.
    of_file : tuple of str
        Parts of the model file of which a change makes it due again; keys of `PARTS`.
    """

    name: str
    scope: Scope
    title: str
    why: str
    rests_on: tuple[str, ...] = ()
    of_file: tuple[str, ...] = ()


@dataclass(frozen=True)
class Item:
    """A step as it stands on the checklist of a model.

    Attributes
    ----------
    step : Step
    subject : str
        "" for the model, the surface's name, "LEFT / RIGHT" for a pair.
    """

    step: Step
    subject: str

    @property
    def key(self) -> tuple[str, str]:
        """Subject and step, by which it is found in the records."""
        return self.subject, self.step.name

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the surfaces that it concerns; empty for the whole model."""
        if not self.subject:
            return ()
        return (
            tuple(self.subject.split(PAIR_MARK)) if self.step.scope == "pair" else (self.subject,)
        )


_BUILT = ("mount", "arm", "horn", "rod")
_BEFORE_SIGNING: tuple[Step, ...] = (
    Step(
        "leads",
        "model",
        "leads and polarity",
        "A plug the wrong way round does nothing; swapped wires burn a servo.",
        of_file=("channel",),
    ),
    Step(
        "bare",
        "surface",
        "free travel of the bare surface",
        "A servo that pushes a surface against its stop stalls, heats and fails.",
        of_file=("throws", "chord"),
    ),
    Step(
        "class",
        "model",
        "pulse class",
        "A narrow-pulse servo driven by standard pulses is ruined at once.",
        of_file=("class",),
    ),
    Step(
        "centre",
        "surface",
        "channel and centre, arm off",
        "Each lead must go to its own servo, and arms are fitted to servos that stand at centre.",
        rests_on=("class", "leads"),
        of_file=("channel", "class"),
    ),
    Step(
        "seat",
        "surface",
        "arm and tooth",
        "A lean of the arm that was not planned makes one throw larger than the other.",
        rests_on=("centre",),
        of_file=("spline", "arm", "mount"),
    ),
    Step(
        "travel",
        "surface",
        "the servo's travel",
        "No two servos turn alike for the same pulse: the throws rest on what this one does.",
        rests_on=("centre",),
        of_file=("class",),
    ),
    Step(
        "rod",
        "surface",
        "rod and horn",
        "Holes, rod and the horn over the hinge line decide how far the surface goes.",
        of_file=_BUILT,
    ),
    Step(
        "neutral",
        "surface",
        "neutral",
        "The model flies straight by itself only with its surfaces in line at centre.",
        rests_on=("seat", "travel", "rod"),
        of_file=_BUILT,
    ),
    Step(
        "direction",
        "surface",
        "direction",
        "A surface that moves the wrong way loses the model at take-off.",
        rests_on=("centre",),
        of_file=("kind", "channel", "horn"),
    ),
    Step(
        "throws",
        "surface",
        "throws",
        "Part-way points show what the ends alone hide: leaning arms, a horn off the hinge line.",
        rests_on=("neutral", "bare", "direction"),
        of_file=(*_BUILT, "throws", "chord"),
    ),
    Step(
        "slop",
        "surface",
        "slop",
        "A surface that can shake in the air may start to flutter.",
    ),
    Step(
        "binding",
        "surface",
        "binding at the ends",
        "A servo that buzzes at its end draws its full current until something gives.",
        rests_on=("throws",),
        of_file=("throws",),
    ),
    Step(
        "pair",
        "pair",
        "both sides alike",
        "Sides that differ roll or twist the model whenever the stick is moved.",
        rests_on=("throws",),
        of_file=("pair", "throws"),
    ),
    Step(
        "limits",
        "surface",
        "limits",
        "What was measured becomes the figures that the radio must keep to.",
        rests_on=("throws",),
        of_file=("throws",),
    ),
    Step(
        "screws",
        "model",
        "screws, keepers, glue, leads",
        "What is right today must still be right after an hour of shaking.",
        rests_on=("seat", "rod"),
    ),
)
_SIGNING = Step(
    "signoff",
    "model",
    "signing it off",
    "A name under it says that somebody looked at all of this with their own eyes.",
    rests_on=tuple(step.name for step in _BEFORE_SIGNING),
)

#: All steps, in their order.
STEPS: tuple[Step, ...] = (*_BEFORE_SIGNING, _SIGNING)


def step_named(name: str) -> Step:
    """Return the step of that name; KeyError when there is none."""
    for step in STEPS:
        if step.name == name:
            return step
    raise KeyError(name)


def checklist(model: Model, surfaces: Sequence[Surface]) -> list[Item]:
    """List what has to be done for surfaces of a model, in its order.

    Parameters
    ----------
    model : Model
    surfaces : sequence of Surface
        Those to be rigged; a pair is on the list when both its sides are among them.
    """
    names = [surface.name for surface in surfaces]
    pairs = [
        f"{pair.left}{PAIR_MARK}{pair.right}"
        for pair in model.pairs
        if {pair.left, pair.right} <= set(names)
    ]
    subjects = {"model": [""], "surface": names, "pair": pairs}
    return [Item(step, subject) for step in STEPS for subject in subjects[step.scope]]


def print_of(model: Model, item: Item) -> str:
    """Return a short digest of the parts of the model file on which an item rests.

    Returns
    -------
    str
        "arm=1f0c2a77 mount=09ab..." with a part for each of the step's ``of_file``.
    """
    names = item.names or tuple(surface.name for surface in model.surfaces)
    surfaces = [model.surface(name) for name in names]
    parts = []
    for part in item.step.of_file:
        whole = [_plain(PARTS[part](model, surface)) for surface in surfaces]
        digest = hashlib.sha256(repr(whole).encode("utf-8")).hexdigest()[:8]
        parts.append(f"{part}={digest}")
    return " ".join(parts)


def _pair_of(model: Model, surface: Surface) -> list[Pair]:
    return [pair for pair in model.pairs if surface.name in (pair.left, pair.right)]


def _class(model: Model, surface: Surface) -> list[Any]:
    servo = model.servo_of(surface)
    return [surface.servo, servo.pulse_class, servo.centre_us, servo.pulse_limits_us]


def _spline(model: Model, surface: Surface) -> list[Any]:
    servo = model.servo_of(surface)
    return [surface.servo, servo.spline_teeth, servo.arm_count]


#: Parts of the model file: what is looked at in each.
PARTS: Mapping[str, Callable[[Model, Surface], Any]] = {
    "channel": lambda _model, surface: [surface.servo, surface.channel],
    "class": _class,
    "spline": _spline,
    "kind": lambda _model, surface: [surface.kind, surface.side],
    "mount": lambda _model, surface: surface.mount,
    "arm": lambda _model, surface: surface.arm,
    "horn": lambda _model, surface: surface.horn,
    "rod": lambda _model, surface: surface.rod,
    "throws": lambda _model, surface: surface.throws,
    "chord": lambda _model, surface: surface.chord_mm,
    "pair": _pair_of,
}


def _plain(value: Any) -> Any:
    """Turn a part of a model into what looks the same in every process."""
    if isinstance(value, msgspec.Struct):
        return [(name, _plain(getattr(value, name))) for name in value.__struct_fields__]
    if isinstance(value, Direction):
        return [value.ahead, value.off, value.along]
    if isinstance(value, Throw):
        return [float(value), value.measure]
    if isinstance(value, dict):
        return sorted((key, _plain(one)) for key, one in value.items())
    if isinstance(value, (list, tuple)):
        return [_plain(one) for one in value]
    return float(value) if isinstance(value, float) else value
