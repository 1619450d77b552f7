"""Killed at any prompt, the program has lost nothing that was typed, and goes on from there."""

import os
import signal

import pytest

from hingeline.records.store import Records
from tests.cli.running import Terminal, run
from tests.cli.test_typing import shown

CALIBRATE = ("calibrate", "millrace.toml", "R1", "--port", "sim:", "--yes", "--by-hand")
PROMPT = "(? helps):"
TRUE = ""
#: What is typed, prompt by prompt: every sort of thing that can be.
TYPED = [
    TRUE,
    TRUE,
    TRUE,
    "85",  # a slip, so that the next prompt is the question about it
    "nonsense",
    "86",
    "575",  # more than any arm turns
    "reedo 1550",
    "note",
    TRUE,
    "undo",
    TRUE,
    "redo 1550",
    TRUE,
    "note the wind blew",
    "skip",
    TRUE,
    "-85",
    "keep",
    "redo 1550",
    "stop here",
]

pytestmark = pytest.mark.skipif(os.name != "posix", reason="kills with SIGKILL")


def play(terminal, prompts):
    """Type at so many prompts, and wait for one more; return what was typed."""
    typed = []
    for text in TYPED[:prompts]:
        seen = terminal.until(PROMPT)
        text = text or shown(seen)
        terminal.type(text)
        typed.append(text)
    return typed


def taken_up(terminal):
    """Show truly that all is as it was, whatever is asked for that; return all that was said."""
    said = asked = terminal.until(PROMPT)
    while "all is as it was" in asked:
        terminal.type(shown(asked))
        asked = terminal.until(PROMPT)
        said += asked
    return said


def noted(folder):
    """Return all that is in the records of the newest session, typed texts first."""
    with Records(folder / "records.sqlite") as records:
        whole = records.session(records.sessions()[0]["id"])
    return [row["typed"] for row in whole["readings"]], whole["remarks"], whole


#: Other questions: what was typed there is kept as well, understood or not.
LISTEN = ("listen", "millrace.toml", "R1", "--port", "sim:4", "--yes", "--by-hand")
LEVEL = ("calibrate", "millrace.toml", "E1", "--port", "sim:4", "--yes", "--by-hand")
OTHERS = [
    ((*LISTEN, "--hold", "0.5 s"), ["qq", "quiet", "b", "perhaps", "b", "rod is off", "off"]),
    ((*LEVEL, "--gauge", "level"), ["up 3", "2,5", "up", "rises"]),
    (("deadband", *LISTEN[1:]), ["perhaps", "m", "moved it", "s"]),
]
REDO = "redo, redo 1700, or redo 1700 up (or down)"


@pytest.mark.parametrize(("command", "words"), OTHERS)
def test_killed_at_any_other_question_it_has_kept_every_keystroke(command, words, folder):
    with Terminal(*command) as terminal:
        for word in words:
            terminal.until(PROMPT)
            terminal.type(word)
        terminal.until(PROMPT)
        os.kill(terminal.process.pid, signal.SIGKILL)
        terminal.process.wait()
    texts, remarks, _ = noted(folder)
    assert texts == []
    assert [remark["text"] for remark in remarks] == words


@pytest.mark.parametrize(
    ("typed", "form"),
    [
        ("note", "note TEXT"),
        ("reedo 1500", REDO),
        ("redo 17", REDO),
        ("undo it", "undo"),
        ("stop", "stop here"),
        ("skp", "skip"),
        ("whatever", f"undo; {REDO}; skip; note TEXT; stop here"),
    ],
)
def test_an_order_that_is_half_typed_is_told_its_form(typed, form):
    ran = run(*CALIBRATE, typed=["0", typed])
    assert ran.code == 130
    assert f"typed: {form}." in ran.talk


@pytest.mark.parametrize("between", [[], ["?"], ["nonsense"]])
def test_what_no_arm_can_do_is_asked_about_with_what_was_meant(between, folder):
    ran = run(*CALIBRATE, typed=["0", "4.5", "9", "185", *between, "yes"])
    assert "is more than can be here (180 deg)" in ran.talk
    offers = ran.talk.count("was 18.5 meant (decimal point): yes, or the reading again")
    assert offers == 1 + len(between)  # it stands until something that can be read is typed
    texts, remarks, _ = noted(folder)
    assert texts == ["0", "4.5", "9", "18.5"]
    said = [(remark["kind"], remark["text"]) for remark in remarks]
    assert said[0] == ("not understood", "185")
    assert said[-1] == ("agreed", "yes")
    assert remarks[-1]["figures"]["likely"] == "18.5"


def test_what_no_linkage_can_show_is_asked_about_with_what_was_meant(folder):
    ran = run(*CALIBRATE, "--gauge", "deg", typed=["0", "left 3", "left 6", "left 120", "yes"])
    assert "was left 12 meant (decimal point): yes, or the reading again" in ran.talk
    texts, remarks, _ = noted(folder)
    assert texts == ["0", "left 3", "left 6", "left 120", "left 12"]
    assert {(one["kind"], one["text"]) for one in remarks} >= {("agreed", "yes"), ("replaced", "")}


