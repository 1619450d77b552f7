"""Tables of plain letters are laid out without loading anything, and look as all others do."""

import string
import subprocess
import sys

import hypothesis.strategies as st
from hypothesis import given

from hingeline.cli import tables
from hingeline.cli.tables import Table

CELLS = st.text(string.printable[:95], max_size=12).map(str.strip)


@st.composite
def filled(draw):
    columns = draw(st.integers(1, 6))
    sides = st.lists(st.sampled_from(["", ">"]), min_size=columns, max_size=columns)
    row = st.lists(CELLS, min_size=columns, max_size=columns)
    headings = [side + name for side, name in zip(draw(sides), draw(row), strict=True)]
    return Table(headings, draw(st.lists(row, min_size=1, max_size=5)))


@given(filled())
def test_plain_letters_are_laid_out_as_any_letters_are(table):
    if all(map(any, zip(table.names, *table.rows, strict=True))):  # else they are not
        assert tables._of_plain_letters(table) == tables._of_any_letters(table)


def test_nothing_is_loaded_for_plain_letters():
    code = (
        "import sys; from hingeline.cli.tables import Table, in_columns;"
        "in_columns(Table(['a', '>b'], [['left', '1.5']])); print('rich' in sys.modules);"
        "in_columns(Table(['a', '>b'], [['links', '1,5\\u00b0']])); print('rich' in sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.split() == ["False", "True"]
