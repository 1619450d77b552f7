"""What is plugged into one of several simulated boards."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from hingeline.bench.simulated.station import Station


class Plugs(Mapping[int, Station]):
    """The stations on the channels of one board, numbered from 1.

    A view and no copy, so that plugs which are exchanged on the bench are exchanged for the
    board, too.

    Parameters
    ----------
    stations : mapping of int to Station
        What stands on each channel of the bench, numbered through its boards.
    first : int
        So many channels are on the boards before this one.
    count : int
        Channels of this board.
    """

    def __init__(self, stations: Mapping[int, Station], first: int, count: int) -> None:
        self._stations, self._first, self._count = stations, first, count

    def __getitem__(self, channel: int) -> Station:
        if not 1 <= channel <= self._count:
            raise KeyError(channel)
        return self._stations[self._first + channel]

    def __iter__(self) -> Iterator[int]:
        own = range(self._first + 1, self._first + self._count + 1)
        return (channel - self._first for channel in own if channel in self._stations)

    def __len__(self) -> int:
        return sum(1 for _ in self)
