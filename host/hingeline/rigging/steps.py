"""The checklist of a rig: what has to be done on a model, in which order, and on what it rests."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import msgspec

from hingeline.model.schema import Model, Pair, Surface

Scope = Literal["model", "surface", "pair"]

#: Stands for every other step among those that a step rests on.
ALL = ("all",)
#: Begins the parts of the model file that belong to a servo, not to its surface.
_SERVO = "servo."


@dataclass(frozen=True)
class Step:
    """One kind of work.

    Attributes
    ----------
    name : str
        Kept in records; never changes.
    scope : {"model", "surface", "pair"}
        What it is done for, once each.
    title : str
        What people read; ``name`` is a word of it or plain from it.
    why : str
        Why it matters, in a sentence.
    rests_on : tuple of str
        Names of the steps whose result it takes for granted; or `ALL`.
    of_file : tuple of str
        The parts of the model file that it takes for granted and no step before it does.
    waits_for : tuple of str
        Names of the steps that must stand done before it may give a servo pulses; empty for
        a step that gives none.
    may_be_left : bool
        Whether what waits for it may give pulses although a fault of it was left: somebody has
        looked, and said how it is.
    """

    name: str
    scope: Scope
    title: str
    why: str
    rests_on: tuple[str, ...] = ()
    of_file: tuple[str, ...] = ()
    waits_for: tuple[str, ...] = ()
    may_be_left: bool = False


#: Before a servo is known to be the one that is meant, nothing moves but what finds that out.
_PLUGGED = ("leads", "class")
_KNOWN = (*_PLUGGED, "centre")
_FITTED = (*_KNOWN, "rod")

STEPS: tuple[Step, ...] = (
    Step(
        "leads",
        "model",
        "leads",
        "A plug put in the wrong way round leaves a servo dead, and some supplies with it.",
    ),
    Step(
        "bare",
        "surface",
        "bare surface",
        "A hinge that stops early or drags is found by hand now; later the servo stalls on it.",
        of_file=("throws", "free_travel", "chord"),
    ),
    Step(
        "class",
        "model",
        "pulse class",
        "Standard pulses can ruin a servo that is made for narrow ones.",
        of_file=("servo.pulse_class",),
    ),
    Step(
        "centre",
        "surface",
        "servo at centre",
        "An arm fitted to a servo that is not at its centre sits wrong for good.",
        rests_on=("leads", "class"),
        of_file=("servo", "channel", "servo.centre", "servo.pulse_limits"),
        waits_for=_PLUGGED,
    ),
    Step(
        "seat",
        "surface",
        "arm seated",
        "Where the arm stands at centre decides how evenly both ways go.",
        rests_on=("centre",),
        of_file=("mount", "arm", "horn", "servo.spline_teeth", "servo.arm_count"),
        waits_for=_KNOWN,
    ),
    Step(
        "travel",
        "surface",
        "travel of the servo",
        "No two servos turn alike; only a measured one can be sent to an angle.",
        rests_on=("centre",),
        waits_for=_KNOWN,
    ),
    Step(
        "rod",
        "surface",
        "rod fitted",
        "The holes and the horn's place set the throw; the wrong hole looks right at neutral.",
        of_file=("mount", "arm", "horn", "rod"),
        may_be_left=True,
    ),
    Step(
        "neutral",
        "surface",
        "neutral",
        "Set by the rod's length; trimmed away by the pulse, it costs throw on one side.",
        rests_on=("seat", "travel", "rod"),
        of_file=("chord",),
        waits_for=_FITTED,
    ),
    Step(
        "direction",
        "surface",
        "direction",
        "A surface that goes the wrong way ends the first flight.",
        rests_on=("centre",),
        of_file=("kind", "side", "mount", "horn"),
        waits_for=_FITTED,
    ),
    Step(
        "throws",
        "surface",
        "throws",
        "Full and half throw, both ways, show what arm, rod and horn really do.",
        rests_on=("neutral", "bare", "direction"),
        of_file=("throws",),
        waits_for=_FITTED,
    ),
    Step(
        "slop",
        "surface",
        "slop",
        "Free play lets a surface wander, and in fast air it may begin to flutter.",
        rests_on=("centre", "rod"),
        of_file=("chord",),
        waits_for=_FITTED,
    ),
    Step(
        "binding",
        "surface",
        "binding at the ends",
        "A servo that buzzes at full throw pulls hard all flight long, runs hot and fails.",
        rests_on=("throws",),
        waits_for=_FITTED,
    ),
    Step(
        "pair",
        "pair",
        "pair compared",
        "Two sides that differ roll the model or yaw it, most where the stick is half over.",
        rests_on=("throws",),
        of_file=("pair",),
    ),
    Step(
        "limits",
        "surface",
        "centre and limits",
        "What was measured becomes the figures for the radio, and what is checked again later.",
        rests_on=("throws",),
    ),
    Step(
        "screws",
        "model",
        "screws and keepers",
        "An arm without its screw stays on in the workshop and comes off in the air.",
        rests_on=("seat", "rod"),
    ),
    Step(
        "signoff",
        "model",
        "signed off",
        "A name under it says that somebody has looked, and at what.",
        rests_on=ALL,
    ),
)
_NAMED = {step.name: step for step in STEPS}


def step_named(name: str) -> Step:
    """Return the step called ``name``; KeyError when there is none."""
    return _NAMED[name]


@dataclass(frozen=True)
class Item:
    """A step to be done for one subject.

    Attributes
    ----------
    step : Step
        What is to be done.
    subject : str
        Name of the surface, "LEFT / RIGHT" for a pair, empty for the whole model.
    """

    step: Step
    subject: str

    @property
    def key(self) -> tuple[str, str]:
        """Subject and name of the step: what tells items apart."""
        return self.subject, self.step.name


def pair_name(pair: Pair) -> str:
    """Return the subject of a pair's steps."""
    return f"{pair.left} / {pair.right}"


