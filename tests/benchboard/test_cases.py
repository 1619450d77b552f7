from pathlib import Path

import pytest

from tests.benchboard import cases_motion, cases_requests
from tests.support import micropython

MODULES = (cases_motion, cases_requests)


@pytest.mark.parametrize(
    "case", cases_motion.CASES + cases_requests.CASES, ids=lambda case: case.__name__
)
def test_case(case):
    case()


@pytest.mark.parametrize("module", MODULES)
def test_no_case_is_left_out_of_the_list(module):
    written = [
        name
        for name, thing in vars(module).items()
        if getattr(thing, "__module__", "") == module.__name__
    ]
    helpers = {"line", "code_of"}
    assert [case.__name__ for case in module.CASES] == [n for n in written if n not in helpers]


@pytest.mark.parametrize("module", MODULES)
def test_same_cases_pass_on_micropython(module):
    printed = micropython.run(Path(module.__file__)).splitlines()
    assert printed[-1] == f"passed {len(module.CASES)}"
    assert printed[:-1] == [f"case {case.__name__}" for case in module.CASES]
