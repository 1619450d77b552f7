"""Tables for people: in columns, folded, or row by row where columns do not fit."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

#: How far what belongs to a name or a row is set in below it.
INDENT = "  "
#: ASCII's own marks for a heading, for text, and between units; none of them ends a line.
_HEADINGS, _ROW, _CELL = "\x01", "\x02", "\x1f"


@dataclass(frozen=True)
class Table:
    """A table before it is laid out.

    Attributes
    ----------
    headings : sequence of str
        One per column; one that starts with ">" sets its column to the right.
    rows : sequence of sequences of str
        As many cells in each as there are headings.
    """

    headings: Sequence[str]
    rows: Sequence[Sequence[str]]

    @property
    def names(self) -> list[str]:
        """The headings as they are shown."""
        return [heading.removeprefix(">") for heading in self.headings]


def marked(table: Table) -> str:
    """Write a table as lines that `laid_out` knows again, whatever is put before them."""
    heads = _HEADINGS + _CELL.join(table.headings)
    return "\n".join([heads, *(_ROW + _CELL.join(row) for row in table.rows)])


def laid_out(lines: Iterable[str], columns: int) -> Iterator[str]:
    """Lay out every table among the lines, so that a terminal breaks none of them.

    Parameters
    ----------
    lines : iterable of str
        Those of a table as `marked` writes them, all set in alike.
    columns : int
        Width of the terminal.
    """
    indent, headings, rows = "", [""], list[list[str]]()

    def done() -> Iterator[str]:
        if headings != [""]:
            for line in fitted(Table(headings, rows), columns - len(indent)).split("\n"):
                yield indent + line

    for line in lines:
        before, mark, cells = line.partition(_ROW)
        if mark:
            rows.append(cells.split(_CELL))
            continue
        yield from done()
        indent, headings, rows = "", [""], []
        before, mark, cells = line.partition(_HEADINGS)
        if mark:
            indent, headings = before, cells.split(_CELL)
        else:
            yield line
    yield from done()


def fitted(table: Table, columns: int) -> str:
    """Lay out a table in the first way that fits into so many columns."""
    for layout in (in_columns, folded):
        text = layout(table)
        if all(len(line) <= columns for line in text.split("\n")):
            return text
    return "\n".join(_broken(_fields(table, row), columns) for row in table.rows)


def in_columns(table: Table) -> str:
    """Lay out a table as wide as it needs."""
    columns = list(zip(table.names, *table.rows, strict=True))
    if table.rows and all(any(cells) and all(map(_plain, cells)) for cells in columns):
        return _of_plain_letters(table)
    return _of_any_letters(table)


def _plain(cell: str) -> bool:
    """Tell whether a cell's letters are one column wide each, with no blank at either end."""
    return cell.isascii() and cell.isprintable() and cell == cell.strip()


def _of_plain_letters(table: Table) -> str:
    """Lay out a table all of whose letters are one column wide; nothing has to be loaded."""
    widths = [max(map(len, cells)) for cells in zip(table.names, *table.rows, strict=True)]

    def line(cells: Sequence[str]) -> str:
        placed = (
            cell.rjust(width) if heading.startswith(">") else cell.ljust(width)
            for heading, cell, width in zip(table.headings, cells, widths, strict=True)
        )
        return "  ".join(placed).rstrip()

    rule = "\u2500" * (sum(widths) + 2 * (len(widths) - 1))
    return "\n".join([line(table.names), rule, *map(line, table.rows)])


def _of_any_letters(table: Table) -> str:
    """Lay out a table whose letters may be wider than one column, or none at all wide."""
    from rich import box, console
    from rich import table as grid
    from rich.text import Text

    laid = grid.Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0))
    for heading, name in zip(table.headings, table.names, strict=True):
        laid.add_column(
            Text(name), justify="right" if heading.startswith(">") else "left", no_wrap=True
        )
    for row in table.rows:
        laid.add_row(*(Text(cell) for cell in row))
    # As wide as it needs: a table squeezed to a narrow terminal loses its names and figures.
    page = console.Console(width=1000, color_system=None, force_terminal=False, highlight=False)
    with page.capture() as captured:
        page.print(laid)
    return "\n".join(line.rstrip() for line in captured.get().rstrip("\n").split("\n"))


def folded(table: Table) -> str:
    """Lay out a table with each name of the first column on a line above what belongs to it."""
    rest = Table(table.headings[1:], [row[1:] for row in table.rows])
    heads, rule, *lines = in_columns(rest).split("\n")
    text = [table.names[0], INDENT + heads, INDENT + rule]
    above = None
    for row, line in zip(table.rows, lines, strict=True):
        if row[0] != above:
            above = row[0]
            text.append(above)
        text.append(INDENT + line)
    return "\n".join(line.rstrip() for line in text if line.strip())


def spoken(table: Table) -> str:
    """Say each row on a line of its own, with its headings, as it is read aloud."""
    return "\n".join("; ".join(_fields(table, row)) for row in table.rows)


def _fields(table: Table, row: Sequence[str]) -> list[str]:
    """Put its heading before each cell; what is empty is left out."""
    named = zip(table.names, row, strict=True)
    return [f"{name}: {cell}" if name else cell for name, cell in named if cell]


def _broken(fields: Sequence[str], columns: int) -> str:
    """Set fields one after another, broken only between them, further lines set in."""
    lines: list[str] = []
    for field in fields:
        if lines and len(lines[-1]) + len(field) + len("; ;") <= columns:
            lines[-1] += f"; {field}"
        else:
            lines.append(f"{INDENT if lines else ''}{field}")
    return ";\n".join(lines)
