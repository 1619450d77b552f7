"""``hingeline records models``."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import click

from hingeline.cli import options
from hingeline.cli.output import emit, table
from hingeline.cli.records.place import day, existing
from hingeline.errors import RecordsError
from hingeline.records.store import Row


@click.command("models", short_help="List the models on record with their versions.")
@click.argument("name", required=False)
@click.option(
    "--version",
    "number",
    type=click.IntRange(1),
    default=None,
    metavar="N",
    help="Print the text of this version of the model NAME.",
)
@options.records_option
@options.json_option
def command(
    name: str | None, number: int | None, records_path: Path | None, as_json: bool
) -> None:
    """List the models on record, with every version of their files that was used.

    \b
    Examples:
      hingeline records models
      hingeline records models Millrace --version 2
    """
    if number is not None and name is None:
        raise click.UsageError("--version N is that of one model. Name it.")
    with existing(records_path) as records:
        versions = records.models()
    if name is not None:
        known = sorted({row["model"] for row in versions})
        versions = [row for row in versions if row["model"] == name]
        if not versions:
            raise RecordsError(
                f"there is no model {name!r} on record.",
                mend=f"On record: {', '.join(known) or 'none'}.",
            )
    if number is None:
        without = [{key: row[key] for key in row if key != "text"} for row in versions]
        emit({"models": without}, as_json=as_json, text=_listed(versions))
        return
    if number > len(versions):
        raise RecordsError(
            f"model {name} has {len(versions)} version{'' if len(versions) == 1 else 's'} on "
            f"record, no version {number}.",
            mend="See: hingeline records models",
        )
    chosen = versions[number - 1]
    if as_json:
        emit(chosen, as_json=True, text=())
    else:
        click.echo(chosen["text"], nl=False)


def _listed(versions: Sequence[Row]) -> Iterator[str]:
    if not versions:
        yield "No model is on record yet."
        return
    rows = [
        (
            row["model"],
            str(row["version"]),
            day(row["first_used"]),
            day(row["last_used"]),
            str(row["sessions"]),
        )
        for row in versions
    ]
    headings = ["model", ">version", "first used", "last used", ">sessions"]
    yield from table(headings, rows).splitlines()