@pytest.mark.parametrize("again", ["18", "ccw 18,5"])
def test_an_offer_is_not_taken_where_the_reading_is_typed_again(again, folder):
    run(*CALIBRATE, typed=["0", "4.5", "9", "185", again])
    assert noted(folder)[0] == ["0", "4.5", "9", again]


@pytest.mark.parametrize("typed", ["12,5x", "up 12", "-185", "cw"])
def test_a_reading_that_is_not_understood_is_told_no_orders(typed):
    assert "typed:" not in run(*CALIBRATE, typed=["0", typed]).talk


def test_orders_are_not_named_where_none_can_be_given():
    throw = ("throw", "millrace.toml", "rudder", "--port", "sim:", "--yes", "--by-hand")
    ran = run(*throw, typed=["undo"])
    assert "'undo' is not a number" in ran.talk
    assert "typed:" not in ran.talk


@pytest.mark.parametrize("prompts", range(1, len(TYPED)))
def test_killed_at_a_prompt_it_has_kept_every_keystroke(prompts, folder):
    with Terminal(*CALIBRATE) as terminal:
        typed = play(terminal, prompts)
        terminal.until(PROMPT)  # what was typed has been dealt with: the next prompt stands
        os.kill(terminal.process.pid, signal.SIGKILL)
        terminal.process.wait()
    texts, remarks, whole = noted(folder)
    said = [remark["text"].removeprefix("note ") for remark in remarks]
    for text in typed:
        assert texts.count(text) + said.count(text.removeprefix("note ")) >= typed.count(text)
    assert whole["outcome"] is None
    # Whatever does not count any more is there all the same, with what took its place.
    rows = {row["id"] for row in whole["readings"]}
    for remark in remarks:
        assert remark["reading_id"] is None or remark["reading_id"] in rows
        if remark["kind"] == "replaced":
            assert remark["figures"]["by"] in rows


def test_killed_at_the_question_of_a_doubt_it_is_asked_again_when_taken_up(folder):
    with Terminal(*CALIBRATE) as terminal:
        play(terminal, 4)
        question = terminal.until(PROMPT)
        assert "keep" in question
        os.kill(terminal.process.pid, signal.SIGKILL)
        terminal.process.wait()
    texts, remarks, _ = noted(folder)
    assert texts[-1] == "85"
    assert [remark["kind"] for remark in remarks] == ["questioned"]
    with Terminal(*CALIBRATE, "--resume") as terminal:
        question = taken_up(terminal)
        assert "4 readings of the unfinished calibration are kept." in question
        assert "85 is " in question
        terminal.type("keep")
        assert "keep" not in terminal.until(PROMPT).split("85 is kept as it was typed.")[1]
        os.kill(terminal.process.pid, signal.SIGKILL)
        terminal.process.wait()
    with Terminal(*CALIBRATE, "--resume") as terminal:  # once answered, never again
        assert "keep, " not in taken_up(terminal)
        os.kill(terminal.process.pid, signal.SIGKILL)
        terminal.process.wait()
    assert {remark["kind"] for remark in noted(folder)[1]} <= {"checked"}


def test_taken_up_again_what_was_taken_back_replaced_or_left_out_stays_so(folder):
    with Terminal(*CALIBRATE, "--points", "5") as terminal:
        typed = []
        for text in (TRUE, TRUE, TRUE, "undo", TRUE, "skip", "redo 1550", TRUE):
            seen = terminal.until(PROMPT)
            typed.append(text or shown(seen))
            terminal.type(typed[-1])
        left = terminal.until(PROMPT)
        os.kill(terminal.process.pid, signal.SIGKILL)
        terminal.process.wait()
    with Records(folder / "records.sqlite") as records:
        readings, remarks = records.unfinished("R1", simulated=True)
        session = records.sessions()[0]["id"]
        assert len(records.readings(session)) == 5
    assert [row["id"] for row in readings] == [1, 5, 4]  # in the order of the walk
    assert [remark["kind"] for remark in remarks] == ["skipped"]
    with Terminal(*CALIBRATE, "--points", "5", "--resume") as terminal:
        again = taken_up(terminal)
        assert "3 readings of the unfinished calibration are kept." in again
        # The very question at which it was killed.
        assert again.split("R1 at ")[-1].split(":")[0] == left.split("R1 at ")[1].split(":")[0]


def test_show_tells_what_was_said_of_each_reading():
    answers = ["0", "4.5", "9", "-185", "88", "keep", "undo", "12", "keep", "note cold today"]
    ran = run(*CALIBRATE, typed=answers)
    assert ran.code == 130
    out = run("records", "show", "1").out
    assert "questioned" in out
    assert "kept" in out
    assert "note: cold today" in out
    assert "not understood: -185" in out
