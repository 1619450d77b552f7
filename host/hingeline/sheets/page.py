"""Paper, scale, pens and letters of every drawing, and how a figure becomes a file.

Imported only when something is drawn: it imports matplotlib.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from hingeline.errors import HingelineError

INCH_MM = 25.4
POINT_MM = INCH_MM / 72.0
MARGIN_MM = 9.0

INK, GREY, PALE = "#1a1a1a", "#767676", "#d9d9d9"
# Two colours that the colour-blind tell apart (M. Okabe and K. Ito, Color Universal Design,
# 2008; values from memory), never alone: each has its own dashes and its words beside it.
BLUE, VERMILION = "#0072b2", "#d55e00"
#: Colour and dashes of neutral, the first and the second throw.
PENS: tuple[dict[str, Any], ...] = (
    {"color": INK, "linestyle": "-"},
    {"color": BLUE, "linestyle": (0, (5.0, 2.0))},
    {"color": VERMILION, "linestyle": (0, (6.0, 1.5, 1.0, 1.5))},
)
LETTERS_PT, SMALL_PT, TITLE_PT = 7.5, 6.5, 11.0

_STYLE: Any = {
    "font.family": "DejaVu Sans",  # comes with matplotlib: the same on every machine
    "font.size": LETTERS_PT,
    "text.hinting": "none",  # words are as wide on the page as they were measured
    "text.parse_math": False,  # a "$" in a name is a dollar sign
    "axes.linewidth": 0.5,
    "axes.edgecolor": GREY,
    "xtick.color": GREY,
    "ytick.color": GREY,
    "xtick.major.width": 0.4,
    "ytick.major.width": 0.4,
    "hatch.linewidth": 0.4,
    "svg.fonttype": "none",  # text stays text
    "svg.hashsalt": "hingeline",  # the same drawing gives the same file
    "pdf.fonttype": 42,
    "path.simplify": False,
}
# What each kind of file would otherwise say about when and by what it was made.
_METADATA: dict[str, dict[str, Any]] = {
    ".svg": {"Date": None, "Creator": "Hingeline"},
    ".png": {"Software": "Hingeline"},
    ".pdf": {"CreationDate": None, "Creator": "Hingeline", "Producer": "Hingeline"},
}
_PNG_DPI = 150
# A name may hold signs that the letters lack, such as emoji: a box is drawn for them.
_NO_LETTER = "Glyph .* missing from"
_STEPS = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)


@contextmanager
def pens_and_letters() -> Iterator[None]:
    """Draw in the project's style, whatever the user's own settings of matplotlib say."""
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_STYLE)
        yield


def new_page(width_mm: float, height_mm: float) -> Figure:
    """Return an empty page."""
    figure = Figure(figsize=(width_mm / INCH_MM, height_mm / INCH_MM), dpi=300)
    FigureCanvasAgg(figure)  # letters can be measured before anything is saved
    return figure


def axes_on(figure: Figure, left: float, bottom: float, width: float, height: float) -> Axes:
    """Return axes at a place on the page, all in mm from its lower left corner."""
    across, up = (size * INCH_MM for size in figure.get_size_inches())
    return figure.add_axes((left / across, bottom / up, width / across, height / up))


def write(
    figure: Figure, left: float, bottom: float, text: str, size: float = LETTERS_PT, **how: Any
) -> float:
    """Write on the page, at a place in mm from its lower left corner; return the width in mm."""
    across, up = (size_in * INCH_MM for size_in in figure.get_size_inches())
    word = figure.text(left / across, bottom / up, text, size=size, **{"color": INK, **how})
    return float(measured(figure, word)[0])


def measured(figure: Figure, word: Text) -> tuple[float, float]:
    """Return width and height in mm of a text on a page that new_page made."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=_NO_LETTER)
        extent = word.get_window_extent()
    return extent.width * INCH_MM / figure.dpi, extent.height * INCH_MM / figure.dpi


def scale_that_fits(width_mm: float, height_mm: float, room: tuple[float, float]) -> float:
    """Return the largest simple drawing scale at which a thing fits into a room on the page."""
    steps = [step * 10.0**power for power in range(6) for step in _STEPS]
    series = [*reversed(steps), *(1.0 / step for step in steps)]
    fits = (s for s in series if s * width_mm <= room[0] and s * height_mm <= room[1])
    return next(fits, series[-1])


def scale_words(scale: float) -> str:
    """Write a scale as on a technical drawing: "2:1", "1:5"."""
    return f"{scale:g}:1" if scale >= 1.0 else f"1:{1.0 / scale:g}"


def clean(text: str, most: int = 60) -> str:
    """Return a name as it can stand in one line of any drawing.

    What cannot be printed (control characters, marks that turn the line round) would break
    the file or the line; what is too long would leave the page.
    """
    kept = (
        char if char.isprintable() else " "
        for char in text
        if char.isprintable() or char.isspace()
    )
    line = " ".join("".join(kept).split())
    return line if len(line) <= most else line[: most - 1].rstrip() + "…"


def save(figure: Figure, path: Path) -> None:
    """Write a figure as SVG, PNG or PDF, told by the ending of the name.

    The same figure gives the same file, byte for byte, with one version of matplotlib.

    Raises
    ------
    HingelineError
        For another ending, or when the file cannot be written.
    """
    ending = path.suffix.lower()
    if ending not in _METADATA:
        raise HingelineError(
            f"{path.name}: drawings are not written as {ending or 'a file without ending'!r}.",
            mend=f"Use one of {', '.join(_METADATA)}.",
        )
    made = io.BytesIO()
    with pens_and_letters(), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=_NO_LETTER)
        figure.savefig(made, format=ending[1:], dpi=_PNG_DPI, metadata=_METADATA[ending])
    try:
        path.write_bytes(made.getvalue())
    except OSError as error:
        raise HingelineError(
            f"{path}: the drawing cannot be written ({error.strerror}).",
            mend="Name a folder in which you may write and that has room.",
        ) from None
