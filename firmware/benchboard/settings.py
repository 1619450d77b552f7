"""What is kept on the board: settings of the whole board and of each channel.

One JSON file. It carries a check of its own contents, so that a worn or half-written file is
told from a whole one; whoever changes it by hand makes it damaged, and `keep` and `change` are
the way instead. A power failure in mid-writing leaves the old file: a new name is written first
and then renamed.
"""

import json
import os

from shared_protocol.framing import crc_text
from shared_protocol.messages import RefusedError, complain
from shared_protocol.table import CHANNELS, word_named

from .guard import HOLD_MS, OFF_MS
from .limits import need_rail, need_servo, need_silence

try:
    from typing import Any  # the board has no typing; nothing there looks at annotations

    from shared_protocol.table import Field
except ImportError:
    pass

FILE = "settings.json"
FILE_VERSION = 1
MOST_BYTES = 4096  # a whole file has about 1100
NOT_THERE = 2  # errno of a file that does not exist

# The usual settings. Pulses: common practice, no source; what nearly every standard servo takes,
# and a slew that leaves a person time to take a finger away.
USUAL = {
    "frame_hz": 50,
    "hold_ms": HOLD_MS,
    "off_ms": OFF_MS,
    "period_ms": 6000,
    "shape": 2,
    "knob": 0,
    "rail_full_mv": 0,
    "rail_low_mv": 0,
}
USUAL_CHANNEL = {
    "class": 1,
    "low_ns": 1000000,
    "high_ns": 2000000,
    "centre_ns": 1500000,
    "slew_ns_per_ms": 500,
}
NO_CHANNEL = {"class": 0, "low_ns": 0, "high_ns": 0, "centre_ns": 0, "slew_ns_per_ms": 0}


def _fields(word: str) -> "tuple[Field, ...]":
    row = word_named(word)
    return row.reply if row else ()


class Kept:
    """What the button uses for one channel; class 0: it leaves the channel alone."""

    def __init__(self, values: "dict[str, int]"):
        self.pulse_class = values["class"]
        self.low_ns = values["low_ns"]
        self.high_ns = values["high_ns"]
        self.centre_ns = values["centre_ns"]
        self.slew_ns_per_ms = values["slew_ns_per_ms"]

    def values(self) -> "dict[str, int]":
        """Return the figures under the names of the wire."""
        return {
            "class": self.pulse_class,
            "low_ns": self.low_ns,
            "high_ns": self.high_ns,
            "centre_ns": self.centre_ns,
            "slew_ns_per_ms": self.slew_ns_per_ms,
        }


class Settings:
    """Settings of the whole board, and of its channels. Never changed, only replaced.

    Parameters
    ----------
    values : dict of str to int
        The figures of the wire's ``settings``, under their names there.
    channels : list of dict
        For each of the eight channels the figures of the wire's ``kept``.
    source : str
        Where they come from: a name in ``table.SETTINGS``.

    Raises
    ------
    RefusedError
        When a figure is impossible by itself or beside another.
    """

    def __init__(self, values: "dict[str, int]", channels: "list[dict[str, int]]", source: str):
        _need_range(0, _fields("settings"), values)
        self.source = source
        self.frame_hz = values["frame_hz"]
        self.hold_ms = values["hold_ms"]
        self.off_ms = values["off_ms"]
        self.period_ms = values["period_ms"]
        self.shape = values["shape"]
        self.knob = values["knob"]
        self.rail_full_mv = values["rail_full_mv"]
        self.rail_low_mv = values["rail_low_mv"]
        need_silence(self.hold_ms, self.off_ms)
        need_rail(self.rail_full_mv, self.rail_low_mv)
        for n in range(CHANNELS):
            _need_kept(n + 1, channels[n], self.frame_hz)
        self.channels = [Kept(channel) for channel in channels]

    def values(self) -> "dict[str, int]":
        """Return the figures of the whole board under the names of the wire."""
        return {
            "frame_hz": self.frame_hz,
            "hold_ms": self.hold_ms,
            "off_ms": self.off_ms,
            "period_ms": self.period_ms,
            "shape": self.shape,
            "knob": self.knob,
            "rail_full_mv": self.rail_full_mv,
            "rail_low_mv": self.rail_low_mv,
        }


def usual() -> Settings:
    """Return the usual settings."""
    return Settings(USUAL, [USUAL_CHANNEL] * CHANNELS, "usual")


def damaged() -> Settings:
    """Return what stands in for settings that cannot be read.

    No channel is worked by the button until somebody says again which servo hangs on it: the
    usual pulses might harm a servo whose own limits were lost.
    """
    return Settings(USUAL, [NO_CHANNEL] * CHANNELS, "damaged")


def settings_from(text: str) -> Settings:
    """Return the settings that a file's text holds, or what stands in for damaged ones."""
    body = text[len(_whole("")) - 2 : -2]
    if len(text) > MOST_BYTES or text != _whole(body):
        return damaged()
    try:
        read = json.loads(body)
        if sorted(read) != ["board", "channels", "version"] or read["version"] != FILE_VERSION:
            return damaged()
        channels = read["channels"]
        if not isinstance(channels, list) or len(channels) != CHANNELS:
            return damaged()
        return Settings(read["board"], channels, "kept")
    except (ValueError, TypeError, RuntimeError, RefusedError):
        return damaged()


def as_text(settings: Settings) -> str:
    """Return what the file says for these settings."""
    board = _object("settings", settings.values())
    channels = ",".join([_object("kept", kept.values()) for kept in settings.channels])
    return _whole('{"version":%d,"board":%s,"channels":[%s]}' % (FILE_VERSION, board, channels))


def load(path: str = FILE) -> Settings:
    """Return the settings kept in a file; the usual ones when there is none."""
    try:
        with open(path, "rb") as file:
            return settings_from(file.read(MOST_BYTES + 1).decode())
    except OSError as error:
        return usual() if error.errno == NOT_THERE else damaged()
    except UnicodeError:
        return damaged()


def save(settings: Settings, path: str = FILE) -> None:
    """Keep settings in a file; the usual ones are kept by there being none.

    Raises
    ------
    OSError
        When that cannot be done. What was kept before is then still there.
    """
    if settings.source == "usual":
        try:
            os.remove(path)
        except OSError as error:
            if error.errno != NOT_THERE:
                raise
        return
    with open(path + ".new", "w") as file:
        file.write(as_text(settings))
        file.flush()
    os.rename(path + ".new", path)


def _whole(body: str) -> str:
    return '{"crc":"%s","settings":%s}\n' % (crc_text(body.encode()), body)


def _object(word: str, values: "dict[str, int]") -> str:
    return "{%s}" % ",".join(['"%s":%d' % (f.key, values[f.key]) for f in _fields(word)])


def _need_range(number: int, fields: "tuple[Field, ...]", values: "Any") -> None:
    if not isinstance(values, dict):
        raise RefusedError("not_integer", number)
    wrong = complain(fields, values)
    if wrong is not None:
        raise RefusedError(wrong[0], number, wrong[2], wrong[3], wrong[4])


def _need_kept(number: int, values: "Any", frame_hz: int) -> None:
    _need_range(number, _fields("kept"), values)
    if values["class"] == 0:
        for key in values:
            if values[key]:
                raise RefusedError("not_set_up", number, key, values[key])
        return
    # What `keep` takes reaches less far down than what `kept` tells, which may be nothing at all.
    keep = word_named("keep")
    for field in keep.fields if keep else ():
        if field.key in values and values[field.key] < field.low:
            raise RefusedError("out_of_range", number, field.key, values[field.key], field.low)
    need_servo(number, values, frame_hz)
