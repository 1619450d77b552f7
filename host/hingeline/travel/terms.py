"""The figures of a servo under their names, with unit, uncertainty and what each means.

Terms after ISA-51.1 and IEC 61298-2 (definitions from memory) where these have one.
"""

from __future__ import annotations

from dataclasses import dataclass

from hingeline.travel.curve import TravelCurve


@dataclass(frozen=True)
class Figure:
    """One figure of a servo.

    Attributes
    ----------
    name : str
        As shown.
    unit : {"us", "deg", "deg/us"}
        Of value and uncertainty.
    value : float
        The figure.
    u : float or None
        Its standard uncertainty; None when nothing is known of it.
    term : str
        What it is, and how it was got.
    together : tuple of float
        How far each of the curve's ``together`` moves it; part of ``u``.
    """

    name: str
    unit: str
    value: float
    u: float | None
    term: str
    together: tuple[float, ...] = ()


# Name, attribute, unit, meaning.
_FIGURES = (
    ("centre", "centre_us", "us", "pulse at which the mean of up and down is at zero"),
    (
        "centre error",
        "centre_error_deg",
        "deg",
        "zero error: mean of up and down at the nominal centre",
    ),
    ("rate", "rate_deg_per_us", "deg/us", "sensitivity: slope of the mean curve at centre"),
    ("lower limit", "limits_us", "us", "least pulse at which the arm was seen to move freely"),
    ("upper limit", "limits_us", "us", "greatest pulse at which the arm was seen to move freely"),
    (
        "up/down difference",
        "hysteresis_deg",
        "deg",
        "hysteretic error, mean over the range, dead band not subtracted",
    ),
    (
        "dead band by the curve",
        "dead_band_us",
        "us",
        "change of pulse that a reversal swallows: the up/down difference over the rate",
    ),
    (
        "linearity",
        "linearity_deg",
        "deg",
        "independent linearity of the means of up and down, from the best line",
    ),
    (
        "terminal-based linearity",
        "terminal_linearity_deg",
        "deg",
        "linearity of the same, from the line through the ends",
    ),
    (
        "repeatability",
        "repeatability_deg",
        "deg",
        "standard deviation of readings of the same pulse from the same side",
    ),
    ("noise", "residual_sd_deg", "deg", "standard deviation of one reading about the curve"),
)


def figures_of(curve: TravelCurve) -> tuple[Figure, ...]:
    """Return the figures that a curve has, in the order in which they are shown."""
    found, together = [], dict(curve.together_figures)
    for name, attribute, unit, term in _FIGURES:
        value, u = getattr(curve, attribute), getattr(curve, f"{attribute}_u")
        if attribute == "limits_us":
            end = 0 if name == "lower limit" else 1
            value, u = value[end], u[end]
        if value is not None:
            moved = together.get(attribute, ())
            found.append(Figure(name, unit, float(value), u, term, moved))
    return tuple(found)
