"""The whole board without its hardware: bytes and time in, bytes and pulses out."""

from shared_protocol.board_session import BoardSession
from shared_protocol.table import GUARDS, REASONS, SETTINGS, number_of

from . import FIRMWARE
from .bank import Bank
from .boards import Board
from .commands import Commands
from .fittings import Fittings
from .guard import Rail, Silence
from .keeping import Keeping
from .panel import Panel
from .pulses import Outputs
from .settings import Settings, usual

try:
    from typing import Callable  # the board has no typing; nothing there looks at annotations
except ImportError:
    pass

CLOCK_MASK = 0x3FFFFFFF  # the board's microseconds begin again at 2**30
CLOCK_HALF = 0x20000000
ALL = 255
RAIL = number_of(GUARDS, "rail")
BUTTON = number_of(GUARDS, "button")


class Core:
    """Obeys a host or, without one, the button, and moves the pulses.

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
    fittings : Fittings or None
        Button, light and what else is fitted; None: nothing.
    settings : Settings or None
        Those in force at the start; None: the usual ones.
    keep : callable or None
        ``keep(settings)`` keeps new ones, or raises ``OSError``; None: nothing can be kept.
    free_bytes : int
        Free memory after the start; 0: not known.
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
        fittings: Fittings | None = None,
        settings: Settings | None = None,
        keep: "Callable[[Settings], None] | None" = None,
        free_bytes: int = 0,
    ):
        fittings = fittings or Fittings()
        settings = settings or usual()
        self.bank = Bank(outputs, len(board.gpios))
        self.silence = Silence(settings.hold_ms, settings.off_ms)
        self.rail = Rail(fittings)
        self.panel = Panel(self.bank, self.rail, fittings, settings)
        self.worst = 0  # the most that the guard did since the last beat
        self.leaving = False
        self._commands = Commands(self.bank, self.silence, self.rail, fittings)
        self._keeping = Keeping(self.bank, settings, keep, self._use)
        self._session = BoardSession(self._obey, new_token)
        self._outputs = outputs
        self._board = board
        self._reason = number_of(REASONS, reason)
        self._boots = boots
        self._board_id = board_id
        self._free_bytes = free_bytes
        self._last_us = now_us & CLOCK_MASK
        self._heard = 0
        self._use(settings, True)
        if reason in ("crash", "watchdog", "pins"):
            self.panel.complain()

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
            if self._session.greeted:
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
        # The bank first: a stop that follows from this tick must not count its time as waited.
        self.bank.advance(ms)
        self._watch_host(ms)
        self._watch_rail(ms)
        self._watch_button(ms)
        self.panel.show(ms, self.silence.host)

    def _watch_host(self, ms: int) -> None:
        due = self.silence.advance(ms)
        if due and self.bank.on_mask():
            if due == 2:
                self.bank.stop(ALL)
            else:
                self.bank.freeze(ALL)
            self.worst = max(self.worst, due)

    def _watch_rail(self, ms: int) -> None:
        self.rail.advance(ms)
        if self.rail.low and self.bank.on_mask():
            self.panel.end()
            if self.silence.host:
                self.worst = max(self.worst, RAIL)

    def _watch_button(self, ms: int) -> None:
        if not self.silence.host:
            if self.panel.advance(ms):
                self._session.forget()
        elif self.panel.was_pressed(ms) and self.bank.on_mask():
            self.bank.stop(ALL)
            self.worst = max(self.worst, BUTTON)

    def _obey(self, word: str, values: dict[str, int]) -> dict[str, int]:
        if word == "hello":
            self._begin()
            return self._greeting()
        if word == "beat":
            worst, self.worst = self.worst, 0
            return {
                "on_mask": self.bank.on_mask(),
                "moving_mask": self.bank.moving_mask(),
                "guard": worst,
                "damaged": self._session.damaged,
                "rail_mv": self.rail.mv(),
            }
        if word in ("quit", "leave"):
            self.bank.stop(ALL)
            self.silence.end()
            self._session.forget()
            self.leaving = word == "leave"
            return {}
        if self._keeping.knows(word):
            return self._keeping.obey(word, values)
        return self._commands.obey(word, values)

    def _begin(self) -> None:
        # Whoever moved the channels until now no longer can.
        self.bank.freeze(ALL)
        self.panel.leave()
        settings = self._keeping.settings
        self.silence.hold_ms, self.silence.off_ms = settings.hold_ms, settings.off_ms
        # What an earlier host said of a servo need not be true of what hangs there now.
        self.bank.forget_servos()
        if self.bank.at_rest():
            self.bank.set_frame(settings.frame_hz)

    def _use(self, settings: Settings, whole: bool) -> None:
        self.panel.use(settings)
        if whole:
            self.bank.set_frame(settings.frame_hz)
            self.silence.hold_ms, self.silence.off_ms = settings.hold_ms, settings.off_ms
            self.rail.set(settings.rail_full_mv, settings.rail_low_mv)

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
            "settings": number_of(SETTINGS, self._keeping.settings.source),
            "free_bytes": self._free_bytes,
            "rail_mv": self.rail.mv(),
        }
