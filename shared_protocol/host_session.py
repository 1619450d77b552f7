"""What the host has to remember: ids, retries, greeting, token.

It has no clock and no port: the caller decides when to send again (the same bytes, by
``again``). One request is open at a time. The board's side is in ``board_session``.
"""

from .errors import LocalProtocolError, RemoteProtocolError
from .framing import Damaged, Decoder, Frame
from .messages import NO, build_request, check_reply, next_id
from .table import ERRORS, KEYS, VERSION, name_of
from .texts import ERRORS as TEXTS


class Reply:
    """The board obeyed.

    Attributes
    ----------
    ident : int
        Id of the request.
    word : str
        Word of the request.
    values : dict of str to int
        What the reply says, as the table lists it for this request.
    """

    def __init__(self, ident: int, word: str, values: dict[str, int]):
        self.ident = ident
        self.word = word
        self.values = values


class Greeting(Reply):
    """The reply to ``hello``: the board's own description, and the token now in force."""


class Refusal:
    """The board did not obey, and nothing changed.

    Attributes
    ----------
    ident, word : int, str
        The request.
    code : str
        Name of the error in ``table.ERRORS``.
    ch : int
        Channel concerned, from 1; 0 for none.
    key : str
        Key concerned, or empty.
    value, limit : int
        The value refused and the limit it met; 0 where there is none.
    """

    def __init__(self, ident: int, word: str, values: dict[str, int]):
        self.ident = ident
        self.word = word
        self.code = name_of(ERRORS, values["code"])
        self.ch = values["ch"]
        number = values["field"]
        self.key = KEYS[number - 1] if 1 <= number <= len(KEYS) else ""
        self.value = values["value"]
        self.limit = values["limit"]

    def describe(self) -> str:
        """Return the refusal as a sentence, with value and limit."""
        text = "%s refused (%s): %s" % (
            self.word,
            self.code,
            TEXTS.get(self.code, "no text for this code"),
        )
        if self.ch:
            text += "; channel %d" % self.ch
        if self.key:
            text += "; %s" % self.key
        if self.value or self.limit:
            text += "; value %d, limit %d" % (self.value, self.limit)
        return text


class Late:
    """A whole frame that answers no open request: a reply twice, or to a request given up."""

    def __init__(self, frame: Frame):
        self.frame = frame
        self.ident = frame.ident


class HostSession:
    """The host's side.

    ``token`` is 0 until a greeting came, and again after the board has refused it: then the
    board has forgotten this program, nothing may be taken to be as it was, and only ``hello``
    goes on. ``greeting`` is the last one. ``damaged`` counts the lines that had to be dropped.

    After ``LocalProtocolError`` the session is as before the call. ``receive`` never raises.
    """

    def __init__(self) -> None:
        self.token = 0
        self.greeting: Greeting | None = None
        self._decoder = Decoder()
        self._last = 0
        self._open = 0
        self._word = ""
        self._nonce = 0
        self._line = b""

    @property
    def damaged(self) -> int:
        """Lines that had to be dropped so far."""
        return self._decoder.damaged

    def hello(self, nonce: int) -> tuple[int, bytes]:
        """Return id and bytes of a ``hello``.

        Parameters
        ----------
        nonce : int
            Picked at random by the caller, 1 to 1073741823; by it a program knows the
            greeting that was meant for it from one meant for another.

        Raises
        ------
        LocalProtocolError
            ``out_of_range`` for the nonce.
        """
        made = self._make("hello", {"proto": VERSION, "nonce": nonce})
        self._nonce = nonce
        self.token = 0
        return made

    def request(self, word: str, values: dict[str, int] | None = None) -> tuple[int, bytes]:
        """Return id and bytes of a request; the token is put in.

        A request still open is given up; what may yet come for it is reported as ``Late``.

        Raises
        ------
        LocalProtocolError
            ``no_greeting`` without a token; ``unknown_word``, ``missing_key``, ``unknown_key``,
            ``not_integer``, ``out_of_range`` when the table forbids it.
        """
        if word == "hello":
            raise LocalProtocolError("unknown_word", "hello has its own method")
        if not self.token:
            raise LocalProtocolError("no_greeting", "%s: say hello first" % word)
        whole = {"token": self.token}
        whole.update(values or {})
        return self._make(word, whole)

    def again(self, ident: int) -> bytes:
        """Return the bytes of the open request once more, to be sent as a retry.

        Raises
        ------
        LocalProtocolError
            ``no_request`` when this request is not open.
        """
        if not self._open or ident != self._open:
            raise LocalProtocolError("no_request", "no request %d is open" % ident, "id", ident)
        return self._line

    def receive(self, data: bytes) -> list[Reply | Refusal | Late | Damaged]:
        """Take bytes from the board; return what they completed, in order.

        Returns
        -------
        list
            ``Reply`` (``Greeting`` for hello) or ``Refusal`` for the open request, ``Late`` for
            any other whole frame, ``Damaged`` for lines that count for nothing, among them
            replies that break the table (the request stays open then).
        """
        return [self._read(item) for item in self._decoder.feed(data)]

    def _make(self, word: str, values: dict[str, int]) -> tuple[int, bytes]:
        ident = next_id(self._last)
        self._line = build_request(ident, word, values)
        self._last = self._open = ident
        self._word = word
        return ident, self._line

    def _read(self, item: Frame | Damaged) -> Reply | Refusal | Late | Damaged:
        if isinstance(item, Damaged):
            return item
        if not self._open or item.ident != self._open:
            return Late(item)
        word, values = self._word, item.values
        if word == "hello" and item.word != NO and values.get("nonce", self._nonce) != self._nonce:
            return Late(item)
        try:
            check_reply(word, item)
        except RemoteProtocolError as error:
            return Damaged(error, item.line, item.ident)
        self._open = 0
        if item.word == NO:
            refusal = Refusal(item.ident, word, values)
            if refusal.code == "wrong_token":
                self.token = 0
            return refusal
        if word == "hello":
            self.greeting = Greeting(item.ident, word, values)
            self.token = values["token"]
            return self.greeting
        if word in ("quit", "leave"):
            self.token = 0
        return Reply(item.ident, word, values)
