"""Every fault that builders make, planted on the simulated bench: named, cured, signed off.

What is true in the end is taken from the stations, not from what was read.
"""

from __future__ import annotations

import pytest

from hingeline.bench.simulated import faults as planted
from hingeline.bench.simulated.build import Build
from hingeline.bench.simulated.faults import faults
from hingeline.model.writing import example_text
from hingeline.travel.matching import TOLERANCE_DEG
from tests.support import faults_table

#: Neutral is read to half a degree with an uncertainty of 0.33 deg, and called true within
#: twice that.
NEUTRAL_DEG = 0.9
KNOWN, UNKNOWN = 75, 150
#: A fault costs some prompts more, each of which says or does something about it.
MORE = 30
FAULTS = faults()


def is_true(run):
    """What must be true of a model that was rigged, whatever was wrong with it before."""
    assert run.passed, run.rows["remaining"]
    assert run.rows["signed"]
    assert run.worst_deg <= TOLERANCE_DEG, run.misses_deg
    assert run.neutral_deg <= NEUTRAL_DEG, run.misses_deg
    assert run.mismatch_deg <= TOLERANCE_DEG, run.true_deg
    # Directions: a throw the wrong way would miss by twice itself; said once more plainly.
    for name, own in run.true_deg.items():
        assert own[1.0] > own[0.5] > own[0.0] > own[-0.5] > own[-1.0], name
    assert run.strained == []
    assert set(run.true_deg) == {one.name for one in run.model.surfaces}


@pytest.fixture(scope="module")
def played(tmp_path_factory):
    """Play each fault once, when it is first asked for."""
    runs = {}

    def run(fault, *, known=False):
        key = (fault and fault.name, known)
        if key not in runs:
            runs[key] = faults_table.play(fault, tmp_path_factory.mktemp("run"), known=known)
        return runs[key]

    return run


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_a_fault_is_named_and_cured(fault, played):
    run = played(fault)
    (found,) = run.found
    assert found.named, (fault.causes, found.causes)
    assert found.mends
    is_true(run)
    assert run.prompts <= (KNOWN if fault.known else UNKNOWN) + MORE


@pytest.mark.parametrize(
    ("known", "prompts"), [(False, UNKNOWN), (True, KNOWN)], ids=["servos unknown", "on record"]
)
def test_a_sound_model_takes_few_prompts_and_nothing_is_named(known, prompts, played):
    run = played(None, known=known)
    is_true(run)
    assert run.prompts <= prompts
    assert [line for line in run.lines if line.startswith("failed")] == []


#: Words that the builder must have read before the first mend, by what was planted. A cause
#: kept in the records alone would help nobody.
SAID = {
    "arm off by one tooth": "1 tooth of 25",
    "arm off by 2 teeth": "2 teeth of 25",
    "set-back of 3 mm": "3 mm aft of the hinge line",
    "rod 1 mm too long": "mm too long",
    "reversed direction": "went up where down was asked for",
    "differential the wrong way": "the differential is the wrong way round",
    "slop of 1 deg more": "of free play; joints and gears",
    "weak servo with a short range": "does not turn far enough",
    "mistyped reading": "meant (decimal point)",
    "left and right channel swapped": "Leads swapped",
    "bare surface that stops early": "The bare right aileron stops early",
    "horn hole miscounted": "hole 2 of the horn",
}


@pytest.mark.parametrize("name", SAID)
def test_what_is_wrong_is_said_in_words(name, played):
    run = played(next(fault for fault in FAULTS if fault.name == name))
    assert SAID[name] in " ".join(run.lines)
    assert SAID[name] not in " ".join(played(None).lines)


def several(left, right, elevator, rudder):
    """Return a mistake for each surface of a model."""
    slop = planted.built("slop of 1 deg more", rudder, Build(play_mm=0.45), ("slop",))
    return (
        planted.reversed_direction(left),
        planted.tooth_misread(right),
        planted.mistyped(elevator),
        slop,
    )


#: Other models: what is changed in the example, and what its ailerons are then called.
OTHERS = {
    "as it is": ({}, "aileron"),
    "elevons": ({'kind = "aileron"': 'kind = "elevon"', "aileron": "wing end"}, "wing end"),
    "V-tail": ({'kind = "aileron"': 'kind = "ruddervator"', "aileron": "vee"}, "vee"),
    "parts with four arms": (
        {
            "arm_count = 1 ": "arm_count = 4 ",
            "teeth = 25\npulse": "teeth = 25\narm_count = 4\npulse",
        },
        "aileron",
    ),
    "throws in mm": (
        {'up = "15 deg", down = "11 deg"': 'up = "11 mm drop", down = "8 mm drop"'},
        "aileron",
    ),
}


@pytest.mark.parametrize("name", OTHERS)
def test_several_faults_at_once_are_told_apart(name, tmp_path):
    changes, ailerons = OTHERS[name]
    text = example_text()
    for old, new in changes.items():
        assert old in text
        text = text.replace(old, new)
    mistakes = several(f"left {ailerons}", f"right {ailerons}", "elevator", "rudder")
    run = faults_table.play_all(mistakes, tmp_path, text=text)
    for found in run.found:
        assert found.named, (found.fault.name, found.causes)
    is_true(run)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 2])
def test_other_servos_are_cured_as_well(seed, tmp_path):
    for number, fault in enumerate(FAULTS):
        folder = tmp_path / str(number)
        folder.mkdir()
        run = faults_table.play(fault, folder, port=f"sim:{seed}")
        assert run.found[0].named, (fault.name, run.found[0].causes)
        is_true(run)


def test_the_table_tells_planted_against_named(played):
    fault = next(fault for fault in FAULTS if fault.name == "reversed direction")
    run = played(fault)
    rows = [" ".join(line.split()) for line in faults_table.lines({fault.name: run})]
    assert f"reversed direction left aileron direction rod side yes {run.prompts}" in rows[-1]
