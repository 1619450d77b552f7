"""The board as the host sees it: greeted, asked, waited for, never taken for granted."""

from __future__ import annotations

import secrets
import threading
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from types import TracebackType

from hingeline.bench.assuring import assured
from hingeline.bench.greeting import BoardInfo, board_info
from hingeline.bench.identifying import Answer, at_prompt, no_bench
from hingeline.bench.keeping import (
    BoardSettings,
    Kept,
    board_settings,
    changes,
    channel_values,
    kept,
)
from hingeline.bench.refusing import never_sent, refused
from hingeline.bench.transport import Transport
from hingeline.errors import BenchError, LostError
from shared_protocol import table
from shared_protocol.errors import LocalProtocolError
from shared_protocol.host_session import Greeting, HostSession, Refusal, Reply

NS_PER_US = 1000

#: How long one answer may take before the request is sent again. A board answers within a
#: few milliseconds; a busy computer may not look for a tenth of a second.
ANSWER_S = 0.4
TRIES = 4
#: A board that was reset by the opening of its port needs this long to start.
GREETING_S = 3.0
#: How often, and how many times, it is looked whether stopped channels are at rest.
LOOK_S = 0.01
LOOKS = 50
#: The board holds after 1.5 s of silence: well inside that, even when a beat is lost.
BEAT_S = 0.4
#: By how much a board may be late, more than enough for any; then it is no longer waited for.
LATE_S = 0.5
#: A board told to hold after less than this would hold at every beat that is lost.
LEAST_HOLD_S = 1.0


