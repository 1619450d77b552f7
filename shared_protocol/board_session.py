"""What the board has to remember: ids, the last reply, the token.

It has no clock and no port. A request is obeyed once; every repetition of it gets the stored
reply. The host's side is in ``host_session``.
"""

from .errors import RemoteProtocolError
from .framing import Decoder, Frame
from .messages import RefusedError, build_refusal, build_reply, check_request
from .table import ID_HALF, MAX_ID, VERSION

try:
    from typing import Callable  # the board has no typing; nothing there looks at annotations
except ImportError:
    pass


class BoardSession:
    """The board's side.

    Parameters
    ----------
    obey : callable
        ``obey(word, values)`` returns the values of the reply or raises ``RefusedError``; for
        ``hello`` it returns the greeting without proto, token and nonce. Called once for each
        request that is whole, in range, new, and carries the current token.
    new_token : callable
        Returns a random integer, 1 to 1073741823; called once for each greeting.
    """

    def __init__(
        self,
        obey: "Callable[[str, dict[str, int]], dict[str, int]]",
        new_token: "Callable[[], int]",
    ):
        self._obey = obey
        self._new_token = new_token
        self._decoder = Decoder()
        self._token = 0
        self._last = 0
        self._line = b""
        self._reply = b""
        self.heard = 0  # requests with the current token so far, retries and refused ones too

    @property
    def damaged(self) -> int:
        """Lines that had to be dropped so far."""
        return self._decoder.damaged

    def receive(self, data: bytes) -> bytes:
        """Take bytes from a host, obey what they ask; return the replies as bytes.

        Damaged lines get no reply. What ``obey`` raises besides ``RefusedError`` passes through.
        """
        out = b""
        for item in self._decoder.feed(data):
            if isinstance(item, Frame):
                out += self._answer(item)
            elif item.ident:
                out += build_refusal(item.ident, RefusedError(item.error.code))
        return out

    @property
    def greeted(self) -> bool:
        """Whether there is a token now."""
        return self._token != 0

    def forget(self) -> None:
        """Make the token void, as after ``quit``."""
        self._token = 0

    def _answer(self, frame: Frame) -> bytes:
        if frame.line == self._line:
            self.heard += 1
            return self._reply
        known = self._token and frame.values.get("token") == self._token
        if known:
            self.heard += 1
        try:
            check_request(frame)
            if frame.word != "hello":
                self._check_standing(frame, bool(known))
        except RemoteProtocolError as error:
            refused = RefusedError(error.code, 0, error.key, error.value, error.limit)
            return build_refusal(frame.ident, refused)
        return self._do(frame)

    def _check_standing(self, frame: Frame, known: bool) -> None:
        if not known:
            raise RemoteProtocolError("wrong_token", "not the current token", "token")
        ahead = (frame.ident - self._last) % MAX_ID
        if not 0 < ahead < ID_HALF:
            raise RemoteProtocolError("old_id", "id used before", "", frame.ident, self._last)

    def _do(self, frame: Frame) -> bytes:
        # The id counts as used before the work is done: if the work fails, it is not done twice.
        self._last = frame.ident
        self._line = self._reply = b""
        try:
            values = self._obey(frame.word, frame.values)
            if frame.word == "hello":
                values = dict(values)
                self._token = self._new_token()
                self.heard += 1
                values["proto"] = VERSION
                values["token"] = self._token
                values["nonce"] = frame.values["nonce"]
            reply = build_reply(frame.ident, frame.word, values)
        except RefusedError as refused:
            reply = build_refusal(frame.ident, refused)
        # After quit the last line stays known: a lost reply to quit can still be had again.
        self._line, self._reply = frame.line, reply
        return reply
