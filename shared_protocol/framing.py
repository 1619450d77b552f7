r"""Bytes to frames and back: one printable line per frame, guarded by a CRC-32.

A line is ``<id> <word> <key>=<integer> ... <crc>`` and a newline. A sender puts a
newline before the line too: it ends whatever stood in the pipe, so that foreign
bytes never cost the frame behind them. Blank lines mean nothing.
"""

import binascii

from .errors import LocalProtocolError, RemoteProtocolError
from .table import CRC_DIGITS, MAX_DIGITS, MAX_ID, MAX_LINE_BYTES

_HEX = "0123456789abcdef"


class Frame:
    """One undamaged line.

    Attributes
    ----------
    ident : int
        Id of the request, 1 to ``MAX_ID``.
    word : str
        Lowercase word.
    values : dict of str to int
        Value by key.
    line : bytes
        The line as it came, without its newline.
    """

    def __init__(self, ident: int, word: str, values: dict[str, int], line: bytes):
        self.ident = ident
        self.word = word
        self.values = values
        self.line = line


class Damaged:
    """A line that counts for nothing.

    Attributes
    ----------
    error : RemoteProtocolError
        What is wrong with it.
    ident : int
        Its id where the CRC was right but the contents are not of this language, so that it
        can be refused; otherwise 0.
    line : bytes
        The line, cut to the greatest length.
    """

    def __init__(self, error: RemoteProtocolError, line: bytes, ident: int = 0):
        self.error = error
        self.line = line
        self.ident = ident


def crc_text(body: bytes) -> str:
    """Return the CRC-32 (IEEE 802.3) of some bytes as eight lowercase hex digits."""
    return "%08x" % (binascii.crc32(body) & 0xFFFFFFFF)


def encode(ident: int, word: str, values: dict[str, int], order: tuple[str, ...] = ()) -> bytes:
    """Return a frame as bytes, with the newline before and after it.

    Parameters
    ----------
    ident : int
        Id, 1 to ``MAX_ID``.
    word : str
        Lowercase letters.
    values : dict of str to int
        Value by key.
    order : tuple of str
        Keys in the order to write them; keys not named follow by name.

    Raises
    ------
    LocalProtocolError
        ``out_of_range`` for the id, ``grammar`` for a word or key that no decoder would take,
        ``not_integer`` for a value, ``too_long`` for the line.
    """
    _need_integer("id", ident)
    if not 1 <= ident <= MAX_ID:
        raise LocalProtocolError(
            "out_of_range", "id %d is not in 1 to %d" % (ident, MAX_ID), "id", ident, MAX_ID
        )
    if not _is_name(word, digits=False):
        raise LocalProtocolError("grammar", "%r is not a word of lowercase letters" % (word,))
    parts = ["%d" % ident, word]
    keys = [key for key in order if key in values]
    keys += [key for key in sorted(values) if key not in keys]
    for key in keys:
        if not _is_name(key, digits=True):
            raise LocalProtocolError("grammar", "%r is not a key" % (key,))
        _need_integer(key, values[key])
        parts.append("%s=%d" % (key, values[key]))
    body = " ".join(parts).encode()
    line = body + b" " + crc_text(body).encode()
    if len(line) + 1 > MAX_LINE_BYTES:
        raise LocalProtocolError(
            "too_long",
            "the line takes %d bytes, %d are allowed" % (len(line) + 1, MAX_LINE_BYTES),
            "",
            len(line) + 1,
            MAX_LINE_BYTES,
        )
    return b"\n" + line + b"\n"


