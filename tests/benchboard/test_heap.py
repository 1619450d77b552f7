from pathlib import Path

from tests.support import micropython


def test_the_tick_takes_nothing_from_the_heap():
    printed = micropython.run(Path(__file__).with_name("heap.py")).splitlines()
    both = [2100] * 4 + [900] * 4
    assert printed[0] == f"starts {[1500] * 8} 0"
    assert printed[1].endswith(" 255")
    assert printed[2] == f"swept {both} 0"
    assert printed[3].endswith(" 255")
    assert printed[4] == f"swept {both} 0"
    assert printed[5] == f"steps {[2100] * 8} 0"
    assert printed[6] == f"stopped {[0] * 4 + [2100] * 4} 0"
    assert printed[7] == f"held {[0] * 4 + [2100] * 4} 1"
    assert printed[8] == f"silent {[0] * 8} 2"
    assert len(printed) == 9
