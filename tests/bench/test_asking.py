"""What people type at the bench, and what is understood by it."""

from __future__ import annotations

import math

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from hingeline.bench.asking import Answer, Gauge, arm_question, put, surface_question, understand
from hingeline.errors import UnitError
from tests.support.bench import Person
from tests.support.models import one

AILERON, _ = one()
TOP_AILERON, _ = one(horn={"side": "top"})
RUDDER, _ = one(
    kind="rudder",
    side="centre",
    horn={"side": "right"},
    throws={"left": "20 deg", "right": "20 deg"},
    free_travel={"left": "30 deg", "right": "30 deg"},
)
DEG, DROP, ARM = Gauge("deg", 0.5), Gauge("drop", 0.5), Gauge("arm", 0.5)


def at_surface(gauge=DEG, shape=AILERON, assumed=None):
    return surface_question(shape, 1, gauge, assumed=assumed)


def at_arm():
    return arm_question("A1", 1, 1500, ARM)


# A push of the rod moves the surface away from its horn: that is the engine's plus.
@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("up 12", 12),
        ("12 up", 12),
        ("up 12,5", 12.5),
        ("12.5 up", 12.5),
        ("down 12.5", -12.5),
        ("12.5 deg down", -12.5),
        ("down 12.5 deg", -12.5),
        ("down 12.5°", -12.5),
        ("UP 3", 3),
        ("  Up   3  ", 3),
        ("up3", 3),
        ("up .5", 0.5),
        ("0", 0),
        ("0 up", 0),
        ("up 0", 0),
        ("0 deg", 0),
        ("neutral", 0),
        (" Neutral ", 0),
    ],
)
def test_accepted_at_a_surface_with_its_horn_below(typed, value):
    answer = understand(at_surface(), typed)
    assert answer.value == value
    assert math.copysign(1, answer.value) == math.copysign(1, value)  # no minus nought
    assert answer.typed == typed
    assert answer.settled


def test_signs_follow_the_horn():
    assert understand(at_surface(shape=TOP_AILERON), "up 12").value == -12
    assert understand(at_surface(shape=TOP_AILERON), "down 12").value == 12
    assert understand(at_surface(shape=RUDDER), "left 12").value == 12
    assert understand(at_surface(shape=RUDDER), "12 right").value == -12


@pytest.mark.parametrize(
    ("typed", "mm"), [("up 6", 6), ("up 0.25 in", 6.35), ("0,6 cm up", 6), ("down 6 mm", -6)]
)
def test_lengths_at_a_surface(typed, mm):
    assert understand(at_surface(DROP), typed).value == pytest.approx(mm)


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("12.5", 12.5),
        ("12,5", 12.5),
        ("-12,5", -12.5),
        ("+12.5", 12.5),
        ("12.5 deg", 12.5),
        ("ccw 12.5", 12.5),
        ("cw 12.5", -12.5),
        ("12.5 cw", -12.5),
        ("cw12", -12),
        ("0", 0),
        ("-0", 0),
        ("cw 0", 0),
    ],
)
def test_accepted_at_the_arm(typed, value):
    answer = understand(at_arm(), typed)
    assert answer.value == value
    assert math.copysign(1, answer.value) == math.copysign(1, value)


@pytest.mark.parametrize("typed", ["turning", " Turning ", "TURNING"])
def test_a_servo_that_keeps_turning(typed):
    answer = understand(at_arm(), typed)
    assert not answer.settled


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("12.5", "does not say which way"),
        ("12.5 deg", "does not say which way"),
        ("12.5 mm", "the unit 'mm'"),
        ("up -12.5", "has a sign"),
        ("-12.5 up", "has a sign"),
        ("up +12.5", "has a sign"),
        ("-0 up", "has a sign"),
        ("left 12", "not a number"),
        ("up", "not a number"),
        ("", "not a number"),
        ("up 12 down", "the unit 'down'"),
        ("up up 12", "not a number"),
        ("1.234,5 up", "both a comma and a point"),
        ("1_2 up", "not a number"),
        ("nan up", "not a number"),
        ("inf up", "not a number"),
        ("1e1 up", "'e1'"),
        ("１２ up", "not a number"),
        ("up²", "not a number"),
        ("turning", "not a number"),
        ("yes", "not a number"),
    ],
)
def test_refused_at_a_surface(typed, says):
    with pytest.raises(UnitError) as caught:
        understand(at_surface(), typed)
    assert says in str(caught.value)
    assert caught.value.mend


