"""Before any servo gets a pulse: leads, bare surfaces, pulse classes."""

from __future__ import annotations

from collections.abc import Mapping

from hingeline import units
from hingeline.bench.asking import Question, surface_question
from hingeline.bench.choices import Choice
from hingeline.bench.procedures.throwing import surface_deg
from hingeline.bench.rigging.context import Result, Rig
from hingeline.bench.rigging.mending import settle
from hingeline.bench.rigging.reading import plain_keep, questioned
from hingeline.errors import ModelError
from hingeline.model.schema import Surface
from hingeline.model.throws import free_travel_deg
from hingeline.model.words import directions, say, sign_of
from hingeline.rigging.mends import bare_named
from hingeline.rigging.steps import Item

#: Free travel that differs by more from what the file says is told. Our own choice: more than a
#: hand that feels for a stop is wrong.
OTHERWISE_DEG = 2.0


def leads(rig: Rig, item: Item) -> Result:
    """Show which lead belongs on which channel, and how it is plugged."""
    del item
    ask = rig.prompter
    ask.tell("Propeller off, or the motor unplugged. Nothing gets a pulse yet.")
    for surface in rig.surfaces:
        ask.tell(f"channel {surface.channel}: servo {surface.servo}, {surface.name}")
    ask.tell(
        "The signal wire, the lightest of the three, goes to the signal side of every plug "
        "(common practice; look at the servo's own sheet where the colours differ)."
    )
    ask.pick(
        Choice(
            "When every plug sits so, type seen",
            rig.surfaces[0].channel,
            ("seen",),
            topic="leads",
        )
    )
    return Result("done", "leads seen")


def bare(rig: Rig, item: Item) -> Result:
    """Have the bare surface moved by hand to both of its stops."""
    surface = rig.planned(item.subject)
    found: dict[str, float] = {}
    for word in directions(surface):
        question = _bare_question(rig, item, word)
        sign = sign_of(surface, word)
        answer = questioned(
            rig.prompter,
            question,
            plain_keep(rig, item.subject, item.step.name, question),
            sign * free_travel_deg(surface, word),
            lambda made: surface_deg(made, surface, rig.gauge),
            lambda size: say(surface, size),
        )
        found[word] = sign * surface_deg(answer, surface, rig.gauge)
    figures = {"free_deg": found}
    text = ", ".join(f"{word} {units.deg(size)}" for word, size in found.items())
    named = bare_named(surface, found)
    if named is None:
        return Result("done", f"moves freely {text}{_otherwise(surface, found)}", figures)
    return settle(rig, item, named, figures)


def _otherwise(surface: Surface, found: Mapping[str, float]) -> str:
    """Say what the file says of the free travel, where that is plainly something else."""
    planned = {word: free_travel_deg(surface, word) for word in found}
    if all(abs(found[word] - size) <= OTHERWISE_DEG for word, size in planned.items()):
        return ""
    said = ", ".join(f"{word} {units.deg(size)}" for word, size in planned.items())
    return f"; the model file says {said}: from here on it counts as measured"


def _bare_question(rig: Rig, item: Item, word: str) -> Question:
    surface = rig.planned(item.subject)
    asked = surface_question(surface, surface.channel, rig.gauge, assumed=word)
    unit = asked.text.rpartition(",")[2].strip()
    where = "" if rig.gauge.unit == "deg" else f" at the {surface.chord_mm:g} mm chord"
    return Question(
        f"{surface.name}, rod off: how far {word} does it move by hand{where}, {unit}",
        surface.channel,
        rig.gauge,
        {word: sign_of(surface, word)},  # the other way is not what is measured now
        assumed=word,
        most=asked.most,
        help=f"Move it {word} with a finger until it stops by itself, without force, and measure "
        "from neutral.",
        topic="bare",
        detail={"surface": surface.name, "word": word},
    )


def pulse_class(rig: Rig, item: Item) -> Result:
    """Have the pulse classes compared with what stands on the servos."""
    del item
    servos = {one.servo: rig.model.servo_of(one) for one in rig.surfaces}
    for label, servo in servos.items():
        low, high = servo.pulse_limits_us
        rig.prompter.tell(
            f"servo {label}: {servo.pulse_class}, centre {servo.centre_us} us, {low} to {high} us"
        )
    picked = rig.prompter.pick(
        Choice(
            "Look at what the makers say of these servos: are they as listed, or different",
            rig.surfaces[0].channel,
            ("listed", "different"),
            help="A narrow-pulse servo, centre near 760 us, may be ruined by standard pulses. "
            "listed: all are as listed here. different: nothing is sent; correct the file first.",
            topic="class",
            detail={"servos": {label: servo.pulse_class for label, servo in servos.items()}},
        )
    )
    if picked == "different":
        raise ModelError(
            "a servo is not of the class that the model file says; nothing was sent to it.",
            mend="Correct pulse_class, centre and pulse_limits in the model file, then start "
            "again: it goes on from here.",
        )
    return Result("done", "classes as listed")
