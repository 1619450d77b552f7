"""Ending the firmware's program, whatever version of the wire it speaks."""

from __future__ import annotations

import secrets

from hingeline.bench.transport import Transport
from hingeline.errors import BenchError
from shared_protocol.framing import Decoder, Frame, encode
from shared_protocol.messages import NO

_ANSWER_S = 0.5
_TRIES = 4


def leave(transport: Transport, wire: int) -> None:
    """End the board's program: pulses stop, and the board starts again to its prompt.

    Parameters
    ----------
    transport : Transport
        Open.
    wire : int
        Version of the wire that the board speaks; these two requests are the same in every one.

    Raises
    ------
    BenchError
        When the board does not answer, or refuses.
    """
    asking = _Asking(transport)
    greeting = asking.ask("hello", {"proto": wire, "nonce": 1 + secrets.randbelow(1073741823)})
    asking.ask("leave", {"token": greeting.values.get("token", 0)})


class _Asking:
    def __init__(self, transport: Transport) -> None:
        self._transport = transport
        self._decoder = Decoder()
        self._ident = 0

    def ask(self, word: str, values: dict[str, int]) -> Frame:
        self._ident += 1
        line = encode(self._ident, word, values)
        for _ in range(_TRIES):
            self._transport.write(line)
            stop = self._transport.now_s() + _ANSWER_S
            while (left := stop - self._transport.now_s()) > 0:
                for item in self._decoder.feed(self._transport.read(left)):
                    if not isinstance(item, Frame) or item.ident != self._ident:
                        continue
                    if item.word == NO:
                        raise self._failed(f"refused {word!r} (code {item.values.get('code')})")
                    if item.values.get("nonce", 0) == values.get("nonce", 0):
                        return item
        raise self._failed(f"did not answer {word!r}")

    def _failed(self, what: str) -> BenchError:
        return BenchError(
            f"{self._transport.name}: the board {what}.",
            cause="Its program has to end before another can be put on the board.",
            mend="Hold the board's button, or tie its strap to ground, while plugging it in, "
            "and run the command again.",
        )
