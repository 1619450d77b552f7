"""Questions put to the person at the bench, and what their typed answers mean.

Whoever answers types text: a person at a keyboard, or the stand-in of the simulated
bench. Both go through the same understanding, which accepts "12.5", "12,5", "12.5 mm"
and "up 12", says what it understood, and asks again when it understood nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, Protocol

from hingeline import units
from hingeline.bench.orders import HELP, form_of
from hingeline.errors import TravelError, UnitError
from hingeline.model.schema import Surface
from hingeline.model.words import directions, sign_of, split_direction
from hingeline.travel.level import Zero, within_half_turn
from hingeline.travel.suspects import NUMBER

GaugeKind = Literal["arm", "deg", "drop", "straight", "level"]

#: Said instead of an angle when a servo does not come to rest.
TURNING = "turning"
#: No arm and no surface turns further than half a turn.
MOST_DEG = 180.0
#: An arm that leans more than this points at its rod or away from it, and drives nothing.
MOST_LEAN_DEG = 90.0
#: From here on a scale of 0 to 360 shows small angles of the other sense.
LAST_QUARTER_DEG = 270.0
ARM_SIGNS = {"ccw": 1, "cw": -1}
#: Which way an arm leans or a horn's hole stands off the hinge line.
LEAN_SIGNS = {"ahead": 1, "aft": -1}


@dataclass(frozen=True)
class Gauge:
    """What is read, and how finely.

    Attributes
    ----------
    kind : {"arm", "deg", "drop", "straight", "level"}
        A protractor at the arm; or at the surface: degrees from neutral, mm square to the
        neutral plane, mm with a ruler held straight from edge to edge, degrees as a digital
        level shows them against gravity.
    resolution : float
        Smallest step that can be read: degrees or mm.
    zero : Zero or None
        What a level shows at neutral; None for all others, and until it was read.
    """

    kind: GaugeKind
    resolution: float
    zero: Zero | None = None

    @property
    def unit(self) -> str:
        """Unit of its readings."""
        return "mm" if self.kind in ("drop", "straight") else "deg"

    @property
    def quantity(self) -> units.Kind:
        """Kind of quantity that it reads."""
        return units.ANGLE if self.unit == "deg" else units.LENGTH

    @property
    def at_surface(self) -> bool:
        """Whether it is held to the surface rather than to the arm."""
        return self.kind != "arm"


@dataclass(frozen=True)
class Question:
    """A question for one reading.

    Attributes
    ----------
    text : str
        The question, ending without a question mark: "Where does the arm stand".
    channel : int
        Channel of the servo concerned.
    gauge : Gauge
        What is read.
    signs : mapping of str to int
        Direction words that may be typed, and the sign of each.
    assumed : str or None
        Word taken for a bare positive number; None: the word must be typed.
    signed : bool
        Whether a bare number may carry its own sign instead of a word.
    most : float
        Largest size that can be: what is larger is a slip, and is asked again.
    help : str
        What "?" answers.
    topic : str
        What it is about, in a word or two that stay the same whatever the text says; empty
        outside a guided run.
    detail : mapping of str to object
        What the text says, as figures and names: for whoever stands in for the builder.
    """

    text: str
    channel: int
    gauge: Gauge
    signs: Mapping[str, int]
    assumed: str | None = None
    signed: bool = False
    most: float = MOST_DEG
    help: str = field(default="", repr=False)
    topic: str = ""
    detail: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Answer:
    """What was understood by a typed answer.

    Attributes
    ----------
    typed : str
        The keystrokes.
    value : float
        With the engine's sign, in the gauge's unit.
    unit : str
        "deg" or "mm".
    echo : str
        What was understood, for the person to see.
    settled : bool
        False when the servo was said to keep turning.
    """

    typed: str
    value: float
    unit: str
    echo: str
    settled: bool = True


class Asker(Protocol):
    """Someone who can be asked: a person at the keyboard, or a stand-in."""

    def ask(self, question: Question) -> str:
        """Return what is typed in answer."""

    def tell(self, text: str) -> None:
        """Show a line."""

    def pause(self, text: str) -> None:
        """Show a line, and wait until the person is ready to go on."""

    def agree(self, text: str) -> bool:
        """Return the answer to a question of yes or no; there is no usual answer."""


def arm_question(servo: str, channel: int, pulse_us: int, gauge: Gauge) -> Question:
    """Ask where the arm stands."""
    return Question(
        f"{servo} at {pulse_us} us: where does the arm stand, in deg",
        channel,
        gauge,
        ARM_SIGNS,
        signed=True,
        help="Looking at the arm, measure from its planned place at centre. Counter-clockwise "
        "is positive: type 12.5 or ccw 12.5, and -12.5 or cw 12.5 for the other way. "
        f"If the servo does not stop, type {TURNING}. Ctrl-C stops; what was typed is kept.",
    )


def surface_question(
    surface: Surface, channel: int, gauge: Gauge, *, assumed: str | None
) -> Question:
    """Ask where the surface stands; without ``assumed`` its direction must be typed."""
    first, second = directions(surface)
    if gauge.kind == "level":
        return level_question(f"{surface.name}: what does the level show", channel, gauge, surface)
    how = {"deg": "in deg", "drop": "mm drop", "straight": "mm straight"}[gauge.kind]
    where = "" if gauge.unit == "deg" else f" at the {surface.chord_mm:g} mm chord"
    # A trailing edge comes no further from its plane than the chord, nor from its place than two.
    most = {"drop": surface.chord_mm, "straight": 2.0 * surface.chord_mm}
    return Question(
        f"{surface.name}: where does it stand{where}, {how}",
        channel,
        gauge,
        {word: sign_of(surface, word) for word in (first, second)},
        assumed=assumed,
        most=most.get(gauge.kind, MOST_DEG),
        help=f"Measure from neutral and say which way the trailing edge went: {first} 12.5 or "
        f"12.5 {second}. Type 0 at neutral. Ctrl-C stops; what was typed is kept.",
    )


def lean_question(surface: Surface, gauge: Gauge) -> Question:
    """Ask how far the servo's arm leans from square to its rod, the servo at its centre."""
    return Question(
        f"{surface.name}: how far does the arm lean from square to the rod, in deg",
        surface.channel,
        gauge,
        LEAN_SIGNS,
        most=MOST_LEAN_DEG,
        help="Square to the line from the arm's hole to the horn's hole is 0. Say which way the "
        "arm's tip leans: ahead, away from the hinge line, or aft, towards it: ahead 12.5 or "
        "12.5 aft.",
        topic="seat",
        detail={"surface": surface.name},
    )