class Board:
    """A greeted board. Use as a context manager: leaving it switches every channel off.

    Parameters
    ----------
    transport : Transport
        Open; closed again by :meth:`close`.

    Attributes
    ----------
    info : BoardInfo
        Its greeting.
    frame_hz : int
        Frames per second now.
    tick_ns : float
        Finest step of a pulse now.

    Raises
    ------
    BenchError
        When nothing that answers like a bench board is there, or it speaks another version.
    """

    def __init__(self, transport: Transport) -> None:
        self._transport = transport
        self._session = HostSession()
        self._lock = threading.RLock()
        try:
            self.info = self._greet()
            self.frame_hz, self.tick_ns = self.info.frame_hz, self.info.tick_ns
            self.refresh()  # what the silence of an earlier program led to is its affair
        except BaseException:
            transport.close()
            raise

    def __enter__(self) -> Board:
        return self

    def __exit__(
        self,
        _type: type[BaseException] | None,
        _value: BaseException | None,
        _trace: TracebackType | None,
    ) -> None:
        self.close()

    @property
    def simulated(self) -> bool:
        """Whether the bench behind it is simulated."""
        return self._transport.simulated

    @property
    def port(self) -> str:
        """Name of the port."""
        return self._transport.name

    @property
    def parts(self) -> tuple[Board, ...]:
        """The boards of which it consists: itself alone."""
        return (self,)

    def close(self) -> None:
        """Switch every channel off and give the port back, also when the board is gone."""
        try:
            if self._session.token:
                self._ask("quit", {}, tries=2)
        except BenchError:
            pass  # a board that hears nothing stops its pulses by itself
        finally:
            self._transport.close()

    # -- requests ----------------------------------------------------------------------

    def setup(
        self,
        channel: int,
        *,
        pulse_class: str,
        limits_us: tuple[int, int],
        centre_us: int,
        slew_us_per_s: int,
    ) -> None:
        """Say what servo is on a channel; nothing is sent to it yet."""
        values = channel_values(pulse_class, limits_us, centre_us, slew_us_per_s)
        self._ask("setup", {"ch": channel, **values})

    def hold(self, pulses_us: Mapping[int, int], *, ramp_s: float | None = None) -> None:
        """Go to a pulse on each channel, all together or none, and wait until they are there.

        Without ``ramp_s`` each goes as fast as its slew allows; with it all take so long.
        """
        self._arrive(self.begin_hold(pulses_us, ramp_s=ramp_s), pulses_us)

    def centre(self, channels: Sequence[int], *, ramp_s: float | None = None) -> None:
        """Go to each channel's centre and wait until all are there; ``ramp_s`` as for hold."""
        self._arrive(self.begin_centre(channels, ramp_s=ramp_s), channels)

    def begin_hold(self, pulses_us: Mapping[int, int], *, ramp_s: float | None = None) -> float:
        """Begin what ``hold`` does; return how long it takes, in seconds."""
        pulses = {f"p{ch}_ns": us * NS_PER_US for ch, us in pulses_us.items()}
        reply = self._ask("hold", pulses | _ms("ramp_ms", ramp_s))
        return reply.values["settle_ms"] / 1000

    def begin_centre(self, channels: Sequence[int], *, ramp_s: float | None = None) -> float:
        """Begin what ``centre`` does; return how long it takes, in seconds."""
        reply = self._ask("centre", {"mask": _mask(channels)} | _ms("ramp_ms", ramp_s))
        return reply.values["settle_ms"] / 1000

    def sweep(
        self,
        channels: Sequence[int],
        *,
        opposed: Sequence[int] = (),
        ends_us: tuple[int, int],
        period_s: float,
        cycles: int,
        shape: str,
        lag_s: float = 0.0,
    ) -> None:
        """Start a sweep; ``cycles`` 0 goes on until told otherwise.

        Each next channel follows ``lag_s`` later.
        """
        self._ask(
            "sweep",
            {
                "mask": _mask(channels),
                "opposed_mask": _mask(opposed),
                "low_ns": ends_us[0] * NS_PER_US,
                "high_ns": ends_us[1] * NS_PER_US,
                "period_ms": round(period_s * 1000),
                "cycles": cycles,
                "shape": table.number_of(table.SHAPES, shape),
            }
            | _ms("lag_ms", lag_s or None),
        )

    def steps(
        self,
        channels: Sequence[int],
        pulses_us: Sequence[int],
        dwell_s: float,
        *,
        lag_s: float = 0.0,
    ) -> float:
        """Start a list of pulses; return how long it lasts, in seconds.

        Each next channel follows ``lag_s`` later.
        """
        values = {f"s{n}_ns": us * NS_PER_US for n, us in enumerate(pulses_us, start=1)}
        values |= {"mask": _mask(channels), "dwell_ms": round(dwell_s * 1000)}
        values |= _ms("lag_ms", lag_s or None)
        return self._ask("steps", values).values["lasts_ms"] / 1000

    def freeze(self, channels: Sequence[int]) -> None:
        """Stop where they are and hold."""
        self._ask("freeze", {"mask": _mask(channels)})

    def off(self, channels: Sequence[int]) -> None:
        """Stop the pulses, and wait until the pins are released."""
        reply = self._ask("off", {"mask": _mask(channels)})
        self.wait(reply.values["off_ms"] / 1000)
        # The board counts from its next look at the clock, which may be a while when it is busy.
        stopping = table.number_of(table.MOTIONS, "stopping")
        for _ in range(LOOKS):
            if all(self.state(channel)["motion"] != stopping for channel in channels):
                return
            self.wait(LOOK_S)

    def frame_rate(self, frame_hz: int) -> None:
        """Set the frame rate; every channel must be off."""
        self.tick_ns = self._ask("frame", {"frame_hz": frame_hz}).values["tick_ps"] / 1000
        self.frame_hz = frame_hz

    def silence(self, *, hold_s: float, off_s: float) -> None:
        """Say how long the host may be silent before motion stops, and before pulses stop."""
        self._ask("silence", {"hold_ms": round(hold_s * 1000), "off_ms": round(off_s * 1000)})

    def state(self, channel: int) -> dict[str, int]:
        """Return what one channel is doing, as the table of the wire lists it."""
        return dict(self._ask("state", {"ch": channel}).values)

    def moving(self) -> bool:
        """Show that the host is there; return whether any channel has still to change."""
        return self._beat() != 0

    def arrived(self, channels: Iterable[int]) -> bool:
        """Show that the host is there; return whether these channels are where they go."""
        return not self._beat() & _mask(channels)

    def measure(self, channel: int) -> tuple[float, float]:
        """Measure one pulse of a channel that holds, at the board's own measuring pin.

        Returns
        -------
        width_us, step_us : float
            Width of the pulse, 0 when none came; finest difference that can be told.
        """
        reply = self._ask("measure", {"ch": channel}).values
        return reply["width_ns"] / NS_PER_US, reply["step_ns"] / NS_PER_US

    # -- what the board keeps ----------------------------------------------------------

    def settings(self) -> BoardSettings:
        """Return the settings of the whole board."""
        return board_settings(self._ask("settings", {}).values)

    def change(self, wanted: Mapping[str, float | str]) -> None:
        """Keep settings of the whole board, named as in ``BoardSettings``; others stay."""
        self._ask("change", changes(wanted))

    def kept(self, channel: int) -> Kept | None:
        """Return what is kept for a channel; None: the button leaves it alone."""
        return kept(self._ask("kept", {"ch": channel}).values)

    def keep(self, channel: int, what: Kept | None) -> None:
        """Keep what the button does with a channel; None: it leaves it alone."""
        values = {"class": 0}
        if what is not None:
            values = channel_values(
                what.pulse_class, what.limits_us, what.centre_us, what.slew_us_per_s
            )
        self._ask("keep", {"ch": channel, **values})

    def usual(self) -> None:
        """Forget all that was kept."""
        self._ask("usual", {})

    # -- time --------------------------------------------------------------------------

    def now_s(self) -> float:
        """Return the time on this board's side, in seconds; only differences count."""
        return self._transport.now_s()

    def rest(self, seconds: float) -> None:
        """Let time pass, less than a board does without a beat."""
        self._transport.wait(seconds)

    def refresh(self) -> None:
        """Show that the host is there; what an earlier silence led to no longer counts."""
        self._ask("beat", {})

    def wait(self, seconds: float) -> None:
        """Let time pass, and show the board that the host is there."""
        end = self._transport.now_s() + seconds
        while (left := end - self._transport.now_s()) > 0:
            if left > BEAT_S:
                self._transport.wait(BEAT_S)
                self.moving()
            else:
                self._transport.wait(left)

    @contextmanager
    def attended(self) -> Iterator[None]:
        """Keep the board assured while something else, such as a person, takes its time.

        A simulated bench needs no assurance: its time stands still meanwhile.
        """
        if self.simulated:
            yield
            return
        with assured(self.moving, BEAT_S):
            yield

    # -- within ------------------------------------------------------------------------

    def _arrive(self, seconds: float, channels: Iterable[int]) -> None:
        self.wait(seconds)
        # The board does not look at its clock all the time: the last may be a little later.
        end = self.now_s() + LATE_S
        while not self.arrived(channels) and self.now_s() < end:
            self.rest(LATE_S / 20)

    def _beat(self) -> int:
        """Show that the host is there; return the mask of the channels still to change."""
        reply = self._ask("beat", {}).values
        if reply["guard"]:
            raise _guarded(reply["guard"], reply["rail_mv"])
        return reply["moving_mask"]

    def _greet(self) -> BoardInfo:
        end = self._transport.now_s() + GREETING_S
        while True:
            # A new request each time: what a board sent before it was reset answers none.
            ident, line = self._session.hello(1 + secrets.randbelow(1073741823))
            self._transport.write(b"\n" + line)  # the newline ends what others left half said
            reply = self._answer(ident, min(ANSWER_S, GREETING_S))
            if isinstance(reply, Greeting):
                return board_info(reply.values)
            if isinstance(reply, Refusal):
                raise _version_error(self.port, reply)
            if self._transport.now_s() >= end:
                raise no_bench(self.port, at_prompt(self._transport))

    def _ask(self, word: str, values: dict[str, int], tries: int = TRIES) -> Reply:
        with self._lock:
            if not self._session.token:
                raise _forgotten(self.port)
            try:
                ident, line = self._session.request(word, values)
            except LocalProtocolError as error:
                raise never_sent(error) from None
            for attempt in range(tries):
                self._transport.write(line if attempt == 0 else self._session.again(ident))
                reply = self._answer(ident, ANSWER_S)
                if isinstance(reply, Refusal):
                    if reply.code == "wrong_token":
                        raise _forgotten(self.port)
                    raise refused(reply)
                if reply is not None:
                    return reply
        raise LostError(
            f"{self.port}: the board did not answer {word!r} in {tries} tries "
            f"of {ANSWER_S:g} s each.",
            cause="The cable, the power or the board failed.",
            mend="The board stops its pulses by itself after a few seconds of silence. "
            "Check cable and power, and start the command again.",
        )

    def _answer(self, ident: int, timeout_s: float) -> Reply | Refusal | None:
        end = self._transport.now_s() + timeout_s
        while (left := end - self._transport.now_s()) > 0:
            for event in self._session.receive(self._transport.read(left)):
                if isinstance(event, (Reply, Refusal)) and event.ident == ident:
                    return event
        return None


