"""Finding the zero of a digital level on a surface: two questions before anything is read."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from hingeline.bench.asking import Gauge, level_question, put
from hingeline.bench.choices import NOT_UNDERSTOOD, Choice, Chooser, chosen
from hingeline.model.schema import Surface
from hingeline.model.words import directions, sign_of
from hingeline.travel.level import zero_of

RISES, FALLS = "rises", "falls"


def find_zero(
    surface: Surface, gauge: Gauge, asker: Chooser, keep: Callable[[str, float | str], None]
) -> Gauge:
    """Ask what a level shows at neutral and which way its number goes; return it with its zero.

    Parameters
    ----------
    surface : Surface
        On which the level is; its servo gives no pulses meanwhile.
    gauge : Gauge
        The level.
    asker : Chooser
        Who holds the surface.
    keep : callable
        Given what was typed and what was understood, or `NOT_UNDERSTOOD`, before anything else
        happens.
    """
    first, second = directions(surface)
    question = level_question(
        f"{surface.name}: held at neutral by hand, what does the level show",
        surface.channel,
        gauge,
        surface,
    )
    shown = put(
        question,
        asker,
        lambda answer: keep(answer.typed, answer.value),
        lambda typed: keep(typed, NOT_UNDERSTOOD),
    ).value
    choice = Choice(
        f"{surface.name}: moved {first} by hand, the level's number",
        surface.channel,
        (RISES, FALLS),
        help=f"Move the trailing edge {first} a little and look which way the number goes; from "
        f"359 to 0 it rises. If it falls, it rises {second}. The level must stay as it is now.",
    )
    goes = chosen(choice, asker, keep)
    sense = sign_of(surface, first) * (1 if goes == RISES else -1)
    return replace(gauge, zero=zero_of(shown, sense, gauge.resolution))