def test_a_sign_is_refused_where_a_word_is_assumed():
    question = at_surface(assumed="down")
    assert understand(question, "12").value == -12
    assert understand(question, "up 12").value == 12
    for typed in ("-12", "+12", "- 12"):  # plus may mean up, or "as asked": nobody knows
        with pytest.raises(UnitError):
            understand(question, typed)


@pytest.mark.parametrize("typed", ["ccw -12", "-12 cw", "cw +12", "cw ccw 12", "up 12", "12 mm"])
def test_refused_at_the_arm(typed):
    with pytest.raises(UnitError):
        understand(at_arm(), typed)


@pytest.mark.parametrize(
    ("question", "typed", "limit"),
    [
        (at_surface(DROP), "up 45.5", "45 mm"),
        (at_surface(DROP), "up 2 in", "45 mm"),
        (at_surface(Gauge("straight", 0.5)), "up 90.5", "90 mm"),
        (at_surface(), "up 181", "180 deg"),
        (at_arm(), "181", "180 deg"),
        (at_arm(), "cw 1350", "180 deg"),
        (at_surface(DROP), "up " + "9" * 308 + " in", "too large to be a length"),
    ],
)
def test_more_than_can_be_is_asked_again(question, typed, limit):
    with pytest.raises(UnitError, match=limit):
        understand(question, typed)


def test_what_was_understood_is_said():
    person = Person(["12,5 up"])
    put(at_surface(), person)
    assert person.told == ["12,5 up read as up 12.5 deg"]
    person = Person(["0"])
    put(at_surface(), person)
    assert person.told == ["0 read as 0 deg"]


def test_a_question_mark_helps_and_nonsense_is_asked_again():
    person = Person(["?", " ? ", "12", "up 12x", "up 12"])
    answer = put(at_surface(), person)
    assert answer == Answer("up 12", 12.0, "deg", "up 12 deg")
    assert len(person.asked) == 5
    assert person.told[0] == person.told[1] == at_surface().help
    assert "which way" in person.told[2]
    for word in ("up", "down", "Ctrl-C"):
        assert word in person.told[0]


def test_every_question_says_unit_and_words_of_its_surface():
    assert "in deg" in at_surface().text
    assert "mm drop" in at_surface(DROP).text
    assert "45 mm chord" in at_surface(DROP).text
    assert set(at_surface(shape=RUDDER).signs) == {"left", "right"}
    assert "turning" in at_arm().help


WORDS = st.sampled_from(["up", "down", "cw", "ccw", "neutral", "turning", "deg", "mm", "in", "?"])
PIECES = st.one_of(WORDS, st.floats().map(str), st.integers().map(str), st.text(max_size=4))


@given(
    st.one_of(st.text(max_size=20), st.lists(PIECES, max_size=4).map(" ".join)),
    st.sampled_from([at_arm(), at_surface(), at_surface(DROP), at_surface(assumed="up")]),
)
@example("up ٣", at_surface())
@example("up٣", at_surface())
@example("12\x00", at_arm())
@settings(max_examples=600)
def test_any_text_is_understood_or_refused(typed, question):
    try:
        answer = understand(question, typed)
    except UnitError as error:
        assert error.mend
        return
    assert math.isfinite(answer.value)
    assert abs(answer.value) <= 180
    assert answer.typed == typed


@given(st.floats(0, 44), st.sampled_from(["up", "down"]), st.booleans(), st.booleans())
def test_word_and_number_in_any_order_mean_the_same(size, word, first, comma):
    number = f"{size:.2f}"
    typed = f"{word} {number}" if first else f"{number} {word}"
    typed = typed.replace(".", ",") if comma else typed
    answer = understand(at_surface(DROP), typed)
    assert answer.value == (1 if word == "up" else -1) * float(number)
