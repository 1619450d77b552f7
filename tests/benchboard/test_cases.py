from pathlib import Path

import pytest

from tests.benchboard import cases
from tests.support import micropython


@pytest.mark.parametrize("case", cases.CASES, ids=lambda case: case.__name__)
def test_case(case):
    case()


def test_no_case_is_left_out_of_the_list():
    written = [
        name
        for name, thing in vars(cases).items()
        if getattr(thing, "__module__", "") == cases.__name__
    ]
    helpers = {"line", "code_of", "steps_of"}
    assert [case.__name__ for case in cases.CASES] == [n for n in written if n not in helpers]


def test_same_cases_pass_on_micropython():
    printed = micropython.run(Path(cases.__file__)).splitlines()
    assert printed[-1] == f"passed {len(cases.CASES)}"
    assert printed[:-1] == [f"case {case.__name__}" for case in cases.CASES]
