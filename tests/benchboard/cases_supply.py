# These cases run under MicroPython too.
from benchboard.fittings import FULL
from benchboard.panel import OFF
from tests.support.cases import equal, run
from tests.support.core_bench import NOTHING, SWEEP, US, Bench
from tests.support.panel_bench import WATCHED, ready, settings_of, shows


def powered(volts):
    """Return a bench whose supply has had this voltage from the start."""
    return ready(settings=settings_of(**WATCHED), supply=FULL * volts // 10)


def a_low_supply_stops_all_pulses_and_keeps_them_stopped():
    bench = powered(6)
    equal(abs(bench.get("hello")["rail_mv"] - 6000) <= 5, True)
    bench.setup((1, 2))
    equal(abs(bench.get("beat")["rail_mv"] - 6000) <= 5, True)
    bench.get("sweep", **SWEEP)
    bench.alive(300)
    bench.fitted.supply = FULL * 3 // 10
    bench.run(30)  # a dip
    bench.fitted.supply = FULL * 6 // 10
    bench.run(200)
    equal((0 in bench.pulses()[:2], bench.get("beat")["guard"]), (False, 0))
    bench.fitted.supply = FULL * 4 // 10
    before = bench.passed_us
    while bench.pulses() != NOTHING and bench.passed_us < before + 500000:
        bench.run(1)
    waited_ms = (bench.passed_us - before) // 1000
    equal((50 <= waited_ms <= 80, waited_ms), (True, waited_ms))
    equal(bench.get("beat")["guard"], 3)
    for word, values in (
        ("hold", {"p1_ns": 1500 * US}),
        ("centre", {"mask": 1}),
        ("sweep", dict(SWEEP)),
        ("steps", {"mask": 1, "dwell_ms": 0, "s1_ns": 1500 * US}),
    ):
        code, _, value, limit = bench.no(word, **values)
        equal((code, abs(value - 4000) <= 50, limit), ("rail_low", True, 4800))
    shows(bench, "fault")
    bench.get("beat")
    bench.fitted.supply = FULL * 6 // 10
    bench.run(100)
    equal(bench.pulses(), NOTHING)  # nothing begins again by itself
    bench.get("centre", mask=1)
    bench.run(100)
    equal(bench.pulses()[0], 1500)


def a_noisy_supply_is_smoothed_and_a_stall_is_no_proof_of_a_low_one():
    bench = powered(6).setup((1,))
    bench.get("silence", hold_ms=10000, off_ms=60000)
    bench.get("centre", mask=1)
    for n in range(400):
        bench.fitted.supply = FULL * (55 + n % 2 * 10) // 100
        bench.run(5)
        equal((n, abs(bench.core.rail.mv() - 6000) <= 250), (n, True))
    bench.fitted.supply = 0
    bench.run(900, 900000)  # one reading after a long time, then a good one
    bench.fitted.supply = FULL * 6 // 10
    bench.run(100)
    equal((bench.pulses()[0], bench.get("beat")["guard"]), (1500, 0))


def a_low_supply_keeps_the_panel_from_starting_and_stops_it():
    bench = powered(6)
    bench.press()
    bench.run(100)
    equal(bench.pulses()[0], 1500)
    bench.fitted.supply = 0
    bench.run(100)
    equal((bench.pulses(), bench.core.panel.state), (NOTHING, OFF))
    shows(bench, "fault")
    bench.press()
    bench.run(200)
    equal((bench.pulses(), bench.core.panel.state), (NOTHING, OFF))
    bench.fitted.supply = FULL * 6 // 10
    shows(bench, "resting")
    equal(bench.pulses(), NOTHING)
    bench.press()
    bench.run(100)
    equal(bench.pulses()[0], 1500)
    equal(bench.get("hello")["rail_mv"] > 5900, True)
    equal(bench.get("beat")["guard"], 0)  # it was not this computer's pulses


def a_supply_that_is_low_at_the_start_lets_nothing_begin():
    bench = Bench(settings=settings_of(**WATCHED), supply=0).setup((1,))
    equal(bench.no("centre", mask=1), ("rail_low", 0, 1, 4800))
    bench.run(1)
    equal(bench.pulses(), NOTHING)


CASES = (
    a_low_supply_stops_all_pulses_and_keeps_them_stopped,
    a_noisy_supply_is_smoothed_and_a_stall_is_no_proof_of_a_low_one,
    a_low_supply_keeps_the_panel_from_starting_and_stops_it,
    a_supply_that_is_low_at_the_start_lets_nothing_begin,
)

if __name__ == "__main__":
    run(CASES)