def checklist(model: Model, surfaces: Sequence[Surface]) -> list[Item]:
    """Return what has to be done, each step for all its subjects before the next step.

    Parameters
    ----------
    model : Model
        As its file says.
    surfaces : sequence of Surface
        Those of the model that are rigged; a pair is compared when both its sides are.
    """
    names = [surface.name for surface in surfaces]
    pairs = [pair for pair in model.pairs if pair.left in names and pair.right in names]
    subjects: dict[Scope, list[str]] = {
        "model": [""],
        "surface": names,
        "pair": [pair_name(pair) for pair in pairs],
    }
    return [Item(step, subject) for step in STEPS for subject in subjects[step.scope]]


def print_of(model: Model, item: Item) -> str:
    """Return a short digest of the parts of the model file that an item takes for granted.

    It is equal as long as they are, whatever else changes in the file and however it is
    written there; `changed_parts` tells from two of them what has changed.
    """
    return " ".join(f"{part}={_digest(_part(model, item, part))}" for part in item.step.of_file)


def changed_parts(earlier: str, now: str) -> list[str]:
    """Return the parts of the file, as people call them, in which two prints differ."""
    was, is_now = (dict(_split(one) for one in text.split()) for text in (earlier, now))
    parts = [*is_now, *(part for part in was if part not in is_now)]
    changed = (part for part in parts if was.get(part) != is_now.get(part))
    return [part.replace(".", "'s ").replace("_", " ") for part in changed]


def _split(token: str) -> tuple[str, str]:
    part, _, digest = token.partition("=")
    return part, digest


def _part(model: Model, item: Item, part: str) -> Any:
    if item.step.scope == "pair":
        return [pair for pair in model.pairs if pair_name(pair) == item.subject]
    key = part.removeprefix(_SERVO)
    if item.step.scope == "model":
        return {label: _value(servo, key) for label, servo in model.servos.items()}
    surface = model.surface(item.subject)
    return _value(model.servo_of(surface) if part != key else surface, key)


def _value(record: msgspec.Struct, key: str) -> Any:
    """Return the attribute that the file calls ``key``, whatever its unit."""
    for field in msgspec.structs.fields(type(record)):
        if field.encode_name == key:
            return getattr(record, field.name)
    raise KeyError(key)


def _digest(value: Any) -> str:
    text = repr(_plain(value))
    return hashlib.sha256(text.encode()).hexdigest()[:8]


def _plain(value: Any) -> Any:
    """Return a value of the file such that equal values are written alike."""
    if isinstance(value, msgspec.Struct):
        return [_plain(getattr(value, name)) for name in value.__struct_fields__]
    if isinstance(value, dict):
        return sorted((key, _plain(one)) for key, one in value.items())
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    if isinstance(value, float):
        # A throw's figure means nothing without the way it is measured.
        return [float(value), getattr(value, "measure", "")]
    if isinstance(value, int | str) or value is None:
        return value if value is None or isinstance(value, str) else int(value)
    return sorted(vars(value).items())  # a direction
