"""Runs under MicroPython: the tick with the heap locked, so that taking from it fails."""

import micropython

from benchboard.fittings import FULL
from tests.support.core_bench import US, Bench
from tests.support.panel_bench import WATCHED, settings_all

ticks = 0


def locked(ms, down=False):
    """Let time pass by ticks of 1 ms with the heap locked, the button up or down."""
    global ticks
    now_us = bench.now_us()
    bench.fitted.down = down
    core = bench.core
    micropython.heap_lock()
    try:
        for n in range(ms):
            # noise on both analogue inputs
            bench.fitted.turned = (turned + n * 37 % 100) % FULL
            bench.fitted.supply = supply + n * 41 % 100
            now_us = (now_us + 1000) & 0x3FFFFFFF
            core.tick(now_us)
    finally:
        micropython.heap_unlock()
    bench.passed_us += ms * 1000
    ticks += ms


def press(ms=100):
    locked(ms, True)
    locked(50)


def report(name):
    print(name, bench.pulses(), bench.get("beat")["moving_mask"])


# A lock that does not hold would let everything pass.
micropython.heap_lock()
try:
    bytearray(100)
    print("the heap was not locked")
except MemoryError:
    pass
finally:
    micropython.heap_unlock()

# A computer has the word; supply watched, light on, knob fitted.
turned, supply = 20000, FULL * 6 // 10
bench = Bench((1 << 30) - 5000, settings=settings_all(**WATCHED), supply=supply).setup()
bench.outputs.logging = False
bench.get("centre", mask=255)
locked(600)
report("starts")
sweep = {"mask": 255, "opposed_mask": 15, "low_ns": 900 * US, "high_ns": 2100 * US, "cycles": 1}
for shape in (1, 2):
    bench.get("sweep", period_ms=2000, shape=shape, lag_ms=10, **sweep)
    locked(1200)
    report("sweep")
    locked(1470)
    report("swept")
bench.get("steps", mask=255, dwell_ms=50, s1_ns=900 * US, s2_ns=2100 * US, lag_ms=10)
locked(1450)
report("steps")
bench.get("centre", mask=255, ramp_ms=1200)
locked(600)
report("ramp")
locked(601)
report("ramped")
bench.get("off", mask=15)
locked(100)
report("stopped")
locked(1600)
print("held", bench.pulses(), bench.core.worst)
locked(3000)
print("silent", bench.pulses(), bench.core.worst)
bench.get("centre", mask=255)
locked(600)
press()
print("pressed", bench.pulses(), bench.core.worst)
bench.get("centre", mask=1)
locked(100)
supply = FULL * 4 // 10
locked(100)
print("low", bench.pulses(), bench.core.worst)
supply = FULL * 6 // 10
bench.get("quit")
locked(100)

# Nobody has it but the button.
for name, ms in (("centre", 1000), ("sweep", 7000), ("knob", 3000), ("centre", 1200)):
    press()
    locked(ms)
    print(name, bench.core.panel.state, bench.pulses())
press(1100)
print("long", bench.core.panel.state, bench.pulses())
press()
locked(300)
supply = 0
locked(200)
print("low", bench.core.panel.state, bench.pulses())
locked(1000)
press()
print("refused", bench.core.panel.state, bench.pulses())
print("ticks", ticks)
