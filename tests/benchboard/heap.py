"""Runs under MicroPython: the tick with the heap locked, so that taking from it fails."""

import micropython

from tests.support.core_bench import US, Bench

bench = Bench((1 << 30) - 5000).setup()
bench.outputs.logging = False
core = bench.core


def locked(ms):
    """Let time pass by ticks of 1 ms with the heap locked."""
    now_us = bench.now_us()
    micropython.heap_lock()
    try:
        for _ in range(ms):
            now_us = (now_us + 1000) & 0x3FFFFFFF
            core.tick(now_us)
    finally:
        micropython.heap_unlock()
    bench.passed_us += ms * 1000


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

bench.get("centre", mask=255)
locked(600)
report("starts")
sweep = {"mask": 255, "opposed_mask": 15, "low_ns": 900 * US, "high_ns": 2100 * US, "cycles": 1}
for shape in (1, 2):
    bench.get("sweep", period_ms=2000, shape=shape, **sweep)
    locked(1200)
    report("sweep")
    locked(1400)
    report("swept")
bench.get("steps", mask=255, dwell_ms=50, s1_ns=900 * US, s2_ns=2100 * US)
locked(1450)
report("steps")
bench.get("off", mask=15)
locked(100)
report("stopped")
locked(1600)
print("held", bench.pulses(), bench.core.worst)
locked(3000)
print("silent", bench.pulses(), bench.core.worst)
