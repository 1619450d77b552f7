"""Benches for tests: the simulated one behind a bad line, in real time, and people who answer."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from hingeline.bench.asking import Answer, Gauge, Question, arm_question, surface_question
from hingeline.bench.client import Board
from hingeline.bench.entering import Entry
from hingeline.bench.procedures.calibrating import Calibration
from hingeline.bench.procedures.channels import channel_of
from hingeline.bench.procedures.stepping import Place
from hingeline.bench.readings import making
from hingeline.bench.simulated.servo import ModelledServo, ServoTruth
from hingeline.bench.simulated.station import Station
from hingeline.bench.simulated.transport import SimulatedTransport
from hingeline.linkage.mounting import mounted
from hingeline.model.schema import Model, Surface
from hingeline.travel.kinds import USUAL, Kind
from hingeline.travel.schedule import Step
from hingeline.travel.setting import Setting

#: What reaches the other side of a line: pieces of bytes, each so many seconds later.
Pieces = Iterable[tuple[float, bytes]]
Line = Callable[[int, bytes], Pieces]


def straight(_number: int, data: bytes) -> Pieces:
    """Let everything through at once."""
    return [(0.0, data)]


class BadLine:
    """The simulated bench behind a line that loses, damages and delays.

    Parameters
    ----------
    inner : SimulatedTransport
        The bench; may be exchanged, as if the board had started again.
    to_board, to_host : callable
        Called with the number of the write, from 1, and the bytes; returns what arrives.
    """

    name = "bad line"
    simulated = True

    def __init__(
        self, inner: SimulatedTransport, to_board: Line = straight, to_host: Line = straight
    ) -> None:
        self.inner = inner
        self.to_board, self.to_host = to_board, to_host
        self.sent: list[bytes] = []
        self.closed = False
        self._on_the_way: list[tuple[float, bytes]] = []

    def write(self, data: bytes) -> None:
        self.sent.append(data)
        for delay_s, piece in self.to_board(len(self.sent), data):
            self.inner.wait(delay_s)
            self.inner.write(piece)
        now = self.now_s()
        answer = self.inner.read(0)
        self._on_the_way += [
            (now + delay_s, piece) for delay_s, piece in self.to_host(len(self.sent), answer)
        ]

    def read(self, timeout_s: float) -> bytes:
        self._on_the_way.sort(key=lambda item: item[0])
        end = self.now_s() + timeout_s
        if not self._on_the_way or self._on_the_way[0][0] > end:
            self.inner.wait(timeout_s)
            return b""
        at, piece = self._on_the_way.pop(0)
        self.inner.wait(max(0.0, at - self.now_s()))
        return piece

    def wait(self, seconds: float) -> None:
        self.inner.wait(seconds)

    def now_s(self) -> float:
        return self.inner.now_s()

    def close(self) -> None:
        self.closed = True
        self.inner.close()


class RealTime:
    """The simulated bench on the wall clock: the board's time runs whoever waits."""

    name = "real time"
    simulated = False

    def __init__(self, inner: SimulatedTransport) -> None:
        self.inner = inner
        self.deaf = False
        self.writes = 0
        self._start_s = time.monotonic()
        self._guard = threading.Lock()

    def _catch_up(self) -> None:
        self.inner.wait(time.monotonic() - self._start_s - self.inner.now_s())

    def write(self, data: bytes) -> None:
        with self._guard:
            self._catch_up()
            self.writes += 1
            if not self.deaf:
                self.inner.write(data)
                # The bench lets a moment pass for its answer: so must the wall clock.
                ahead = self.inner.now_s() - (time.monotonic() - self._start_s)
                time.sleep(max(0.0, ahead))

    def read(self, timeout_s: float) -> bytes:
        with self._guard:
            self._catch_up()
            data = self.inner.read(0)
        if not data:
            time.sleep(timeout_s)
        return data

    def wait(self, seconds: float) -> None:
        time.sleep(seconds)
        with self._guard:
            self._catch_up()

    def now_s(self) -> float:
        return time.monotonic()

    def close(self) -> None:
        self.inner.close()


class Person:
    """Someone at the bench who answers from a list, or by a function of the question.

    Attributes
    ----------
    asked : list of Question
        In order.
    told : list of str
        In order.
    """

    def __init__(self, answers: Iterable[str] | Callable[[Question], str]) -> None:
        self.asked: list[Question] = []
        self.told: list[str] = []
        if callable(answers):
            self._answer = answers
        else:
            rest = iter(answers)
            self._answer = lambda _question: next(rest)

    def ask(self, question: Question) -> str:
        self.asked.append(question)
        return self._answer(question)

    def tell(self, text: str) -> None:
        self.told.append(text)

    def pause(self, text: str) -> None:
        self.told.append(text)

    def agree(self, text: str) -> bool:
        self.told.append(text)
        return False


