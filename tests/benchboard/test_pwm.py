"""Hardware files of the board, against the strict stand-in for the chip."""

from pathlib import Path

import pytest

from tests.support import micropython


@pytest.mark.parametrize(("script", "least"), [("pwm.py", 16), ("fitted.py", 8), ("wild.py", 3)])
def test_script_passes_under_micropython(script, least):
    printed = micropython.run(Path(__file__).with_name(script)).splitlines()
    assert printed[-1] == f"passed {len(printed) - 1}"
    assert len(printed) > least
