"""A bench worked by its button, for cases that run under MicroPython too."""

from benchboard.panel import LIGHTS
from benchboard.settings import NO_CHANNEL, USUAL, USUAL_CHANNEL, Settings
from tests.support.cases import equal
from tests.support.core_bench import US, Bench

NARROW = {"class": 2, "low_ns": 460 * US, "high_ns": 1060 * US, "centre_ns": 760 * US}
NARROW["slew_ns_per_ms"] = 300
# The supply's input reads 10 V when full; 4.8 V is the least.
WATCHED = {"rail_full_mv": 10000, "rail_low_mv": 4800}


def settings_of(first=USUAL_CHANNEL, second=NO_CHANNEL, **changes):
    """Return kept settings for two channels; the others are left alone."""
    board = dict(USUAL)
    board.update(changes)
    return Settings(board, [first, second] + [NO_CHANNEL] * 6, "kept")


def settings_all(**changes):
    """Return kept settings for eight usual channels and a knob."""
    board = dict(USUAL, knob=1)
    board.update(changes)
    return Settings(board, [USUAL_CHANNEL] * 8, "kept")


def ready(**given):
    """Return a bench whose button has been seen up."""
    bench = Bench(**given)
    bench.run(50)
    return bench


def pattern(name):
    """Return one turn of a light's pattern without what lasts no time, to 10 ms."""
    for row in LIGHTS:
        if row[0] == name:
            return [part for part in row[1] if part]
    raise AssertionError(name)


def shows(bench, name):
    """Fail unless the light shows this pattern, from wherever it stands in it."""
    wanted = pattern(name)
    if len(wanted) == 1:
        equal((name, bench.lit(2500)), (name, [2500]))
        equal(bench.fitted.lit, True)
        return
    turn = sum(wanted)
    seen = bench.lit(3 * turn)[1:-1]  # the first and the last may be cut short
    equal((name, len(seen) >= len(wanted)), (name, True))
    turns = [wanted[n:] + wanted[:n] for n in range(len(wanted))]
    fits = [turn for turn in turns if (turn * 3)[: len(seen)] == seen]
    equal((name, seen, bool(fits)), (name, seen, True))