def level_question(text: str, channel: int, gauge: Gauge, surface: Surface) -> Question:
    """Ask for what a level on a surface shows, with its own sign or none."""
    return Question(
        f"{text}, in deg",
        channel,
        gauge,
        {word: sign_of(surface, word) for word in directions(surface)},
        signed=True,
        most=2.0 * MOST_DEG,
        help="Type the number as the level shows it, with its minus where it has one; 0 to 360 "
        "is as good as -180 to 180. Ctrl-C stops; what was typed is kept.",
    )


def understand(question: Question, typed: str) -> Answer:
    """Read a typed answer.

    Raises
    ------
    UnitError
        When it cannot be understood, saying what would be.
    """
    words = tuple(question.signs)
    if question.gauge.kind == "arm" and typed.strip().lower() == TURNING:
        return Answer(typed, 0.0, "deg", "the servo keeps turning", settled=False)
    if typed.strip().lower() == "neutral":
        typed_value, word = "0", None
    else:
        word, typed_value = split_direction(typed, words)
    size, text = units.parse_at_prompt(typed_value, question.gauge.quantity, question.gauge.unit)
    if word is None and size != 0 and not question.signed:
        word = question.assumed
        if word is None:
            raise UnitError(
                f"{typed!r} does not say which way.", mend=f"Type {' or '.join(words)} before it."
            )
    if typed_value.strip()[:1] in ("-", "+") and not (question.signed and word is None):
        raise UnitError(
            f"{typed!r} has a sign.",
            cause="Which way it went is said by a word.",
            mend=f"Type {' or '.join(words)} and the number without a sign.",
        )
    # Where anything is let pass, 270 may be a slip for 27.0, which the fit then names.
    wraps = question.gauge.kind == "arm" and word is None and question.most <= MOST_DEG
    if wraps and LAST_QUARTER_DEG <= size <= 360.0:
        size = within_half_turn(size)  # off a scale of 0 to 360
        text = f"{size:.6g} deg"
    if abs(size) > question.most:
        raise UnitError(
            f"{typed!r} is more than can be here ({question.most:g} {question.gauge.unit}).",
            mend="Look at the gauge and its unit again.",
        )
    if question.gauge.kind == "level":
        return _level_answer(question, typed, size, text, word)
    sign = question.signs[word] if word else 1
    echo = f"{word} {text}" if word and size else text
    return Answer(typed, sign * size + 0.0, question.gauge.unit, echo)  # + 0.0: never -0.0


