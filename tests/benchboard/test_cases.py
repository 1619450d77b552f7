from pathlib import Path

import pytest

from tests.benchboard import (
    cases_keeping,
    cases_motion,
    cases_panel,
    cases_requests,
    cases_supply,
)
from tests.support import micropython

MODULES = (cases_keeping, cases_motion, cases_panel, cases_requests, cases_supply)
HELPERS = {"line", "code_of", "begun", "all_of", "whole", "powered"}


@pytest.mark.parametrize(
    "case", [case for module in MODULES for case in module.CASES], ids=lambda case: case.__name__
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
    assert [case.__name__ for case in module.CASES] == [n for n in written if n not in HELPERS]


@pytest.mark.parametrize("module", MODULES)
def test_same_cases_pass_on_micropython(module):
    printed = micropython.run(Path(module.__file__)).splitlines()
    assert printed[-1] == f"passed {len(module.CASES)}"
    assert printed[:-1] == [f"case {case.__name__}" for case in module.CASES]
