"""What a board says of itself in its greeting, and what of it a person should know."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from shared_protocol import table

#: What one us of pulse turns a common servo by, in deg. Common practice, no source.
USUAL_DEG_PER_US = 0.09
_STARTS = {
    "crash": "The board's program had failed and begun again; its pulses were stopped then.",
    "watchdog": "The board's program had hung, and its watchdog started the board again.",
}


@dataclass(frozen=True)
class BoardInfo:
    """What a board says of itself.

    Attributes
    ----------
    board, firmware : str
        Kind of board; version of its firmware.
    protocol, channels : int
        Version of the wire; number of channels.
    tick_ns : float
        Finest step of a pulse at the frame rate below, in ns.
    frame_hz : int
        Frames per second.
    started : str
        Why it last started.
    board_id : str
        The board's own number, in hex.
    boots : int
        Starts so far; 0 when the board does not count them.
    settings : {"usual", "kept", "damaged"}
        Where its settings come from.
    free_bytes : int or None
        Free memory after the start; None when the board cannot tell.
    rail_mv : int or None
        Voltage of the servo supply; None when it is not measured.
    """

    board: str
    firmware: str
    protocol: int
    channels: int
    tick_ns: float
    frame_hz: int
    started: str
    board_id: str
    boots: int
    settings: str
    free_bytes: int | None
    rail_mv: int | None


def board_info(values: Mapping[str, int]) -> BoardInfo:
    """Put a greeting into words."""
    fw = values["fw"]
    return BoardInfo(
        board=table.name_of(table.BOARDS, values["board"]),
        firmware=f"{fw // 10000}.{fw // 100 % 100}.{fw % 100}",
        protocol=values["proto"],
        channels=values["channels"],
        tick_ns=values["tick_ps"] / 1000,
        frame_hz=values["frame_hz"],
        started=table.name_of(table.REASONS, values["reason"]),
        board_id=f"{values['board_id']:x}",
        boots=values["boots"],
        settings=table.name_of(table.SETTINGS, values["settings"]),
        free_bytes=values["free_bytes"] or None,
        rail_mv=values["rail_mv"] or None,
    )


def remarks(info: BoardInfo) -> Iterator[str]:
    """Yield what a person should know before anything moves."""
    if info.started in _STARTS:
        yield f"{_STARTS[info.started]} Look at the servos and their supply before you go on."
    if info.settings == "damaged":
        yield (
            "What was kept on the board cannot be read: its button works no channel until it is "
            "told again which servos hang on it. Next: hingeline board settings --from MODEL"
        )
