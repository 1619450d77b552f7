"""Writes PROTOCOL.md from the table and its texts (CPython only).

Run it with ``python -m shared_protocol.describe``.
"""

from pathlib import Path

from . import table, texts
from .framing import encode
from .messages import build_request
from .table import Field

PAGE = Path(__file__).with_name("PROTOCOL.md")


def page() -> str:
    """Return the whole page as text."""
    parts = [_HEAD % {"version": table.VERSION, "max": table.MAX_LINE_BYTES}]
    parts.append(_examples())
    parts.append("## Requests\n")
    for word in table.REQUESTS:
        parts.append(f"### {word.name}\n\n{word.text}\n")
        parts.append(_fields("Keys", word.fields))
        reply = "Reply `greeting`" if word.name == "hello" else "Reply `ok`"
        parts.append(_fields(reply, word.reply))
    parts.append("## Refusal\n\nNothing has changed when the reply is `no`.\n")
    parts.append(_fields("Keys", table.REFUSAL))
    parts.append("`field` counts the keys of requests in this order:\n")
    parts.append(", ".join(f"{n + 1} `{key}`" for n, key in enumerate(table.KEYS)) + ".\n")
    parts.append("## Codes\n")
    codes = _explained(table.ERRORS, texts.ERRORS)
    sent = [row for row in codes if row[0]]
    own = [row[1:] for row in codes if not row[0]]
    parts.append(_rows(("code", "name", "meaning"), sent))
    parts.append("Never sent; what one side finds by itself:\n")
    parts.append(_rows(("name", "meaning"), own))
    parts.append("## Numbers that stand for names\n")
    parts.append("`class` (0 in `state`: not set up):\n")
    parts.append(_rows(("number", "name", "lowest pulse, ns", "highest pulse, ns"), table.CLASSES))
    for key, rows, explained in (
        ("shape", table.SHAPES, texts.SHAPES),
        ("motion", table.MOTIONS, texts.MOTIONS),
        ("guard", table.GUARDS, texts.GUARDS),
        ("reason", table.REASONS, texts.REASONS),
        ("settings", table.SETTINGS, texts.SETTINGS),
    ):
        parts.append(f"`{key}`:\n")
        parts.append(_rows(("number", "name", "meaning"), _explained(rows, explained)))
    parts.append("`board`:\n")
    parts.append(_rows(("number", "name"), table.BOARDS))
    parts.append(
        f"A pulse must leave {table.FRAME_MARGIN_NS} ns of its frame free. "
        "That figure and the limits of the classes are common practice, without a source.\n"
    )
    return "\n".join(parts)


def _examples() -> str:
    token = 123456
    lines = [
        build_request(1, "hello", {"proto": table.VERSION, "nonce": 77}),
        build_request(2, "hold", {"token": token, "p1_ns": 1500000, "p2_ns": 1520000}),
        encode(2, "ok", {"start_ms": 71, "settle_ms": 71}, ("start_ms", "settle_ms")),
    ]
    text = "".join(line.decode().lstrip("\n") for line in lines)
    return f"For example, two requests and the reply to the second:\n\n```\n{text}```\n"


def _fields(title: str, fields: tuple[Field, ...]) -> str:
    if not fields:
        return f"{title}: no keys.\n"
    rows = [
        (
            f"`{field.key}`",
            f"{field.low} to {field.high}",
            "yes" if field.needed else "no",
            field.text,
        )
        for field in fields
    ]
    return f"{title}:\n\n" + _rows(("key", "range", "needed", "meaning"), rows)


def _explained(
    rows: tuple[tuple[int, str], ...], explained: dict[str, str]
) -> list[tuple[int, str, str]]:
    return [(number, name, explained[name]) for number, name in rows]


def _rows(head: tuple[str, ...], rows: object) -> str:
    out = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    out += ["| " + " | ".join(str(cell) for cell in row) + " |" for row in rows]  # type: ignore[attr-defined]
    return "\n".join(out) + "\n"


_HEAD = """# The wire between host and board, version %(version)d

Made from `table.py` and `texts.py` by `python -m shared_protocol.describe`; do not edit.

One line is one frame:

```
<id> <word> <key>=<integer> ... <crc>
```

- Printable ASCII only, single spaces, at most %(max)d bytes with the newline that ends it. A line
  counts only once its newline is there. A sender puts a newline before each line too, which ends
  whatever foreign bytes stood in the pipe; blank lines mean nothing.
- `id` is 1 to 65535, then 1 again. The reply carries the id of its request.
- Integers have one form: digits with no leading zero, `-` before negative ones, nothing else.
- `crc` is the CRC-32 of IEEE 802.3 over everything before the space in front of it, as eight
  lowercase hex digits.
- A line that is damaged in any way is counted and gets no reply. A line whose CRC is right but
  whose contents are not of this form is refused.
- The board says nothing by itself. To every request it says `ok` (with what it made of it), `no`
  (nothing has changed), or `greeting`.
- The host has one request open at a time. Without a reply it sends the same bytes again: the
  board obeys a request once and gives the stored reply to every repetition. An id older than the
  last one is refused.
- Every request but `hello` carries the token of the last greeting. A token stops being valid when
  the board starts again, when any program says `hello`, and by `quit` and `leave`.
- A request that concerns several channels is refused for all or takes effect for all at the same
  time. Only first pulses are sent one channel after another, at least 50 ms apart; the reply says
  how long that takes.
- When the host is silent, motion stops and pulses hold; when it stays silent, pulses stop
  (`silence`). Any request with the current token counts as a sign of life.
- Pulses are whole nanoseconds and never clipped: what is outside a limit is refused with value and
  limit. Changes of pulse go at the channel's slew rate; a first pulse goes at once.
- The board's own button stops the pulses at once while a host has the word. Pressed with
  no host there it takes the word itself, and the token of the last greeting is void.
- In a mask, bit 0 is channel 1.
"""

if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
