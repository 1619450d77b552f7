"""The whole board without its hardware: bytes and time in, bytes and pulses out."""

from shared_protocol.session import BoardSession
from shared_protocol.table import REASONS, number_of

from . import FIRMWARE
from .bank import Bank
from .boards import Board
from .commands import Commands
from .guard import Silence
from .pulses import Outputs

try:
    from typing import Callable  # the board has no typing; nothing there looks at annotations
except ImportError:
    pass

CLOCK_MASK = 0x3FFFFFFF  # the board's microseconds begin again at 2**30
CLOCK_HALF = 0x20000000
ALL = 255


class Core:
    """Obeys a host and moves the pulses.

    Nothing here waits, and nothing has a clock: ``feed`` and ``tick`` are given the time in
    microseconds, which may begin again at 2**30 (greater values are cut to that). Either has to
    be called at least every few minutes, and every few milliseconds for even motion.

    Parameters
    ----------
    outputs : Outputs
        Takes the pulses.
    board : Board
        Row of the table of boards.
    new_token : callable
        Returns a random integer, 1 to 1073741823.
    reason : str
        Why the board last started: a name in ``table.REASONS``.
    boots : int
        Starts so far; 0: not counted.
    board_id : int
        The board's own number.
    now_us : int
        Time of the start.
    """

    def __init__(
        self,
        outputs: Outputs,
        board: Board,
        new_token: "Callable[[], int]",
        reason: str = "unknown",
        boots: int = 0,
        board_id: int = 0,
        now_us: int = 0,
    ):
        self.bank = Bank(outputs, len(board.gpios))
        self.silence = Silence()
        self.leaving = False
        self._commands = Commands(self.bank, self.silence)
        self._session = BoardSession(self._obey, new_token)
        self._outputs = outputs
        self._board = board
        self._reason = number_of(REASONS, reason)
        self._boots = boots
        self._board_id = board_id
        self._last_us = now_us & CLOCK_MASK
        self._heard = 0

    def feed(self, data: bytes, now_us: int) -> bytes:
        """Take bytes from the host; return the bytes to send back.

        Raises
        ------
        Exception
            Only from a fault in the program or its hardware. Then the outputs must be closed.
        """
        self.tick(now_us)
        reply = self._session.receive(data)
        if self._session.heard != self._heard:
            self._heard = self._session.heard
            self.silence.heard()
        return reply

    def tick(self, now_us: int) -> None:
        """Let time pass up to now; send the pulses that follow from it. Takes no heap.

        Raises
        ------
        Exception
            As for ``feed``.
        """
        passed_us = (now_us - self._last_us) & CLOCK_MASK
        if passed_us >= CLOCK_HALF:
            return  # the clock went back a little: wait until it has caught up
        ms = passed_us // 1000
        if ms == 0:
            return
        # What is left over stays in the clock: no millisecond is lost, however often this runs.
        # Less a whole turn on the way, so that the sum never needs a big integer.
        self._last_us = (self._last_us - CLOCK_MASK + (ms * 1000 - 1)) & CLOCK_MASK
        due = self.silence.advance(ms)
        if due and self.bank.on_mask():
            if due == 2:
                self.bank.stop(ALL)
            else:
                self.bank.freeze(ALL)
            if due > self.silence.worst:
                self.silence.worst = due
        self.bank.advance(ms)

    def _obey(self, word: str, values: dict[str, int]) -> dict[str, int]:
        if word == "hello":
            # Whoever moved the channels until now no longer can.
            self.bank.freeze(ALL)
            return self._greeting()
        if word == "beat":
            worst, self.silence.worst = self.silence.worst, 0
            return {
                "on_mask": self.bank.on_mask(),
                "moving_mask": self.bank.moving_mask(),
                "guard": worst,
                "damaged": self._session.damaged,
            }
        if word in ("quit", "leave"):
            self.bank.stop(ALL)
            self._session.forget()
            self.leaving = word == "leave"
            return {}
        return self._commands.obey(word, values)

    def _greeting(self) -> dict[str, int]:
        return {
            "fw": FIRMWARE,
            "board": self._board.number,
            "channels": len(self.bank.channels),
            "tick_ps": self._outputs.tick_ps(),
            "frame_hz": self._outputs.frame_hz,
            "reason": self._reason,
            "board_id": self._board_id,
            "boots": self._boots,
        }
