"""Sending the throws that the geometry asks for, and measuring what comes of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from hingeline import chord
from hingeline.bench.asking import Answer, Asker, Gauge, put, surface_question
from hingeline.bench.boards import Boards
from hingeline.bench.procedures.channels import go
from hingeline.model import words
from hingeline.model.schema import Surface
from hingeline.travel.setting import Setting

#: Called with the surface, the pulse and its approach, and the answer, before going on.
NoteSurface = Callable[[Surface, int, str, Answer], None]


@dataclass(frozen=True)
class Throw:
    """One throw as wanted, predicted and measured.

    Attributes
    ----------
    word : str
        Direction asked for.
    pulse_us : int
        What was sent.
    wanted_deg : float
        Signed, like the two below: positive when the rod is pushed.
    predicted_deg : float
        By linkage and travel curve, at the pulse that was sent.
    predicted_u_deg : float or None
        Standard uncertainty of the prediction, from the curve; None: not measured.
    measured_deg : float
        By the person at the gauge.
    """

    word: str
    pulse_us: int
    wanted_deg: float
    predicted_deg: float
    predicted_u_deg: float | None
    measured_deg: float

    @property
    def right_way(self) -> bool:
        """Whether it went the way that was asked for, judged beyond a degree."""
        return self.measured_deg * self.wanted_deg > 0 or abs(self.wanted_deg) <= 1.0


def send_throws(
    board: Boards,
    setting: Setting,
    asked: Sequence[tuple[str, float]],
    gauge: Gauge,
    asker: Asker,
    note: NoteSurface,
) -> list[Throw]:
    """Send deflections one by one, each from neutral, and measure each.

    Parameters
    ----------
    board : Boards
        With the surface's channel in use.
    setting : Setting
        The surface.
    asked : sequence of (str, float)
        Direction word and degrees without sign.
    gauge : Gauge
        What the surface is measured with.
    asker : Asker
        Who measures.
    note : callable
        Keeps each answer before anything else happens.

    Raises
    ------
    TravelError, LinkageError
        Before anything moves, when one of the deflections cannot be had.
    """
    surface = setting.surface
    targets = [(word, words.sign_of(surface, word) * size) for word, size in asked]
    pulses = [setting.pulse_us(wanted) for _, wanted in targets]
    done = []
    for (word, wanted), pulse in zip(targets, pulses, strict=True):
        go(board, {surface.channel: round(setting.centre_us)})
        go(board, {surface.channel: pulse})
        measured = read_surface(board, setting, pulse, gauge, asker, note, assumed=word)
        approach = setting.approach_of(pulse)
        done.append(
            Throw(
                word,
                pulse,
                wanted,
                setting.predicted_deg(pulse, approach),
                setting.predicted_u_deg(pulse, approach),
                measured,
            )
        )
    go(board, {surface.channel: round(setting.centre_us)})
    return done


def read_surface(
    board: Boards,
    setting: Setting,
    pulse_us: int,
    gauge: Gauge,
    asker: Asker,
    note: NoteSurface,
    *,
    assumed: str | None,
) -> float:
    """Ask where a surface stands, which is at ``pulse_us`` already; signed, in degrees."""
    surface = setting.surface
    approach = setting.approach_of(pulse_us)
    question = surface_question(surface, surface.channel, gauge, assumed=assumed)
    with board.attended():
        answer = put(question, asker, lambda made: note(surface, pulse_us, approach, made))
    return surface_deg(answer, surface, gauge)


def surface_deg(answer: Answer, surface: Surface, gauge: Gauge) -> float:
    """Return an answer at the surface in degrees, whatever it was measured in.

    Raises
    ------
    UnitError
        For a distance that the surface's chord cannot show.
    """
    if gauge.kind in ("drop", "straight"):
        return chord.throw_deg(answer.value, surface.chord_mm, gauge.kind)
    return answer.value
