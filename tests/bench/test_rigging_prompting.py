"""Prompts of the guided run: kept first, orders obeyed, words known by their beginnings."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hingeline.bench.asking import Gauge, lean_question, surface_question
from hingeline.bench.choices import NOT_UNDERSTOOD, Choice
from hingeline.bench.rigging.orders import form_of, order_of
from hingeline.bench.rigging.prompting import Ordered, Prompter
from hingeline.model.reading import parse_model
from hingeline.model.writing import example_text

MODEL = parse_model(example_text(), source="example")
CLASS = Choice("are they", 1, ("listed", "different"), topic="class", detail={"servos": {}})
KINDS = Choice("how", 1, ("record", "quick", "usual", "thorough"), topic="travel")
NAME = Choice("who", 1, (), topic="signoff")
LEAN = lean_question(MODEL.surface("left aileron"), Gauge("arm", 0.5))


class Scripted:
    """Types what it was given; what it is told and asked, and what was kept, is one list."""

    def __init__(self, *typed):
        self.typed = list(typed)
        self.said = []
        self.asked = []

    def ask(self, question):
        self.asked.append(question)
        return self.typed.pop(0)

    pick = ask

    def tell(self, text):
        self.said.append(("told", text))

    def keep(self, typed):
        self.said.append(("kept", typed.text))
        self.last = typed

    def prompter(self, obey=lambda _order: None):
        return Prompter(self, self.keep, obey)

    @property
    def kept(self):
        return [text for what, text in self.said if what == "kept"]


@pytest.mark.parametrize(
    ("typed", "word"),
    [("listed", "listed"), ("l", "listed"), (" D ", "different"), ("LISTED", "listed")],
)
def test_a_word_is_known_by_its_beginning(typed, word):
    someone = Scripted(typed)
    assert someone.prompter().pick(CLASS) == word
    assert someone.last.understood == word
    assert someone.last.detail == {"servos": {}}


@pytest.mark.parametrize(
    ("typed", "word"), [("buzzes", "buzzing"), ("quietly", "quiet"), ("buzzed", "buzzing")]
)
def test_another_form_of_a_word_is_understood(typed, word):
    heard = Choice("was it", 1, ("quiet", "buzzing", "hot"), topic="binding")
    assert Scripted(typed).prompter().pick(heard) == word


def test_a_label_is_taken_by_its_letters_alone():
    someone = Scripted("Elevator", "10", "hotter", "Elev")
    choice = Choice("which", 1, ("Elev", "A1", "1", "hot", "none"), topic="t")
    assert someone.prompter().pick(choice) == "Elev"


def test_a_refused_order_puts_the_same_question_again():
    refused = {"skip": "not this one"}
    someone = Scripted("skip it", "redo", "quick")
    prompter = Prompter(someone, someone.keep, refused=lambda order: refused.get(order.what, ""))
    with pytest.raises(Ordered):
        prompter.pick(KINDS)
    assert someone.kept == ["skip it", "redo"]
    assert ("told", "not this one") in someone.said


def test_a_beginning_that_two_words_share_is_asked_again():
    someone = Scripted("e", "A", "A2")
    assert someone.prompter().pick(Choice("which", 1, ("A1", "A2", "none"), topic="t")) == "A2"
    assert someone.kept == ["e", "A", "A2"]


def test_a_whole_word_is_meant_even_where_another_begins_like_it():
    choice = Choice("which hole", 1, ("1", "10", "11"), topic="mend")
    assert Scripted("1").prompter().pick(choice) == "1"


def test_everything_is_kept_before_anything_is_said():
    someone = Scripted("nonsense", "note it rains", "skp me", "0")
    someone.prompter().read(LEAN)
    assert someone.said[0] == ("kept", "nonsense")
    for place, (what, _) in enumerate(someone.said):
        if what == "told":
            assert someone.said[place - 1][0] == "kept"
    assert someone.kept == ["nonsense", "note it rains", "skp me", "0"]


def test_a_note_is_kept_and_the_question_put_again():
    someone = Scripted("note the wind blew", "ahead 4,5")
    assert someone.prompter().read(LEAN).value == 4.5
    assert len(someone.asked) == 2
    assert ("kept", "note the wind blew") in someone.said


@pytest.mark.parametrize("typed", ["stop", "skip no time", "redo", "redo seat left aileron"])
@pytest.mark.parametrize("question", [CLASS, LEAN, NAME])
def test_an_order_ends_the_step_and_is_kept(typed, question):
    someone = Scripted(typed)
    put = someone.prompter().read if question is LEAN else someone.prompter().pick
    with pytest.raises(Ordered) as ordered:
        put(question)
    assert ordered.value.order == order_of(typed)
    assert someone.kept == [typed]
    assert someone.last.understood.startswith("order: ")


def test_list_and_why_leave_the_step_where_it_is():
    orders = []
    someone = Scripted("list", "why", "quick")
    assert someone.prompter(orders.append).pick(KINDS) == "quick"
    assert [order.what for order in orders] == ["list", "why"]


def test_a_word_of_the_question_itself_is_no_order():
    broken = Choice("again or stop", 1, ("again", "stop"), topic="broken off")
    assert Scripted("stop").prompter().pick(broken) == "stop"


def test_same_is_the_last_answer_to_a_question_of_the_same_topic():
    someone = Scripted("same", "aft 3", "l", "same")
    prompter = someone.prompter()
    assert prompter.read(LEAN).value == -3.0  # "same" the first time means nothing yet
    assert ("told", "There was no question like this before.") in someone.said
    assert prompter.pick(CLASS) == "listed"
    assert prompter.read(LEAN).value == -3.0
    assert someone.kept[-2:] == ["same", "aft 3"]


def test_any_text_answers_a_question_without_words():
    assert Scripted("Ada  Lovelace").prompter().pick(NAME) == "Ada Lovelace"


def test_help_names_the_words_and_the_orders():
    someone = Scripted("?", "quick")
    someone.prompter().pick(KINDS)
    (what, text), *_ = someone.said
    assert what == "told"
    assert "record, quick, usual, thorough" in text
    for order in ("list", "why", "note TEXT", "skip REASON", "redo STEP SURFACE", "same", "stop"):
        assert order in text


@pytest.mark.parametrize(
    ("typed", "form"),
    [("skip", "skip REASON"), ("note", "note TEXT"), ("sotp", "stop"), ("stop now", "stop")],
)
def test_an_order_half_typed_is_told_its_form(typed, form):
    someone = Scripted(typed, "quick")
    someone.prompter().pick(KINDS)
    assert any(text.endswith(f"That order is typed: {form}.") for _, text in someone.said)


def test_no_reading_begins_like_an_order():
    for typed in ("up 12", "12.5", "left 3", "aft 2", "0", "ccw 4"):
        assert form_of(typed) == ""
        assert order_of(typed) is None


@given(st.sampled_from(["note", "skip", "redo"]), st.text(min_size=1))
def test_what_stands_behind_an_order_is_its_text(word, text):
    order = order_of(f"{word} {text}")
    if text.strip():
        assert order is not None
        assert (order.what, order.text) == (word, text.strip())
    else:
        assert order is None or order.what == "redo"


@given(st.text())
def test_no_text_at_all_breaks_a_prompt(text):
    someone = Scripted(text, "quick")
    try:
        word = someone.prompter().pick(KINDS)
    except Ordered as ordered:
        assert order_of(text) == ordered.order
    else:
        assert word in KINDS.words
        assert someone.kept[0] == text or text.strip() == "?"


def test_decide_takes_a_word_or_a_reading():
    question = surface_question(MODEL.surface("elevator"), 3, Gauge("deg", 0.5), assumed=None)
    assert Scripted("KEEP").prompter().decide(question, ("keep", "yes")) == "keep"
    someone = Scripted("perhaps", "up 12")
    answer = someone.prompter().decide(question, ("keep", "yes"))
    assert answer.typed == "up 12"
    assert someone.kept == ["perhaps"]  # a reading is kept by whoever asked for it
    assert someone.last.understood == NOT_UNDERSTOOD
