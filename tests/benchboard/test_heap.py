from pathlib import Path

from benchboard.panel import CENTRE, KNOB, OFF, SWEEP
from tests.support import micropython
from tests.support.core_bench import NOTHING


def test_the_tick_takes_nothing_from_the_heap():
    printed = micropython.run(Path(__file__).with_name("heap.py")).splitlines()
    both = [2100] * 4 + [900] * 4
    centre = [1500] * 8
    half = [0] * 4 + [1500] * 4
    assert printed[0] == f"starts {centre} 0"
    assert printed[1].endswith(" 255")
    assert printed[2] == f"swept {both} 0"
    assert printed[3].endswith(" 255")
    assert printed[4] == f"swept {both} 0"
    assert printed[5] == f"steps {[2100] * 8} 0"
    assert printed[6] == f"ramp {[1800] * 8} 255"
    assert printed[7] == f"ramped {centre} 0"
    assert printed[8] == f"stopped {half} 0"
    assert printed[9] == f"held {half} 1"
    assert printed[10] == f"silent {NOTHING} 2"
    assert printed[11] == f"pressed {NOTHING} 4"
    assert printed[12] == f"low {NOTHING} 4"  # the most since the last beat stays the button
    assert printed[13] == f"centre {CENTRE} {centre}"
    state, pulses = printed[14].split(" ", 2)[1:]
    assert (int(state), len(set(pulses.strip("[]").split(", ")))) == (SWEEP, 1)
    state, pulses = printed[15].split(" ", 2)[1:]
    assert int(state) == KNOB
    # the knob stands at 20050 of 65535, of which 512 at either end say nothing
    wanted = 1000 + (20050 - 512) / (65535 - 2 * 512) * 1000
    assert all(abs(int(pulse) - wanted) <= 3 for pulse in pulses.strip("[]").split(", "))
    assert printed[16] == f"centre {CENTRE} {centre}"
    assert printed[17] == f"long {OFF} {NOTHING}"
    assert printed[18] == f"low {OFF} {NOTHING}"
    assert printed[19] == f"refused {OFF} {NOTHING}"
    assert printed[20].startswith("ticks ")
    assert int(printed[20].split()[1]) > 10_000
    assert len(printed) == 21
