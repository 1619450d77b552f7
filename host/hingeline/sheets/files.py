"""Drawings of a surface or a servo as files with names that are safe everywhere.

Imported only when something is drawn: it imports matplotlib.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from pathlib import Path

from matplotlib.figure import Figure

from hingeline.errors import HingelineError
from hingeline.linkage.closure import Linkage
from hingeline.linkage.plan import SurfacePlan
from hingeline.model.schema import Servo, Surface
from hingeline.sheets.changeplot import change_plot
from hingeline.sheets.curveplot import curve_plot
from hingeline.sheets.drawings import linkage_figure
from hingeline.sheets.page import save
from hingeline.sheets.throwplot import throw_plot
from hingeline.travel.comparing import Comparison
from hingeline.travel.curve import TravelCurve

_PLAIN = re.compile(r"[a-z0-9]+( [a-z0-9]+)*", re.ASCII)
_LONGEST = 40


def slug(name: str, otherwise: str = "surface") -> str:
    """Return a surface's or a servo's name as the beginning of a file's name.

    Small letters, digits and hyphens; a name that is more than that keeps what it can and
    gets "_" and eight digits of its own, so that two names never share a file.
    """
    if _PLAIN.fullmatch(name) and len(name) <= _LONGEST:
        return name.replace(" ", "-")
    kept = "-".join(re.findall(r"[a-z0-9]+", name.lower(), re.ASCII))[:_LONGEST].strip("-")
    own = hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:8]
    return f"{kept or otherwise}_{own}"


def draw_surface(
    directory: Path,
    surface: Surface,
    servo: Servo,
    linkage: Linkage,
    plan: SurfacePlan,
    travel_deg: tuple[float, float],
) -> list[Path]:
    """Draw a surface's linkage and its throws into a folder, each as SVG and as PNG.

    Parameters
    ----------
    directory : Path
        Made when it is not there; earlier drawings of the same surface are replaced.
    surface, servo : Surface, Servo
        As in the model file, with both holes chosen.
    linkage : Linkage
        Of that surface.
    plan : SurfacePlan
        Of that surface.
    travel_deg : tuple of float
        Lowest and highest shaft angle at the servo's pulse limits.

    Returns
    -------
    list of Path
        What was written.

    Raises
    ------
    HingelineError
        When the folder or a file in it cannot be written.
    LinkageError
        When the linkage does not close with the servo at its centre.
    """
    figures = {
        "linkage": linkage_figure(surface, servo, linkage, plan),
        "throw": throw_plot(surface, linkage, plan, travel_deg),
    }
    return _written(directory, slug(surface.name), figures)


def draw_curve(directory: Path, label: str, curve: TravelCurve) -> list[Path]:
    """Draw a servo's travel curve into a folder, as SVG and as PNG.

    Parameters
    ----------
    directory : Path
        Made when it is not there; an earlier drawing of the same servo is replaced.
    label : str
        The servo's.
    curve : TravelCurve
        Its curve, with the readings.

    Returns
    -------
    list of Path
        What was written.

    Raises
    ------
    HingelineError
        When the folder or a file in it cannot be written.
    """
    return _written(directory, slug(label, "servo"), {"travel": curve_plot(label, curve)})


def draw_change(
    directory: Path, label: str, old: TravelCurve, new: TravelCurve, found: Comparison
) -> list[Path]:
    """Draw two calibrations of a servo into a folder, as SVG and as PNG.

    Parameters
    ----------
    directory : Path
        Made when it is not there; an earlier drawing of the same servo is replaced.
    label : str
        The servo's.
    old, new : TravelCurve
        Its curves.
    found : Comparison
        Of these two.

    Returns
    -------
    list of Path
        What was written.

    Raises
    ------
    HingelineError
        When the folder or a file in it cannot be written.
    """
    figures = {"change": change_plot(label, old, new, found)}
    return _written(directory, slug(label, "servo"), figures)


def _written(directory: Path, stem: str, figures: Mapping[str, Figure]) -> list[Path]:
    try:
        directory.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or error
        raise HingelineError(
            f"{directory}: the folder for the drawings cannot be made ({why}).",
            mend="Name a folder in which you may write.",
        ) from None
    written = []
    for name, figure in figures.items():
        for ending in (".svg", ".png"):
            path = directory / f"{stem}-{name}{ending}"
            save(figure, path)
            written.append(path)
    return written
