"""``hingeline records import``."""

from __future__ import annotations

from pathlib import Path

import click

from hingeline.cli import options
from hingeline.cli.output import emit
from hingeline.cli.records.place import place
from hingeline.errors import RecordsError
from hingeline.records.store import Records

#: Greater files are refused.
MOST_BYTES = 10_000_000


@click.command("import", short_help="Take in sessions that were exported elsewhere.")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@options.records_option
@options.json_option
def command(files: tuple[Path, ...], records_path: Path | None, as_json: bool) -> None:
    """Take in sessions that were exported elsewhere, from JSON files of up to 10 MB.

    What is here already is left as it is. A file that is not as it must be is refused whole.
    Which of two curves of a servo is the newer goes by when they were measured.

    \b
    Example:
      hingeline records import field-laptop.json
    """
    # All are read before any is taken in.
    texts = [_text(path) for path in files]
    rows = []
    with Records(place(records_path)) as records:
        for path, text in zip(files, texts, strict=True):
            try:
                taken = records.take_in(text)
            except RecordsError as error:
                raise RecordsError(
                    f"{path}: {error.message}", cause=error.cause, mend=error.mend
                ) from None
            rows.append((path, taken))
    figures = {
        "files": [
            {
                "file": str(path),
                "taken_in": [{"there": a, "here": b} for a, b in taken.new.items()],
                "here_already": [{"there": a, "here": b} for a, b in taken.known.items()],
            }
            for path, taken in rows
        ]
    }
    emit(
        figures,
        as_json=as_json,
        text=(line for path, taken in rows for line in _said(path, taken.new, taken.known)),
    )


def _said(path: Path, new: dict[int, int], known: dict[int, int]) -> list[str]:
    lines = [f"{path}: {_count(len(new))} taken in, {len(known)} here already."]
    if new:
        numbers = sorted(new.values())
        span = str(numbers[0]) if len(numbers) == 1 else f"{numbers[0]} to {numbers[-1]}"
        lines.append(
            f"  Here they are numbered {span}." if len(numbers) > 1 else f"  Here: {span}."
        )
    return lines


def _count(number: int) -> str:
    return f"{number} session{'' if number == 1 else 's'}"


def _text(path: Path) -> bytes:
    try:
        size = path.stat().st_size
        if size <= MOST_BYTES:
            return path.read_bytes()
    except OSError as failure:
        raise RecordsError(
            f"{path}: cannot be read ({failure.strerror}).", mend="Check the name of the file."
        ) from None
    raise RecordsError(
        f"{path}: it has {size / 1e6:.1f} MB; up to {MOST_BYTES / 1e6:.0f} MB are taken in.",
        mend="Export fewer sessions at once, such as: hingeline records export 1 2 3 --to FILE. "
        "The whole file is copied with: hingeline records backup FILE",
    )
