"""Where a checklist stands, whatever has happened before."""

import functools

from hypothesis import given, settings
from hypothesis import strategies as st

from hingeline.model.reading import parse_model
from hingeline.model.writing import example_text
from hingeline.rigging.progress import COVERS, Progress
from hingeline.rigging.steps import ALL, STEPS, checklist, print_of

MILLRACE = example_text()
MODEL = parse_model(MILLRACE, source="")
ITEMS = checklist(MODEL, [MODEL.surface(name) for name in ("left aileron", "right aileron")])
PRINTS = {item.key: print_of(MODEL, item) for item in ITEMS}
BY_KEY = {item.key: item for item in ITEMS}
PAIR = "left aileron / right aileron"
OUTCOMES = ("done", "failed", "skipped", "reopened")


def row(item, outcome, text="", prints=PRINTS):
    return {
        "surface": item.subject,
        "step": item.step.name,
        "outcome": outcome,
        "text": text,
        "figures": {"print": prints[item.key]},
    }


def key(name, subject=""):
    return BY_KEY[subject, name]


def all_done(prints=PRINTS):
    progress = Progress(ITEMS, prints, [])
    while (item := progress.next()) is not None:
        progress.add(row(item, "done", prints=prints))
    return progress


def again(progress):
    return {item.key for item in ITEMS if progress.state(item) == "again"}


# Written out apart from the code: the surface steps that rest on each, through all others.
ABOVE = {
    "leads": "centre seat travel neutral direction throws slop binding pair limits screws",
    "bare": "throws binding pair limits",
    "class": "centre seat travel neutral direction throws slop binding pair limits screws",
    "centre": "seat travel neutral direction throws slop binding pair limits screws",
    "seat": "neutral throws binding pair limits screws",
    "travel": "neutral throws binding pair limits",
    "rod": "neutral throws slop binding pair limits screws",
    "neutral": "throws binding pair limits",
    "direction": "throws binding pair limits",
    "throws": "binding pair limits",
    "slop": "",
    "binding": "",
    "pair": "",
    "limits": "",
    "screws": "",
}


@functools.cache
def above(item):
    """Return the keys of all that rests on an item."""
    subjects = {item.subject, "", PAIR}
    if not item.subject or item.subject == PAIR:
        subjects |= {"left aileron", "right aileron"}
    names = [*ABOVE[item.step.name].split(), "signoff"] if item.step.name != "signoff" else []
    return {one.key for one in ITEMS if one.step.name in names and one.subject in subjects}


def test_it_goes_through_the_list_in_its_order():
    progress = Progress(ITEMS, PRINTS, [])
    for place, item in enumerate(ITEMS):
        assert progress.next() is item
        assert progress.state(item) == "open"
        assert progress.done_count == place
        progress.add(row(item, OUTCOMES[place % 3]))
        assert progress.state(item) == OUTCOMES[place % 3]
        assert progress.last(item)["outcome"] == OUTCOMES[place % 3]
    assert progress.next() is None
    assert progress.done_count == progress.count == len(ITEMS)


def test_opening_a_step_opens_all_that_rests_on_it_and_nothing_else():
    for item in ITEMS:
        progress = all_done()
        progress.add(row(item, "reopened", "redo"))
        assert again(progress) == {item.key} | above(item)
        assert progress.next() is item
        assert "redo" in progress.why_again(item)


def test_what_was_done_again_opens_what_rests_on_it_and_says_so():
    progress = all_done()
    seat = key("seat", "left aileron")
    progress.add(row(seat, "done"))
    assert again(progress) == above(seat)
    assert progress.why_again(key("neutral", "left aileron")) == (
        "It rests on arm seated (left aileron), which was done again since."
    )
    assert progress.why_again(key("neutral", "right aileron")) == ""
    progress.add(row(seat, "failed"))
    assert "failed" in progress.why_again(key("neutral", "left aileron"))


