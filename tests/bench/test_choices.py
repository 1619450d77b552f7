"""Questions answered by a word."""

import pytest

from hingeline.bench.choices import NOT_UNDERSTOOD, Choice, chosen

MOVED = Choice("Did the arm move", 1, ("moved", "still"), help="Look at its tip.")


class Answers:
    def __init__(self, *typed):
        self.typed, self.told = list(typed), []

    def pick(self, _choice):
        return self.typed.pop(0)

    def tell(self, text):
        self.told.append(text)


@pytest.mark.parametrize("typed", ["moved", "m", " Moved ", "M"])
def test_the_word_or_its_letter(typed):
    kept = []
    assert chosen(MOVED, Answers(typed), lambda *answer: kept.append(answer)) == "moved"
    assert kept == [(typed, "moved")]


def test_asked_again_until_understood_and_all_that_is_typed_is_kept_first():
    kept = []
    person = Answers("yes", "?", "", "mo", "s")

    def keep(typed, word):
        kept.append((typed, word, len(person.told)))

    assert chosen(MOVED, person, keep) == "still"
    assert kept == [  # and each before anything was said of it
        ("yes", NOT_UNDERSTOOD, 0),
        ("", NOT_UNDERSTOOD, 2),
        ("mo", NOT_UNDERSTOOD, 3),
        ("s", "still", 4),
    ]
    assert person.told == [
        "'yes' is none of: moved, still.",
        "Look at its tip.",
        "'' is none of: moved, still.",
        "'mo' is none of: moved, still.",
    ]
