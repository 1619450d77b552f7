"""Putting the compiled firmware on an emulated chip: Python that writes the files there."""

from __future__ import annotations

from collections.abc import Iterator

PIECE = 400  # bytes a line: the prompt takes lines, not files


def lines_to_write(files: dict[str, bytes]) -> Iterator[str]:
    """Give pieces of Python that write these files where they are run, one after the other."""
    folders = sorted({path.rpartition("/")[0] for path in files} - {""})
    yield "import os\n" + "".join(f"os.mkdir({folder!r})\n" for folder in folders)
    for path, data in files.items():
        yield f"f = open({path!r}, 'wb')"
        for start in range(0, len(data), PIECE):
            yield f"f.write(bytes.fromhex({data[start : start + PIECE].hex()!r}))"
        yield "f.close()"
