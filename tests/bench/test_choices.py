"""Questions answered by a word."""

import pytest

from hingeline.bench.choices import Choice, chosen

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


def test_asked_again_until_understood_and_only_that_is_kept():
    kept = []
    person = Answers("yes", "?", "", "mo", "s")
    assert chosen(MOVED, person, lambda *answer: kept.append(answer)) == "still"
    assert kept == [("s", "still")]
    assert person.told == [
        "'yes' is none of: moved, still.",
        "Look at its tip.",
        "'' is none of: moved, still.",
        "'mo' is none of: moved, still.",
    ]