def _level_answer(
    question: Question, typed: str, size: float, text: str, word: str | None
) -> Answer:
    """Turn what a level shows into the deflection from its zero, once that is known."""
    if word is not None:
        raise UnitError(
            f"{typed!r} says a direction.",
            cause="Against gravity the level's own number says which way the surface went.",
            mend="Type the number alone, as the level shows it.",
        )
    zero = question.gauge.zero
    if zero is None:
        return Answer(typed, size, "deg", text)
    turned = zero.deflection_deg(size)
    way = next((w for w, sign in question.signs.items() if sign * turned > 0), None)
    went = "neutral" if way is None else f"{way} {abs(turned):.4g} deg"
    return Answer(typed, turned + 0.0, "deg", f"{text}, which is {went}")


def put(
    question: Question,
    asker: Asker,
    keep: Callable[[Answer], None] = lambda _answer: None,
    refused: Callable[[str], None] = lambda _typed: None,
) -> Answer:
    """Ask until the answer is understood, keep it, and only then say what was understood.

    What is not understood is given to ``refused`` before anything is said.
    """
    while True:
        answer = heard(question, asker, asker.ask(question), refused)
        if answer is not None:
            keep(answer)
            say_understood(answer, asker)
            return answer


def heard(
    question: Question,
    asker: Asker,
    typed: str,
    refused: Callable[[str], None] = lambda _typed: None,
) -> Answer | None:
    """Understand what was typed; None when it has to be asked again, which is said.

    What is not understood is given to ``refused`` before anything is said.
    """
    if typed.strip() == "?":
        asker.tell(question.help)
        return None
    try:
        return understand(question, typed)
    except (UnitError, TravelError) as error:
        refused(typed)
        asker.tell(f"{error} {hint}" if (hint := _form(question, typed)) else str(error))
        return None


def _form(question: Question, typed: str) -> str:
    """Name the order that was probably meant, where orders may be typed at all."""
    if HELP not in question.help or split_direction(typed, tuple(question.signs))[0] is not None:
        return ""
    return form_of(typed)


def say_understood(answer: Answer, asker: Asker) -> None:
    """Say what was understood; only after it was kept."""
    asker.tell(f"{answer.typed.strip()} read as {answer.echo}")


def with_number(question: Question, typed: str, number: float) -> str:
    """Write what was typed with another number in it, whose sign may turn the direction round.

    Parameters
    ----------
    question : Question
        What was asked.
    typed : str
        What was typed, with a number in it that is not 0.
    number : float
        To be written instead.
    """
    word, value = split_direction(typed, tuple(question.signs))
    found = NUMBER.search(value)
    if found is None:
        return typed
    turned = (number < 0) != found.group().startswith("-")
    if word is not None and turned:
        sign = -question.signs[word]
        word = next(other for other, its in question.signs.items() if its == sign)
    size = f"{abs(number):.9f}".rstrip("0").rstrip(".")
    minus = "-" if word is None and number < 0 else ""
    text = value[: found.start()] + minus + size + value[found.end() :]
    return text if word is None else f"{word} {text}"
