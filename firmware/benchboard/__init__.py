"""The board's program: everything but its hardware files runs on a computer too."""

FIRMWARE = 100  # major * 10000 + minor * 100 + patch
