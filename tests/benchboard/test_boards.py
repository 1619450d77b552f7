from pathlib import Path

import pytest

from tests.benchboard import cases_boards
from tests.support import micropython


@pytest.mark.parametrize("case", cases_boards.CASES, ids=lambda case: case.__name__)
def test_case(case):
    case()


def test_same_cases_pass_on_micropython():
    printed = micropython.run(Path(cases_boards.__file__)).splitlines()
    assert printed[-1] == f"passed {len(cases_boards.CASES)}"
