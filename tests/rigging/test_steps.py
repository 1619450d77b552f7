"""The checklist: its order, what rests on what, and what of the model file each step is about."""

import re

import pytest

from hingeline.model.reading import parse_model
from hingeline.model.writing import example_text
from hingeline.rigging.steps import (
    ALL,
    STEPS,
    changed_parts,
    checklist,
    pair_name,
    print_of,
    step_named,
)

MILLRACE = example_text()
MODEL = parse_model(MILLRACE, source="")
ORDER = [
    "leads",
    "bare",
    "class",
    "centre",
    "seat",
    "travel",
    "rod",
    "neutral",
    "direction",
    "throws",
    "slop",
    "binding",
    "pair",
    "limits",
    "screws",
    "signoff",
]


def prints(text):
    model = parse_model(text, source="")
    return {item.key: print_of(model, item) for item in checklist(model, model.surfaces)}


def test_each_stage_is_done_on_the_whole_model_before_the_next():
    items = checklist(MODEL, MODEL.surfaces)
    names = [item.step.name for item in items]
    assert [name for place, name in enumerate(names) if name not in names[:place]] == ORDER
    assert names == sorted(names, key=ORDER.index)
    seats = [item.subject for item in items if item.step.name == "seat"]
    assert seats == [surface.name for surface in MODEL.surfaces]
    assert [item.subject for item in items if item.step.name == "pair"] == [
        "left aileron / right aileron"
    ]
    assert len({item.key for item in items}) == len(items)


def test_a_pair_is_compared_only_when_both_its_sides_are_rigged():
    one = checklist(MODEL, [MODEL.surface("left aileron"), MODEL.surface("rudder")])
    assert not [item for item in one if item.step.scope == "pair"]
    assert {item.subject for item in one} == {"", "left aileron", "rudder"}


def test_every_step_rests_on_earlier_ones_alone():
    for place, step in enumerate(STEPS):
        before = [one.name for one in STEPS[:place]]
        assert step.rests_on == ALL or set(step.rests_on) <= set(before)
        assert step_named(step.name) is step
    assert STEPS[-1].rests_on == ALL
    with pytest.raises(KeyError):
        step_named("glue")


def test_every_step_says_why_in_one_short_line():
    for step in STEPS:
        assert len(step.why) <= 99
        assert step.why.endswith(".")
        assert "\n" not in step.title + step.why


@pytest.mark.parametrize(
    ("old", "new", "changed"),
    [
        (
            "hole = 1, teeth_lean = 1",
            "hole = 2, teeth_lean = 1",
            {"seat": "arm", "rod": "arm"},
        ),
        ('up = "15 deg", down', 'up = "14 deg", down', {"bare": "throws", "throws": "throws"}),
        ('chord = "45 mm"', 'chord = "44 mm"', {"bare": "chord", "neutral": "chord"}),
        ("channel = 1 ", "channel = 7 ", {"centre": "channel"}),
        ("spline_teeth = 25  ", "spline_teeth = 24  ", {"seat": "servo's spline teeth"}),
        ('centre = "1500 us" ', 'centre = "1520 us" ', {"centre": "servo's centre"}),
    ],
)
def test_a_change_of_the_file_shows_in_the_steps_that_are_about_it(old, new, changed):
    assert old in MILLRACE
    before, after = prints(MILLRACE), prints(MILLRACE.replace(old, new, 1))
    for name, part in changed.items():
        key = ("left aileron", name)
        assert changed_parts(before[key], after[key]) == [part]
        assert before["rudder", name] == after["rudder", name]
    assert before["right aileron", "throws"] == after["right aileron", "throws"]


def test_a_narrow_servo_shows_in_the_step_about_all_classes():
    text = MILLRACE.replace('pulse_class = "standard" ', 'pulse_class = "custom" ', 1)
    assert changed_parts(prints(MILLRACE)["", "class"], prints(text)["", "class"]) == [
        "servo's pulse class"
    ]


def test_remarks_layout_names_and_order_of_the_file_do_not_show():
    bare = re.sub(r"#.*", "", MILLRACE).replace('name = "Millrace"', 'name = "Other"')
    turned = bare.replace(
        'throws = { up = "15 deg", down = "11 deg" }',
        'throws = { down = "11 deg", up = "15 deg" }',
    )
    assert turned != bare
    assert prints(turned) == prints(MILLRACE)


def test_a_throw_in_another_measure_is_another_throw():
    drop = MILLRACE.replace('up = "15 deg", down', 'up = "15 mm drop", down', 1)
    straight = drop.replace("15 mm drop", "15 mm straight", 1)
    assert prints(drop)["left aileron", "throws"] != prints(straight)["left aileron", "throws"]


def test_a_pair_that_moves_otherwise_is_another_pair():
    other = MILLRACE.replace('moves = "opposite"', 'moves = "together"')
    key = (pair_name(MODEL.pairs[0]), "pair")
    assert changed_parts(prints(MILLRACE)[key], prints(other)[key]) == ["pair"]