class Watched(SimulatedTransport):
    """A simulated bench that keeps where each shaft and surface ever stood, and each pulse.

    Attributes
    ----------
    pulses_seen, shafts_seen, surfaces_seen : dict of int to list of float
        By channel, once a step of time, while the channel had pulses.
    """

    def __init__(self, stations: dict[int, Station], seed: int = 0) -> None:
        super().__init__(stations, seed)
        self.pulses_seen: dict[int, list[float]] = {ch: [] for ch in stations}
        self.shafts_seen: dict[int, list[float]] = {ch: [] for ch in stations}
        self.surfaces_seen: dict[int, list[float]] = {ch: [] for ch in stations}
        for channel, station in stations.items():
            self._watch(channel, station)

    def _watch(self, channel: int, station: Station) -> None:
        advance = station.advance

        def watched(pulse_us: float, seconds: float) -> None:
            advance(pulse_us, seconds)
            if pulse_us:
                self.pulses_seen[channel].append(pulse_us)
                self.shafts_seen[channel].append(station.servo.shaft_deg)
                self.surfaces_seen[channel].append(station.surface_deg)

        station.advance = watched  # type: ignore[method-assign]


def station(surface: Surface, model: Model, truth: ServoTruth, seed: int = 1) -> Station:
    """Put a servo of known truth behind a surface whose rod fits exactly."""
    servo = ModelledServo(truth, np.random.default_rng(seed))
    return Station(servo, mounted(surface, model.servo_of(surface)), surface)


def bare_servo(truth: ServoTruth | None = None, seed: int = 1) -> Station:
    """Put a servo without a linkage on a channel."""
    plain = truth or ServoTruth(1500.0, 0.0, 0.09)
    return Station(ModelledServo(plain, np.random.default_rng(seed)))


def set_up(board: Board, channel: int = 1, **changes: Any) -> None:
    """Set up a channel as a common servo."""
    figures: dict[str, Any] = {
        "pulse_class": "standard",
        "limits_us": (900, 2100),
        "centre_us": 1500,
        "slew_us_per_s": 4000,
    }
    board.setup(channel, **{**figures, **changes})


class Notes(list[Answer]):
    """Keeps answers of any procedure, in order."""

    def __call__(self, *what: Any) -> None:
        self.append(what[-1])


@dataclass
class Remark:
    """What was said about a reading."""

    kind: str
    reading: int | None
    text: str
    figures: dict[str, Any]


class Kept:
    """Keeps the readings and remarks of a calibration, as the records do.

    Attributes
    ----------
    readings : list of (Step, Answer)
        In order; the number of a reading is its place, from 1.
    remarks : list of Remark
        In order.
    """

    def __init__(self) -> None:
        self.readings: list[tuple[Step, Answer]] = []
        self.remarks: list[Remark] = []

    def reading(
        self, step: Step, answer: Answer, replaces: int | None = None, because: str = ""
    ) -> int:
        self.readings.append((step, answer))
        if replaces is not None:
            self.remark("replaced", replaces, because, {"by": len(self.readings)})
        return len(self.readings)

    def remark(
        self,
        kind: str,
        reading: int | None = None,
        text: str = "",
        figures: Mapping[str, Any] | None = None,
    ) -> None:
        self.remarks.append(Remark(kind, reading, text, dict(figures or {})))

    @property
    def typed(self) -> list[str]:
        """The keystrokes of all readings."""
        return [answer.typed for _, answer in self.readings]

    @property
    def kinds(self) -> list[str]:
        """The kinds of all remarks."""
        return [remark.kind for remark in self.remarks]


def calibration(
    setting: Setting,
    gauge: Gauge,
    *,
    kind: Kind = USUAL,
    rod_off: bool = False,
    earlier: Sequence[Entry] = (),
    left_out: frozenset[Place] = frozenset(),
) -> Calibration:
    """Plan a calibration of the servo behind a surface, as the command does."""
    surface, servo = setting.surface, setting.servo

    def question(pulse_us: int) -> Question:
        if gauge.at_surface:
            return surface_question(surface, surface.channel, gauge, assumed=None)
        return arm_question(surface.servo, surface.channel, pulse_us, gauge)

    return Calibration(
        channel_of(servo, surface.channel, surface.name),
        gauge,
        question,
        making(gauge, setting),
        (-180.0, 180.0) if rod_off else setting.allowed_shaft_deg(),
        kind,
        None,
        earlier,
        left_out,
    )
