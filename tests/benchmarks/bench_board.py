"""How soon the board answers while it moves: ``python -m tests.benchmarks.bench_board``.

The board's whole program runs under MicroPython on this computer, behind a pseudo-terminal. Times
are those of one run; the last line sets motion against rest. A chip is many times slower than
this computer, and its port many times slower than a pseudo-terminal.
"""

import statistics
import time

from shared_protocol.host_session import Reply
from tests.support.micropython import running_board
from tests.support.small_host import Client

TIMES = 400
SWEEP = {"mask": 255, "opposed_mask": 15, "low_ns": 1_000_000, "high_ns": 2_000_000}


def answers_ms(client, times=TIMES):
    """Return how long each of many requests took to be answered, sorted, in ms."""
    taken = []
    for number in range(times):
        _, data = client.session.request("state", {"ch": number % 8 + 1})
        start = time.perf_counter()
        client.port.write(data)
        event = client.answer()
        taken.append(1000 * (time.perf_counter() - start))
        assert isinstance(event, Reply)
        time.sleep(0.003)  # not in step with the board's own loop
    return sorted(taken)


def show(name, taken):
    """Print one line of figures."""
    half, most = statistics.median(taken), taken[int(0.99 * len(taken))]
    print(f"{name:28} median {half:5.2f} ms   99 in 100 {most:5.2f} ms   most {taken[-1]:6.2f} ms")


def main():
    """Measure and print."""
    with running_board() as path:
        client = Client(path)
        client.port.timeout = 1
        greeting = client.ask("hello").values
        print(f"free memory after the start: {greeting['free_bytes']} bytes (of this computer's)")
        client.setup(range(1, 9))
        resting = answers_ms(client)
        show("all channels off", resting)
        started = client.ask("sweep", period_ms=2000, cycles=0, shape=2, **SWEEP).values
        time.sleep(started["settle_ms"] / 1000 + 0.2)
        moving = answers_ms(client)
        show("eight channels sweep", moving)
        client.ask("quit")
        client.port.close()
    ratio = statistics.median(moving) / statistics.median(resting)
    print(f"moving / resting: {ratio:.2f}; slowest answer while moving: {moving[-1]:.2f} ms")


if __name__ == "__main__":
    main()
