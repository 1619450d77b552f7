"""What the rows of a rig say of a build, what they cover, and readings that a slip explains."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hingeline.bench.asking import Gauge, surface_question, understand
from hingeline.bench.procedures.throwing import surface_deg
from hingeline.bench.rigging.asbuilt import as_built, trimmed
from hingeline.bench.rigging.covering import prints_of
from hingeline.bench.rigging.reading import slip_of
from hingeline.rigging.progress import Progress
from hingeline.rigging.steps import checklist
from hingeline.travel.nominal import nominal
from tests.support.rigging import MODEL

LEFT = MODEL.surface("left aileron")
GAUGE = Gauge("deg", 0.5)


def row(step, figures, surface="left aileron", outcome="done", number=1):
    return {
        "id": number,
        "noted": "",
        "surface": surface,
        "step": step,
        "outcome": outcome,
        "text": "",
        "figures": figures,
    }


def mended(name, **figures):
    return row("throws", {"mend": {"name": name, **figures}}, outcome="failed")


def test_without_rows_a_surface_is_as_its_file_says():
    assert as_built("left aileron", []).surface(LEFT) == LEFT


def test_what_was_measured_and_said_takes_the_place_of_the_file():
    rows = [
        row("bare", {"free_deg": {"up": 22.0, "down": 19.5}}),
        row("rod", {"holes": {"arm_hole": 2, "horn_hole": 1, "set_back_mm": 1.5}}),
        row("bare", {"free_deg": {"up": 5.0, "down": 5.0}}, surface="elevator"),
    ]
    surface = as_built("left aileron", rows).surface(LEFT)
    assert {word: float(size) for word, size in surface.free_travel.items()} == {
        "up": 22.0,
        "down": 19.5,
    }
    assert (surface.arm.hole, surface.horn.hole, surface.horn.set_back_mm) == (2, 1, 1.5)


def test_trims_add_up_until_the_arm_is_put_on_anew():
    rows = [mended("trim", trim_us=12), mended("trim", trim_us=-5)]
    assert as_built("left aileron", rows).trim_us == 7
    assert as_built("left aileron", [*rows, mended("refit", teeth=1)]).trim_us == 0
    seat = row("seat", {"mend": {"name": "trim", "trim_us": 40, "at_seat": True}})
    assert as_built("left aileron", [seat]).trim_us == 0  # the seat itself is on record


@pytest.mark.parametrize("name", ["refit", "set-back", "rod", "rod side", "servo"])
def test_aimed_pulses_hold_until_something_is_rebuilt(name):
    rows = [mended("aim")]
    assert as_built("left aileron", rows).aimed
    assert not as_built("left aileron", [*rows, mended(name, teeth=1)]).aimed


def test_a_hole_that_the_rod_was_moved_to_counts():
    surface = as_built("left aileron", [mended("hole", part="horn", hole=2)]).surface(LEFT)
    assert surface.horn.hole == 2
    assert surface.arm.hole == LEFT.arm.hole


def test_the_curve_of_a_servo_that_was_taken_out_is_void():
    gone = row("travel", {"mend": {"name": "servo"}, "void": 7}, outcome="failed")
    assert as_built("left aileron", [gone]).void == {7}
    assert as_built("right aileron", [gone]).void == frozenset()


@given(st.integers(-100, 100))
def test_a_trim_moves_neutral_by_just_so_much(trim_us):
    plain = nominal(MODEL.servos["A1"])
    moved = trimmed(plain, trim_us)
    assert moved.centre_us == plain.centre_us + trim_us
    assert moved.angle_deg(plain.centre_us + trim_us) == pytest.approx(0.0)
    assert moved.rate_deg_per_us == plain.rate_deg_per_us


def test_what_was_done_for_one_surface_is_open_for_the_others():
    rudder = [MODEL.surface("rudder")]
    every = MODEL.surfaces
    alone = checklist(MODEL, rudder)
    prints = prints_of(MODEL, alone, rudder, [])
    rows = [row("leads", {"print": prints["", "leads"]}, surface="")]

    def state(surfaces, rows):
        items = checklist(MODEL, surfaces)
        progress = Progress(items, prints_of(MODEL, items, surfaces, rows), rows)
        return progress.state(items[0])

    assert state(rudder, rows) == "done"
    assert state(every, rows) == "again"
    whole = prints_of(MODEL, checklist(MODEL, every), every, rows)
    rows = [*rows, row("leads", {"print": whole["", "leads"]}, surface="", number=2)]
    assert state(every, rows) == "done"
    assert state(rudder, rows) == "done"  # what was done for all holds for each


def likely(typed, expected_deg):
    question = surface_question(LEFT, 1, GAUGE, assumed=None)
    answer = understand(question, typed)
    return slip_of(question, answer, expected_deg, lambda made: surface_deg(made, LEFT, GAUGE))


UP = understand(surface_question(LEFT, 1, GAUGE, assumed=None), "up 1").value


@pytest.mark.parametrize(
    ("typed", "expected", "meant"),
    [
        ("up 145", 14.5, "up 14.5"),
        ("up 1.5", 15.0, "up 15"),
        ("down 15", 15.0, "up 15"),
        ("up 51", 15.0, "up 15"),
        ("1,45 up", 14.5, "up 14.5"),
    ],
)
def test_a_slip_is_explained(typed, expected, meant):
    assert likely(typed, UP * expected)[0] == meant


@given(st.floats(3.0, 30.0), st.floats(-0.25, 0.25))
def test_what_is_not_far_off_is_no_slip(expected, part):
    assert likely(f"up {expected * (1.0 + part):.1f}", UP * expected) is None


@given(st.floats(0.0, 2.9), st.floats(0.1, 30.0))
def test_about_neutral_nothing_is_a_slip(expected, typed):
    assert likely(f"up {typed:.1f}", UP * expected) is None


def test_the_arm_of_the_part_that_carries_the_rod_is_followed():
    assert as_built("left aileron", []).part_arm is None
    rows = [mended("refit", teeth=0, part_arm=3), mended("refit", teeth=1, part_arm=None)]
    assert as_built("left aileron", rows).part_arm == 3
