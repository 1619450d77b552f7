"""The board's program: everything but its hardware files runs on a computer too."""

FIRMWARE = 200  # major * 10000 + minor * 100 + patch
