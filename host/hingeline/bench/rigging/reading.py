"""Readings at a surface: asked for, kept, and questioned where a slip would explain them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from hingeline.bench.asking import (
    Answer,
    Question,
    say_understood,
    surface_question,
    understand,
    with_number,
)
from hingeline.bench.procedures.throwing import surface_deg
from hingeline.bench.rigging.context import Rig
from hingeline.bench.rigging.prompting import Prompter, Typed
from hingeline.errors import HingelineError
from hingeline.model.words import say
from hingeline.travel.reading import Approach
from hingeline.travel.setting import Setting
from hingeline.travel.suspects import NUMBER, meant

#: What is nearer to what was expected than this, in degrees, or than this part of it, is no slip.
FAR_DEG, FAR_PART = 3.0, 0.3
#: A number that was probably meant comes this near to what was expected. Our own choices.
NEAR_DEG, NEAR_PART = 1.0, 0.15
#: Keeps an answer, and what it replaces by which word; returns its number.
Keep = Callable[[Answer, int | None, str], int]


def read_surface(
    rig: Rig,
    setting: Setting,
    pulse_us: int,
    approach: Approach,
    *,
    topic: str,
    share: float,
    expected_deg: float,
    which: str = "",
) -> float:
    """Have a surface read, whose direction must be typed; signed, in degrees.

    ``which`` of several readings it is stands in the question.
    """
    surface, gauge = setting.surface, rig.gauge
    question = surface_question(surface, surface.channel, gauge, assumed=None)
    if which:
        question = replace(question, text=f"{which}: {question.text}")
    question = replace(question, topic=topic, detail={"surface": surface.name, "share": share})

    def keep(answer: Answer, replaces: int | None, because: str) -> int:
        return rig.keeper.reading(surface, pulse_us, approach, gauge, answer, replaces, because)

    with rig.board.attended():
        answer = questioned(
            rig.prompter,
            question,
            keep,
            expected_deg,
            lambda made: surface_deg(made, surface, gauge),
            lambda size: say(surface, size),
        )
    return surface_deg(answer, surface, gauge)


def questioned(
    prompter: Prompter,
    question: Question,
    keep: Keep,
    expected_deg: float,
    in_deg: Callable[[Answer], float],
    words: Callable[[float], str],
) -> Answer:
    """Ask for a reading; where a slip of typing would explain how far off it is, ask about it.

    Parameters
    ----------
    prompter : Prompter
        Who is asked.
    question : Question
        What is to be read.
    keep : callable
        Keeps each answer, and that it replaces another.
    expected_deg : float
        What it would be if all were as planned.
    in_deg : callable
        Turns an answer into degrees.
    words : callable
        Says degrees to people.
    """
    rows: list[int] = []

    def kept(answer: Answer) -> None:
        rows.append(keep(answer, None, ""))

    answer = prompter.read(question, kept)
    while (likely := slip_of(question, answer, expected_deg, in_deg)) is not None:
        text, slip = likely
        prompter.tell(
            f"{answer.typed.strip()} is {words(in_deg(answer))}; {words(expected_deg)} was "
            f"expected. Was {text} meant ({slip})?"
        )
        asked = replace(
            question,
            text=f"{question.text.rpartition(':')[0]}: keep, yes, or the reading again",
            help="keep: it stands as it was typed. yes: takes what was probably meant. Or look "
            "at the gauge once more and type what it shows.",
            detail={**question.detail, "doubt": True},
        )
        said = prompter.decide(asked, ("keep", "yes"))
        if said == "keep":
            return answer
        before = answer
        answer = understand(question, text) if isinstance(said, str) else said
        rows.append(keep(answer, rows[-1], "yes" if isinstance(said, str) else ""))
        say_understood(answer, prompter.asker)
        if answer.value == before.value:
            return answer  # typed twice, it stands
    return answer


def slip_of(
    question: Question, answer: Answer, expected_deg: float, in_deg: Callable[[Answer], float]
) -> tuple[str, str] | None:
    """Find what was probably meant by a reading that is far from what was expected.

    Returns
    -------
    text, slip : str
        What to type instead, and what happened; None when no slip explains it.
    """
    far = abs(in_deg(answer) - expected_deg)
    size = abs(expected_deg)
    # About neutral every small number is one slip away from a smaller one.
    if size < FAR_DEG or far <= max(FAR_DEG, FAR_PART * size):
        return None
    found = NUMBER.search(answer.typed)
    if found is None or not (number := float(found.group().replace(",", "."))):
        return None
    nearest, best = max(NEAR_DEG, NEAR_PART * size), None
    for slip, other in meant(found.group(), number):
        if other * number < 0 and len(question.signs) == 1:
            continue  # the other way cannot be meant
        text = with_number(question, answer.typed, other)
        try:
            away = abs(in_deg(understand(question, text)) - expected_deg)
        except HingelineError:  # more than the gauge or the surface can show
            continue
        if away < nearest:
            nearest, best = away, (text, slip)
    return best


def plain_keep(rig: Rig, subject: str, step: str, question: Question) -> Keep:
    """Keep answers that are no readings at a pulse, such as a lean or a free play."""

    def keep(answer: Answer, replaces: int | None, because: str) -> int:
        detail: Mapping[str, Any] = {**question.detail, "instead": because or replaces is not None}
        rig.keeper.typed(subject, step, Typed(question.topic, answer.typed, answer.value, detail))
        return 0

    return keep
