"""Directions as people say them, and the sign that each has in the engine."""

import pytest

from hingeline.errors import UnitError
from hingeline.model import words
from hingeline.model.reading import parse_model
from hingeline.model.writing import example_text

MODEL = parse_model(example_text(), source="example")


@pytest.mark.parametrize(
    ("name", "pushed", "other"),
    [
        ("left aileron", "up", "down"),  # horn below: a push lifts the trailing edge
        ("elevator", "down", "up"),  # horn on top
        ("rudder", "left", "right"),  # horn on the right
    ],
)
def test_a_push_turns_the_trailing_edge_away_from_the_horn(name, pushed, other):
    surface = MODEL.surface(name)
    assert words.pushed_word(surface) == pushed
    assert words.sign_of(surface, pushed) == 1
    assert words.sign_of(surface, other) == -1
    assert words.word_of(surface, 2.0) == pushed
    assert words.word_of(surface, -2.0) == other


def test_a_word_of_another_kind_of_surface_is_refused():
    with pytest.raises(UnitError, match="does not move left"):
        words.sign_of(MODEL.surface("elevator"), "left")


def test_people_see_words_not_signs():
    surface = MODEL.surface("left aileron")
    assert words.say(surface, -11.04) == "down 11.0 deg"
    assert words.say(surface, 0.04) == "neutral"


@pytest.mark.parametrize(
    ("text", "word", "rest"),
    [
        ("up 12", "up", "12"),
        ("12.5 mm up", "up", "12.5 mm"),
        ("Down 3,5", "down", "3,5"),
        ("up12", "up", "12"),
        ("12.5", None, "12.5"),
        ("  ", None, ""),
        ("left 4", None, "left 4"),
        ("upper 4", None, "upper 4"),
    ],
)
def test_a_direction_may_stand_before_or_after_the_value(text, word, rest):
    assert words.split_direction(text, words.WINGLIKE) == (word, rest)