class Decoder:
    """Turns bytes, in pieces of any size, into frames.

    Never raises, whatever is fed; keeps at most one line. ``damaged`` counts the lines that
    were dropped.
    """

    def __init__(self) -> None:
        self.damaged = 0
        self._rest = b""
        self._skipping = False

    def feed(self, data: bytes) -> list[Frame | Damaged]:
        """Take bytes; return what they completed, in order.

        Parameters
        ----------
        data : bytes
            Any bytes at all, empty included.

        Returns
        -------
        list of Frame or Damaged
            One for every non-empty line that ended in ``data``.
        """
        out: list[Frame | Damaged] = []
        start = 0
        while True:
            end = data.find(b"\n", start)
            if end < 0:
                self._keep(data[start:])
                return out
            self._keep(data[start:end])
            start = end + 1
            line, skipped = self._rest, self._skipping
            self._rest, self._skipping = b"", False
            if not line:
                continue
            item = _too_long(line) if skipped else read_line(line)
            if isinstance(item, Damaged):
                self.damaged += 1
            out.append(item)

    def _keep(self, piece: bytes) -> None:
        room = MAX_LINE_BYTES - 1 - len(self._rest)
        if len(piece) > room:
            self._skipping = True
        self._rest += bytes(piece[:room])


def read_line(line: bytes) -> Frame | Damaged:
    """Read one line, given without its newline."""
    for byte in line:
        if not 0x20 <= byte <= 0x7E:
            return _damaged("unprintable", "byte 0x%02x in the line" % byte, line)
    cut = len(line) - CRC_DIGITS - 1
    crc = line[cut + 1 :].decode() if cut > 0 else ""
    if cut <= 0 or line[cut] != 0x20 or not all(digit in _HEX for digit in crc):
        return _damaged("no_crc", "no CRC at the end of the line", line)
    body = line[:cut]
    right = crc_text(body)
    if crc != right:
        return _damaged("bad_crc", "CRC is %s, the line gives %s" % (crc, right), line)
    return _read_body(body.decode(), line)


def _read_body(body: str, line: bytes) -> Frame | Damaged:
    parts = body.split(" ")
    ident = _integer(parts[0])
    if ident is None or not 1 <= ident <= MAX_ID:
        return _damaged("grammar", "%r is not an id" % parts[0], line)
    if len(parts) < 2 or not _is_name(parts[1], digits=False):
        return _damaged("grammar", "no word after the id", line, ident)
    values: dict[str, int] = {}
    for part in parts[2:]:
        key, mark, text = part.partition("=")
        value = _integer(text)
        if not mark or not _is_name(key, digits=True) or value is None:
            return _damaged("grammar", "%r is not key=integer" % part, line, ident)
        if key in values:
            return _damaged("grammar", "%s stands twice" % key, line, ident)
        values[key] = value
    return Frame(ident, parts[1], values, line)


def _integer(text: str) -> int | None:
    """Return the integer in its one written form, or None: no "+1", "01", "-0", "1_0"."""
    digits = text[1:] if text[:1] == "-" else text
    if not 1 <= len(digits) <= MAX_DIGITS:
        return None
    for digit in digits:
        if digit not in "0123456789":
            return None
    if digits[0] == "0" and len(text) > 1:
        return None
    return int(text)


def _is_name(text: str, digits: bool) -> bool:
    if not text or not "a" <= text[0] <= "z":
        return False
    for letter in text:
        inside = "a" <= letter <= "z"
        if not inside and not (digits and ("0" <= letter <= "9" or letter == "_")):
            return False
    return True


def _need_integer(key: str, value: object) -> None:
    # True and False are integers to Python, but nobody means them as one
    if not isinstance(value, int) or isinstance(value, bool):
        raise LocalProtocolError("not_integer", "%s is %r, not an integer" % (key, value), key)


def _damaged(code: str, message: str, line: bytes, ident: int = 0) -> Damaged:
    return Damaged(RemoteProtocolError(code, message), line, ident)


def _too_long(line: bytes) -> Damaged:
    message = "line longer than %d bytes" % MAX_LINE_BYTES
    error = RemoteProtocolError("too_long", message, limit=MAX_LINE_BYTES)
    return Damaged(error, line)
