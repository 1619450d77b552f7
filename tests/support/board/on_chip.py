"""The board's program as on the kind of board that HINGELINE_ROW names."""

import os

from benchboard.app import start_on
from benchboard.boards import board_named

start_on(board_named(os.getenv("HINGELINE_ROW")))