def _mask(channels: Iterable[int]) -> int:
    return sum(1 << (channel - 1) for channel in set(channels))


def _ms(key: str, seconds: float | None) -> dict[str, int]:
    """Return a time for the wire, or nothing where the board's own is meant."""
    return {} if seconds is None else {key: round(seconds * 1000)}


def _guarded(guard: int, rail_mv: int) -> LostError:
    """Return what the board did by itself as an error; nothing goes on after it."""
    kind = table.name_of(table.GUARDS, guard)
    if kind == "rail":
        now = f" (it is at {rail_mv / 1000:.2f} V now)" if rail_mv else ""
        return LostError(
            f"the servo supply fell too low{now}, and the board stopped its pulses.",
            cause="A weak or empty supply, a thin lead, or a servo that is blocked.",
            mend="Look at supply, plugs and servos, then start the command again.",
        )
    if kind == "button":
        return LostError(
            "the board's button was pressed, and the board stopped its pulses.",
            mend="Look at the servos, then start the command again.",
        )
    did = "stopped all motion" if kind == "held" else "stopped its pulses"
    return LostError(
        f"the board heard nothing for too long and {did}.",
        cause="The computer slept, or was too busy to show that it is there.",
        mend="Look at the servos, then start the command again.",
    )


def _forgotten(port: str) -> LostError:
    return LostError(
        f"{port}: the board has started again, or another program has taken it over.",
        cause="Nothing that was set before can be relied on, so nothing more was sent.",
        mend="Look at the servos, then start the command again.",
    )


def _version_error(port: str, refusal: Refusal) -> BenchError:
    if refusal.code == "wrong_version":
        return no_bench(port, Answer("other wire", wire=refusal.limit))
    return BenchError(f"{port}: the board refused the greeting: {refusal.describe()}.")
