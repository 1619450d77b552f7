"""What has to outlive a restart, in small files beside the program.

How often the board has started; the last fault; a wish to leave the board to
its own prompt; the user's list of pins. A power failure while the count is
written leaves the old one: a new name is written first and then renamed.
"""

import json
import os
import sys

try:
    from typing import Any  # the board has no typing; nothing there looks at annotations
except ImportError:
    pass

COUNT_FILE = "starts.txt"
CRASH_FILE = "last-crash.txt"
STAY_OUT_FILE = "stay-out.txt"
PINS_FILE = "pins.json"
MOST_BYTES = 1000  # of the list of pins
NOT_THERE = 2  # errno of a file that does not exist


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


def own_pins() -> "Any":
    """Return the user's list of pins; an empty one when there is none.

    Raises
    ------
    ValueError
        When the file cannot be read, or is not JSON.
    """
    try:
        with open(PINS_FILE) as file:
            text = file.read(MOST_BYTES + 1)
    except OSError as error:
        if error.errno == NOT_THERE:
            return {}
        raise ValueError("%s cannot be read: %s" % (PINS_FILE, error))
    if len(text) > MOST_BYTES:
        raise ValueError("%s is longer than %d bytes" % (PINS_FILE, MOST_BYTES))
    return json.loads(text)
