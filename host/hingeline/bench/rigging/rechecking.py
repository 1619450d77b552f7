"""Three points of a surface, sent as they were sent when it was rigged, and read again."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from hingeline.bench.asking import Answer, Gauge, surface_question
from hingeline.bench.boards import Boards
from hingeline.bench.procedures.channels import go
from hingeline.bench.procedures.throwing import surface_deg
from hingeline.bench.rigging.loosening import slop_deg, slop_question
from hingeline.bench.rigging.prompting import Prompter
from hingeline.bench.rigging.reading import questioned
from hingeline.model.schema import Surface
from hingeline.model.words import directions, say, sign_of
from hingeline.rigging.threepoints import POINTS, too_far
from hingeline.travel.reading import Approach

#: Given the pulse, its approach, the answer, and which reading it replaces by which word; keeps
#: it and returns its number.
KeepReading = Callable[[int, Approach, Answer, "int | None", str], int]


@dataclass(frozen=True)
class Three:
    """What is to be checked.

    Attributes
    ----------
    surface : Surface
    pulses_us : sequence of int
        As recorded, at the points of `POINTS`.
    then_deg : sequence of float
        What was read there, positive in the first direction.
    """

    surface: Surface
    pulses_us: Sequence[int]
    then_deg: Sequence[float]


def read_three(
    board: Boards, three: Three, gauge: Gauge, prompter: Prompter, keep: KeepReading
) -> tuple[float, ...]:
    """Send the three pulses and have the surface read at each, whose channel is in use.

    Where the first end stands too far from its record, the surface is read once more at neutral,
    to which it goes back anyhow, and not driven to the other end.

    Returns
    -------
    tuple of float
        Three, or the first two; positive in the surface's first direction, in degrees.

    Raises
    ------
    Ordered
        When something else is to be done than reading.
    """
    surface = three.surface
    sign = sign_of(surface, directions(surface)[0])
    centre_us = three.pulses_us[1]
    at = centre_us
    go(board, {surface.channel: centre_us})
    found: list[float] = []
    for (share, _), pulse, then in zip(POINTS, three.pulses_us, three.then_deg, strict=True):
        if share < 0 and too_far(three.then_deg[0], found[0]):
            break
        go(board, {surface.channel: pulse})
        approach: Approach = "rising" if pulse > at else "falling"
        at = pulse
        question = replace(
            surface_question(surface, surface.channel, gauge, assumed=None),
            topic="throw" if share else "neutral",
            detail={"surface": surface.name, "share": share},
        )

        def kept(
            answer: Answer,
            replaces: int | None,
            because: str,
            pulse: int = pulse,
            approach: Approach = approach,
        ) -> int:
            return keep(pulse, approach, answer, replaces, because)

        with board.attended():
            answer = questioned(
                prompter,
                question,
                kept,
                sign * then,
                lambda made: surface_deg(made, surface, gauge),
                lambda size: say(surface, size),
            )
        found.append(sign * surface_deg(answer, surface, gauge) + 0.0)
        if share > 0 and too_far(then, found[0]):
            prompter.tell(
                f"That is far from {say(surface, sign * then)} on record: {surface.name} goes "
                "back to neutral, and is not driven to the other end."
            )
    go(board, {surface.channel: centre_us})
    return tuple(found)


def read_play(board: Boards, surface: Surface, gauge: Gauge, prompter: Prompter) -> float:
    """Have the free play of a surface read, whose servo holds; in degrees.

    Raises
    ------
    Ordered
        As for `read_three`.
    """
    with board.attended():
        return slop_deg(prompter.read(slop_question(surface, gauge)), surface, gauge)
