"""What has to outlive a restart, in small files beside the program.

How often the board has started; the last fault; a wish to leave the board to
its own prompt. A power failure while the count is written leaves the old one: a
new name is written first and then renamed.
"""

import os
import sys

COUNT_FILE = "starts.txt"
CRASH_FILE = "last-crash.txt"
STAY_OUT_FILE = "stay-out.txt"


def count_start() -> int:
    """Count one start; return the number so far, or 0 where it cannot be kept."""
    count = 0
    try:
        with open(COUNT_FILE) as file:
            count = int(file.read())
    except (OSError, ValueError):
        pass  # the first start, or a damaged file: begin again
    count = count + 1 if 0 <= count < 1000000000 else 1
    try:
        with open(COUNT_FILE + ".new", "w") as file:
            file.write("%d" % count)
        os.rename(COUNT_FILE + ".new", COUNT_FILE)
    except OSError:
        return 0
    return count


def note_crash(error: Exception) -> None:
    """Keep what a fault says of itself, for whoever looks for its cause."""
    try:
        with open(CRASH_FILE, "w") as file:
            sys.print_exception(error, file)  # type: ignore[attr-defined]
    except OSError:
        pass  # a full or damaged store must not keep the board from starting again


def ask_to_stay_out() -> None:
    """Make the next start, and only that, leave the board to its own prompt."""
    with open(STAY_OUT_FILE, "w") as file:
        file.write("1")


def told_to_stay_out() -> bool:
    """Return whether this start is to leave the board alone; asking answers it once."""
    try:
        os.remove(STAY_OUT_FILE)
    except OSError:
        return False
    return True
