"""A chosen build goes into the file, and nothing else of the file changes."""

import difflib

import pytest

from hingeline.errors import ModelError
from hingeline.model.reading import parse_model
from hingeline.model.rewriting import Build, with_builds
from hingeline.model.writing import example_text

TEXT = example_text()


def test_only_the_build_changes_and_remarks_stay():
    text = with_builds(TEXT, {"elevator": Build(1, 2, -1, 1, 1.5)})
    surface = parse_model(text, source="m").surface("elevator")
    assert (surface.arm.hole, surface.horn.hole) == (1, 2)
    assert (surface.arm.teeth_lean, surface.arm.part_arm) == (-1, 1)
    assert surface.horn.set_back_mm == 1.5
    changed = [
        line
        for line in difflib.ndiff(TEXT.splitlines(), text.splitlines())
        if line.startswith(("- ", "+ "))
    ]
    assert len(changed) == 4  # the arm and the horn line, before and after


def test_the_present_build_changes_nothing():
    assert with_builds(TEXT, {"left aileron": Build(1, 3, 1, 1, 0.0)}) == TEXT


def test_an_arm_of_a_part_is_added_where_it_is_needed():
    text = TEXT.replace("arm_count = 1 ", "arm_count = 4 ", 1)
    text = with_builds(text, {"left aileron": Build(1, 3, 0, 3, 0.0)})
    assert parse_model(text, source="m").surface("left aileron").arm.part_arm == 3
    assert "teeth_lean = 0, part_arm = 3}" in text


def test_an_unknown_surface_is_named():
    with pytest.raises(ModelError, match="'spoiler'"):
        with_builds(TEXT, {"spoiler": Build(1, 1, 0, 1, 0.0)})


def test_an_arm_that_the_part_does_not_have_is_refused():
    text = TEXT.replace("teeth_lean = 1 }", "teeth_lean = 1, part_arm = 2 }", 1)
    with pytest.raises(ModelError, match=r"arm\.part_arm: arm 2 is not one of the 1 arms"):
        parse_model(text, source="m")