def test_a_fault_and_what_it_opens_are_one_row():
    """Whatever comes between, what was mended is measured again."""
    progress = all_done()
    slop, rod = key("slop", "left aileron"), key("rod", "left aileron")
    fault = row(slop, "failed")
    fault["figures"]["reopens"] = [list(slop.key), list(rod.key)]
    progress.add(fault)
    assert again(progress) == {slop.key, rod.key} | above(rod)
    assert progress.why_again(rod) == "It was opened again: because of slop (left aileron)."
    progress.add(row(rod, "done"))
    progress.add(row(slop, "done"))
    assert progress.state(slop) == progress.state(rod) == "done"


def test_what_is_still_to_come_is_not_opened_again():
    progress = Progress(ITEMS, PRINTS, [])
    fault = row(key("travel", "left aileron"), "failed")
    fault["figures"]["reopens"] = [["left aileron", "rod"]]
    progress.add(fault)
    assert progress.state(key("rod", "left aileron")) == "open"


def test_pulses_wait_until_leads_class_and_centre_stand():
    progress = Progress(ITEMS, PRINTS, [])
    centre, throws = key("centre", "left aileron"), key("throws", "left aileron")
    assert progress.waits_for(key("bare", "left aileron").step, "left aileron") == ""
    for name, subject, title in (
        ("leads", "", "leads"),
        ("class", "", "pulse class"),
        ("centre", "left aileron", "servo at centre"),
    ):
        for outcome in (None, "skipped", "failed"):
            if outcome:
                progress.add(row(key(name, subject), outcome))
            assert progress.waits_for(throws.step, "left aileron") == title
        progress.add(row(key(name, subject), "done"))
    assert progress.waits_for(centre.step, "right aileron") == ""
    # A rod that nobody has looked at may be off, or in the wrong hole.
    for outcome in (None, "skipped"):
        if outcome:
            progress.add(row(key("rod", "left aileron"), outcome))
        assert progress.waits_for(throws.step, "left aileron") == "rod fitted"
    for outcome in ("failed", "done"):  # whoever left a fault of it has said how it is
        progress.add(row(key("rod", "left aileron"), outcome))
        assert progress.waits_for(throws.step, "left aileron") == ""
    assert progress.waits_for(throws.step, "right aileron") == "servo at centre"
    progress.add(row(key("leads"), "reopened"))
    assert progress.waits_for(throws.step, "left aileron") == "leads"


def test_what_was_left_out_opens_nothing():
    progress = all_done()
    progress.add(row(key("seat", "left aileron"), "skipped"))
    assert again(progress) == set()


def test_what_was_opened_and_then_left_out_still_opens_what_rests_on_it():
    progress = all_done()
    seat = key("seat", "left aileron")
    progress.add(row(seat, "reopened"))
    progress.add(row(seat, "skipped"))
    assert again(progress) == above(seat)


def test_a_change_of_the_model_file_opens_its_steps_and_names_what_changed():
    done = all_done()
    text = MILLRACE.replace("hole = 1, teeth_lean = 1", "hole = 2, teeth_lean = 1", 1)
    model = parse_model(text, source="")
    prints = {item.key: print_of(model, item) for item in ITEMS}
    rows = [done.last(item) for item in ITEMS]
    progress = Progress(ITEMS, prints, rows)
    seat, rod = key("seat", "left aileron"), key("rod", "left aileron")
    assert again(progress) == {seat.key, rod.key} | above(seat) | above(rod)
    assert progress.why_again(seat) == "The model file has changed in arm since."
    assert progress.why_again(key("neutral", "left aileron")) == (
        "It rests on arm seated (left aileron), which no longer stands."
    )


def covering(*names):
    return {
        one: text + (COVERS + "; ".join(names) if not one[0] else "")
        for one, text in PRINTS.items()
    }


