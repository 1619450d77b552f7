from pathlib import Path

from tests.support import micropython


def test_outputs_on_the_strict_stand_in():
    printed = micropython.run(Path(__file__).with_name("pwm.py")).splitlines()
    assert printed[-1] == f"passed {len(printed) - 1}"
    assert len(printed) > 8
