"""How many slips are questioned when they are typed, and how many honest readings with them.

Run with ``python -m tests.benchmarks.bench_entry``. Over 10,000 invented entries, see
`tests.support.entries`; what is promised is 98 % of the slips at least, and less than 1 % of
the honest readings.
"""

from __future__ import annotations

import time

from tests.support.entries import SLIPS, judged

ENTRIES = 10_000


def main() -> None:
    """Judge and print."""
    start_s = time.perf_counter()
    tally = judged(ENTRIES)
    taken_s = time.perf_counter() - start_s
    slips, honest = tally.slips.total(), tally.honest.total()
    print(f"{honest} honest entries and {slips} slips, from the third reading on:")
    print(f"  slips questioned    {100 * tally.caught:6.2f} %")
    print(f"    with what was meant {100 * tally.named / slips:4.1f} %")
    print(f"  honest questioned   {100 * tally.false_alarms:6.2f} %")
    print(f"  honest told that the servo may stand on its stop: {tally.told}")
    print(
        f"  of them what nothing can read so: {tally.refused}, with what was meant offered: "
        f"{tally.offered}"
    )
    print("by slip                  slips   questioned")
    for kind in SLIPS:
        share = tally.questioned[kind] / tally.slips[kind]
        print(f"  {kind:20}  {tally.slips[kind]:6}     {100 * share:6.2f} %")
    print("by gauge and its step   honest   questioned")
    for cell in sorted(tally.honest):
        share = tally.alarms[cell] / tally.honest[cell]
        print(f"  {cell:20}  {tally.honest[cell]:6}     {100 * share:6.2f} %")
    print(f"{taken_s / (slips + honest) * 1e6:.0f} us for an entry, all included")


if __name__ == "__main__":
    main()