def test_a_rig_taken_up_for_more_surfaces_leaves_what_was_done_for_the_first():
    first = ["left aileron"]
    earlier = Progress(checklist(MODEL, [MODEL.surface(first[0])]), covering(*first), [])
    rows = []
    while (item := earlier.next()) is not None:
        rows.append(row(item, "done", prints=covering(*first)))
        earlier.add(rows[-1])
    wide = covering("left aileron", "right aileron")
    progress = Progress(ITEMS, wide, rows)
    asked = []
    while (item := progress.next()) is not None:
        asked.append(item.key)
        progress.add(row(item, "done", prints=wide))
    assert ("", "leads") in asked
    assert ("", "screws") in asked
    assert ("", "signoff") in asked
    assert not [one for one in asked if one[0] == "left aileron"]
    mine = [item for item in ITEMS if "right aileron" in item.subject]
    assert {item.key for item in mine} <= set(asked)


def test_such_a_step_that_is_opened_or_fails_still_opens_all_that_rests_on_it():
    for outcomes in (("reopened", "done"), ("failed",)):
        progress = all_done(covering("left aileron"))
        wide = covering("left aileron", "right aileron")
        later = Progress(ITEMS, wide, [progress.last(item) for item in ITEMS])
        for outcome in outcomes:
            later.add(row(key("leads"), outcome, prints=wide))
        assert again(later) >= above(key("leads"))


def test_rows_of_what_is_not_on_the_list_are_passed_over():
    progress = all_done()
    strange = {**row(ITEMS[0], "reopened"), "surface": "tail hook", "step": "seat"}
    progress.add(strange)
    assert progress.next() is None


ROWS = st.lists(
    st.tuples(st.sampled_from(ITEMS), st.sampled_from(OUTCOMES), st.booleans()), max_size=60
)


def made(sequence):
    stale = dict.fromkeys(PRINTS, "arm=00000000")
    return [row(item, outcome, prints=stale if old else PRINTS) for item, outcome, old in sequence]


@settings(max_examples=200, deadline=None)
@given(ROWS, st.booleans())
def test_nothing_counts_as_done_above_what_does_not(sequence, from_done):
    start = [row(item, "done") for item in ITEMS] if from_done else []
    rows = start + made(sequence)
    progress = Progress(ITEMS, PRINTS, rows)
    last_at = {(one["surface"], one["step"]): place for place, one in enumerate(rows)}
    for item in ITEMS:
        if progress.state(item) not in ("open", "again"):
            continue
        for higher in above(item):
            assert progress.state(BY_KEY[higher]) in ("open", "again")
    for place, one in enumerate(rows):
        if one["outcome"] != "reopened" or not BY_KEY.get((one["surface"], one["step"])):
            continue
        for higher in above(BY_KEY[one["surface"], one["step"]]):
            if last_at.get(higher, -1) < place:
                assert progress.state(BY_KEY[higher]) in ("open", "again")


@settings(max_examples=100, deadline=None)
@given(ROWS, st.integers(0, 60))
def test_a_run_that_was_killed_goes_on_where_it_was(sequence, kill_at):
    rows = made(sequence)
    live = Progress(ITEMS, PRINTS, [])
    for one in rows[:kill_at]:
        live.add(one)
        assert live.next() is Progress(ITEMS, PRINTS, live_rows(rows, one)).next()
    replayed = Progress(ITEMS, PRINTS, rows[:kill_at])
    for item in ITEMS:
        assert live.state(item) == replayed.state(item)
        assert live.why_again(item) == replayed.why_again(item)
        assert (live.state(item) == "again") == bool(live.why_again(item))


def live_rows(rows, newest):
    """Return the rows up to one, which is told apart from its likes by being the same object."""
    place = next(place for place, one in enumerate(rows) if one is newest)
    return rows[: place + 1]


@settings(max_examples=100, deadline=None)
@given(ROWS)
def test_doing_what_comes_next_ends_whatever_was_done_before(sequence):
    progress = Progress(ITEMS, PRINTS, made(sequence))
    for _ in ITEMS:
        if (item := progress.next()) is None:
            break
        assert progress.state(item) in ("open", "again")
        progress.add(row(item, "done"))
    assert progress.next() is None


def test_signing_rests_on_every_other_step():
    assert STEPS[-1].name == "signoff"
    assert STEPS[-1].rests_on == ALL
    progress = all_done()
    for item in ITEMS[:-1]:
        progress.add(row(item, "done"))
        assert progress.state(ITEMS[-1]) == "again"
