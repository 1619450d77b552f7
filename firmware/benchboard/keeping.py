"""Requests about what is kept on the board."""

from shared_protocol.messages import RefusedError
from shared_protocol.table import CHANNELS

from .bank import Bank
from .limits import need_frame
from .settings import NO_CHANNEL, Settings, usual

try:
    from typing import Callable  # the board has no typing; nothing there looks at annotations
except ImportError:
    pass


class Keeping:
    """Tells and changes settings; as for ``Commands``, a refusal leaves all as it was.

    Parameters
    ----------
    bank : Bank
        The channels, which must be at rest for a change.
    settings : Settings
        Those in force.
    keep : callable or None
        ``keep(settings)`` writes them, or raises ``OSError``; None: nothing can be kept.
    use : callable
        ``use(settings, whole)`` is told of new ones; ``whole``: those of the whole board count
        from now on, whatever the host has set meanwhile.
    """

    def __init__(
        self,
        bank: Bank,
        settings: Settings,
        keep: "Callable[[Settings], None] | None",
        use: "Callable[[Settings, bool], None]",
    ):
        self.settings = settings
        self._bank = bank
        self._keep = keep
        self._use = use
        self._actions = {
            "settings": self.tell,
            "change": self.change,
            "kept": self.tell_channel,
            "keep": self.keep_channel,
            "usual": self.forget,
        }

    def knows(self, word: str) -> bool:
        """Return whether a request is about what is kept."""
        return word in self._actions

    def obey(self, word: str, values: dict[str, int]) -> dict[str, int]:
        """Do what a request asks."""
        return self._actions[word](values)

    def tell(self, values: dict[str, int]) -> dict[str, int]:  # noqa: ARG002 - as the others
        """Tell the settings of the whole board."""
        return self.settings.values()

    def change(self, values: dict[str, int]) -> dict[str, int]:
        """Keep settings of the whole board."""
        self._need_rest()
        board = self.settings.values()
        changed = False
        for key in board:
            if key in values:
                board[key] = values[key]
                changed = True
        if not changed:
            raise RefusedError("missing_key")
        for n in range(CHANNELS):
            kept = self.settings.channels[n]
            need_frame(n + 1, "frame_hz", kept.high_ns, board["frame_hz"])
        self._replace(Settings(board, self._channels(), "kept"), True)
        return {}

    def tell_channel(self, values: dict[str, int]) -> dict[str, int]:
        """Tell what is kept for a channel."""
        return self.settings.channels[self._number(values) - 1].values()

    def keep_channel(self, values: dict[str, int]) -> dict[str, int]:
        """Keep what the button uses for a channel."""
        number = self._number(values)
        self._need_rest()
        channels = self._channels()
        channels[number - 1] = _changed(number, channels[number - 1], values)
        self._replace(Settings(self.settings.values(), channels, "kept"), False)
        return {}

    def forget(self, values: dict[str, int]) -> dict[str, int]:  # noqa: ARG002 - as the others
        """Go back to the usual settings."""
        self._need_rest()
        self._replace(usual(), True)
        return {}

    def _replace(self, settings: Settings, whole: bool) -> None:
        if whole:
            for channel in self._bank.channels:
                need_frame(channel.number, "frame_hz", channel.high_ns, settings.frame_hz)
        if self._keep is None:
            raise RefusedError("not_kept")
        try:
            self._keep(settings)
        except OSError:
            raise RefusedError("not_kept")
        self.settings = settings
        self._use(settings, whole)

    def _channels(self) -> list[dict[str, int]]:
        return [kept.values() for kept in self.settings.channels]

    def _number(self, values: dict[str, int]) -> int:
        number, count = values["ch"], len(self._bank.channels)
        if number > count:
            raise RefusedError("no_such_channel", number, "", number, count)
        return number

    def _need_rest(self) -> None:
        for channel in self._bank.channels:
            if not channel.at_rest():
                raise RefusedError("channel_on", channel.number)


def _changed(number: int, kept: dict[str, int], values: dict[str, int]) -> dict[str, int]:
    """Return what is kept for a channel with what the request says put in."""
    if values["class"] == 0:
        for key in kept:
            if key != "class" and key in values:  # figures of a channel that is to be left alone
                raise RefusedError("not_set_up", number, key, values[key])
        return NO_CHANNEL
    new = dict(kept)
    for key in kept:
        if key in values:
            new[key] = values[key]
        elif values["class"] != kept["class"]:  # another servo: nothing of the old one holds
            raise RefusedError("missing_key", number, key)
    return new
