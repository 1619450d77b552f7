"""Messages: frames whose words, keys and ranges agree with the table."""

from .errors import LocalProtocolError, RemoteProtocolError
from .framing import Frame, encode
from .table import ERRORS, KEYS, MAX_ID, REFUSAL, VERSION, Field, Word, number_of, word_named

OK = "ok"
NO = "no"
GREET = "greeting"


class RefusedError(Exception):
    """Raised by the board's own code to refuse a request.

    Parameters
    ----------
    code : str
        Name of a wire error in ``table.ERRORS``.
    ch : int
        Channel concerned, from 1; 0 for none.
    key : str
        Key concerned, or empty.
    value, limit : int
        The value refused and the limit it met.
    """

    def __init__(self, code: str, ch: int = 0, key: str = "", value: int = 0, limit: int = 0):
        super().__init__(code)
        self.code = code
        self.ch = ch
        self.key = key
        self.value = value
        self.limit = limit


def complain(
    fields: tuple[Field, ...], values: dict[str, int]
) -> tuple[str, str, str, int, int] | None:
    """Check values against fields; return what is wrong first, or None.

    Returns
    -------
    tuple or None
        ``(code, message, key, value, limit)``.
    """
    known = {}
    for field in fields:
        known[field.key] = field
        if field.needed and field.key not in values:
            return ("missing_key", "%s is missing" % field.key, field.key, 0, 0)
    for key in sorted(values):
        value = values[key]
        if key not in known:
            names = ", ".join([field.key for field in fields]) or "none"
            return ("unknown_key", "no key %s here; there are: %s" % (key, names), key, 0, 0)
        # True and False are integers to Python, but nobody means them as one
        if not isinstance(value, int) or isinstance(value, bool):
            return ("not_integer", "%s is %r, not an integer" % (key, value), key, 0, 0)
        field = known[key]
        if not field.low <= value <= field.high:
            limit = field.low if value < field.low else field.high
            message = "%s=%d is not in %d to %d" % (key, value, field.low, field.high)
            return ("out_of_range", message, key, value, limit)
    return None


def build_request(ident: int, word: str, values: dict[str, int]) -> bytes:
    """Return a request as bytes.

    Raises
    ------
    LocalProtocolError
        ``unknown_word``, ``missing_key``, ``unknown_key``, ``not_integer`` or
        ``out_of_range`` (the id included).
    """
    return _build(ident, word, _known(word).fields, values)


def build_reply(ident: int, word: str, values: dict[str, int]) -> bytes:
    """Return the reply to a request that was obeyed; the greeting is the reply to ``hello``.

    Raises
    ------
    LocalProtocolError
        When the values do not suit the table.
    """
    spec = _known(word)
    return _build(ident, GREET if word == "hello" else OK, spec.reply, values)


def build_refusal(ident: int, refused: RefusedError) -> bytes:
    """Return the reply to a request that was not obeyed."""
    number = KEYS.index(refused.key) + 1 if refused.key in KEYS else 0
    values = {
        "code": number_of(ERRORS, refused.code),
        "ch": refused.ch,
        "field": number,
        "value": refused.value,
        "limit": refused.limit,
    }
    return _build(ident, NO, REFUSAL, values)


def check_request(frame: Frame) -> Word:
    """Return the table's row for a request that came in.

    Raises
    ------
    RemoteProtocolError
        ``wrong_version`` for a hello of another protocol, else ``unknown_word``,
        ``missing_key``, ``unknown_key`` or ``out_of_range``.
    """
    spec = word_named(frame.word)
    if spec is None:
        raise RemoteProtocolError("unknown_word", "there is no request %r" % frame.word)
    if spec.name == "hello":
        _check_version(frame, "host")
    _raise_remote(complain(spec.fields, frame.values))
    return spec


def check_reply(word: str, frame: Frame) -> None:
    """Check what came in as the reply to a request.

    Raises
    ------
    RemoteProtocolError
        ``odd_reply`` for a word that does not answer this request, ``wrong_version`` for a
        greeting of another protocol, or as for requests.
    """
    if frame.word == NO:
        _raise_remote(complain(REFUSAL, frame.values))
        return
    if frame.word != (GREET if word == "hello" else OK):
        message = "%r does not answer %r" % (frame.word, word)
        raise RemoteProtocolError("odd_reply", message)
    if word == "hello":
        _check_version(frame, "board")
    _raise_remote(complain(_known(word).reply, frame.values))


def next_id(ident: int) -> int:
    """Return the id after this one."""
    return ident % MAX_ID + 1


def _known(word: str) -> Word:
    spec = word_named(word)
    if spec is None:
        raise LocalProtocolError("unknown_word", "there is no request %r" % (word,))
    return spec


def _check_version(frame: Frame, side: str) -> None:
    # Before all other checks: another version may have other keys.
    theirs = frame.values.get("proto", VERSION)
    if theirs != VERSION:
        message = "the %s speaks protocol %d, this side %d" % (side, theirs, VERSION)
        raise RemoteProtocolError("wrong_version", message, "proto", theirs, VERSION)


def _build(ident: int, word: str, fields: tuple[Field, ...], values: dict[str, int]) -> bytes:
    wrong = complain(fields, values)
    if wrong is not None:
        code, message, key, value, limit = wrong
        raise LocalProtocolError(code, word + ": " + message, key, value, limit)
    return encode(ident, word, values, tuple([field.key for field in fields]))


def _raise_remote(wrong: tuple[str, str, str, int, int] | None) -> None:
    if wrong is not None:
        code, message, key, value, limit = wrong
        raise RemoteProtocolError(code, message, key, value, limit)
