"""The figures of a fitted servo, each with its standard uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hingeline.travel import linearity
from hingeline.travel.choosing import Fitted
from hingeline.travel.means import Columns, means_at_pulses
from hingeline.travel.shapes import Shape, invert

Floats = NDArray[np.float64]
#: How far what moves readings together moves figures, by the figure's attribute.
Moved = dict[str, tuple[float, ...]]


@dataclass(frozen=True, eq=False)
class Estimate:
    """A fitted shape with the scatter put to it.

    Attributes
    ----------
    fitted : Fitted
    variance : float
        Of one reading, in deg^2; never below the gauge's own.
    scale : {"scatter", "gauge"}
        Where ``variance`` comes from.
    u_common_deg : float
        See `hingeline.travel.curve.TravelCurve`.
    limits_us : tuple of float
        Pulses of use.
    common : ndarray, shape (m, parameters)
        How far what moves readings together moves the parameters.
    effects : int
        How many of these, from the first, are not the gauge's.
    """

    fitted: Fitted
    variance: float
    scale: str
    u_common_deg: float
    limits_us: tuple[float, float]
    common: Floats
    effects: int

    @classmethod
    def of(
        cls, fitted: Fitted, columns: Columns, limits_us: tuple[float, float], effects: int
    ) -> Estimate:
        """Put the observed scatter, floored by the gauge's, to a shape."""
        floor = columns.floor_deg**2
        observed = fitted.chi2 / fitted.dof if fitted.dof else floor
        # Rounding to the gauge's marks is either seen as scatter, and averages out, or it has
        # shifted all readings alike, and does not.
        hidden = max(floor - observed, 0.0)
        scale = "scatter" if observed > floor else "gauge"
        common = columns.together @ fitted.response.T
        spread = max(observed, floor)
        return cls(fitted, spread, scale, math.sqrt(hidden), limits_us, common, effects)

    @property
    def shape(self) -> Shape:
        """The fitted shape."""
        return self.fitted.shape

    @property
    def covariance(self) -> Floats:
        """Of the shape's parameters, then of the half gap."""
        # A chosen degree cannot follow every servo. What a richer one makes of the same
        # readings differs by bias and scatter both; its square covers the bias.
        shift = self.fitted.shifts[-1]
        whole = self.variance * self.fitted.cofactors + np.outer(shift, shift)
        return np.asarray(whole + self.common.T @ self.common)

    def u(self, row: Floats, gap: float = 0.0) -> float:
        """Return the standard uncertainty of a figure from its derivatives.

        Parameters
        ----------
        row : ndarray, shape (parameters,)
            By the shape's parameters.
        gap : float
            By the half gap.
        """
        whole = self._whole(row, gap)
        return math.sqrt(max(float(whole @ self.covariance @ whole), 0.0))

    def moved(self, row: Floats, gap: float = 0.0) -> tuple[float, ...]:
        """Return how far each of the effects moves a figure, from the same derivatives."""
        return tuple((self.common[: self.effects] @ self._whole(row, gap)).tolist())

    def _whole(self, row: Floats, gap: float) -> Floats:
        return row if self.fitted.half_gap_deg is None else np.append(row, gap)


def figures(
    estimate: Estimate, columns: Columns, free: slice, nominal_centre_us: float
) -> dict[str, Any]:
    """Return the figures of a servo, under the names of `TravelCurve`'s attributes."""
    spread, dof = math.sqrt(estimate.variance), estimate.fitted.dof
    moved: Moved = {}
    found = {
        "residual_sd_deg": spread,
        "residual_sd_deg_u": spread / math.sqrt(2.0 * dof) if dof else None,
        **_centre(estimate, nominal_centre_us, moved),
        **_gap(estimate, columns, nominal_centre_us, moved),
        **_linearity(estimate, columns, free, moved),
        **_repeatability(columns),
    }
    return found | {"together_figures": tuple(moved.items()) if estimate.effects else ()}


def _rate_at(estimate: Estimate, nominal_us: float) -> tuple[float, Floats, float]:
    """Return the slope at centre, or mid-way where centre is out of use.

    With its row, and its uncertainty from what happens between points and from the degree.
    """
    (low, high), shape = estimate.limits_us, estimate.shape
    place = nominal_us if low <= nominal_us <= high else (low + high) / 2.0
    row = shape.slope_rows(place)
    # A slope depends on the degree more than an angle does: whichever richer polynomial
    # differs most counts, of which the covariance has the richest one's difference already.
    moved = np.square(estimate.fitted.shifts[:, : len(row)] @ row)
    further = float(moved.max() - moved[-1])
    return float(shape.slopes(place)), row, math.hypot(shape.slope_between_u(place), further**0.5)


def _centre(estimate: Estimate, nominal_us: float, moved: Moved) -> dict[str, Any]:
    shape, (low, high) = estimate.shape, estimate.limits_us

    def u_angle(pulse_us: float) -> float:
        between = float(shape.between_u(pulse_us))
        return math.hypot(estimate.u(shape.value_rows(pulse_us)), estimate.u_common_deg, between)

    centre = centre_u = error = error_u = None
    if low <= nominal_us <= high:
        error, error_u = float(shape.values(nominal_us)), u_angle(nominal_us)
        moved["centre_error_deg"] = estimate.moved(shape.value_rows(nominal_us))
    if float(shape.values(low)) * float(shape.values(high)) < 0.0:
        centre = float(invert(shape, 0.0, estimate.limits_us))
        slope = float(shape.slopes(centre))
        centre_u = u_angle(centre) / abs(slope)
        moved["centre_us"] = estimate.moved(-shape.value_rows(centre) / slope)
    rate, row, between = _rate_at(estimate, nominal_us)
    moved["rate_deg_per_us"] = estimate.moved(row)
    return {
        "centre_us": centre,
        "centre_us_u": centre_u,
        "centre_error_deg": error,
        "centre_error_deg_u": error_u,
        "rate_deg_per_us": rate,
        "rate_deg_per_us_u": math.hypot(estimate.u(row), between),
    }


def _gap(estimate: Estimate, columns: Columns, nominal_us: float, moved: Moved) -> dict[str, Any]:
    half = estimate.fitted.half_gap_deg
    names = ("half_gap_deg", "hysteresis_deg", "dead_band_us")
    found: dict[str, Any] = dict.fromkeys((*names, *(f"{name}_u" for name in names)))
    found["largest_gap_deg"] = _largest_gap(columns)
    if half is None:
        return found
    nothing = np.zeros(estimate.shape.parameters)
    # What shifts all rising readings alike need not shift the falling ones: half of the
    # difference of two such shifts.
    hidden = estimate.u_common_deg / math.sqrt(2.0)
    half_u = math.hypot(estimate.u(nothing, gap=1.0), hidden)
    found |= {"half_gap_deg": half, "half_gap_deg_u": half_u}
    found |= {"hysteresis_deg": 2.0 * half, "hysteresis_deg_u": 2.0 * half_u}
    moved["hysteresis_deg"] = estimate.moved(nothing, gap=2.0)
    rate, row, between = _rate_at(estimate, nominal_us)
    if rate != 0.0:
        by_rate = -2.0 * half / rate**2 * math.copysign(1.0, rate)
        found["dead_band_us"] = 2.0 * half / abs(rate)
        found["dead_band_us_u"] = math.hypot(
            estimate.u(by_rate * row, gap=2.0 / abs(rate)),
            by_rate * between,
            2.0 / abs(rate) * hidden,
        )
        moved["dead_band_us"] = estimate.moved(by_rate * row, gap=2.0 / abs(rate))
    return found


def _largest_gap(columns: Columns) -> float | None:
    gaps = []
    for place in range(len(columns.pulses)):
        here = columns.place == place
        above, below = here & (columns.side > 0), here & (columns.side < 0)
        if above.any() and below.any():
            gaps.append(float(columns.angle[above].mean() - columns.angle[below].mean()))
    return max(gaps, key=abs, default=None)


def _linearity(estimate: Estimate, columns: Columns, free: slice, moved: Moved) -> dict[str, Any]:
    # Of the averages as measured, not of the smooth curve: that is what the term means.
    kinds = {
        "linearity_deg": linearity.independent,
        "terminal_linearity_deg": linearity.terminal_based,
    }
    means = means_at_pulses(columns, free)
    if means is None:
        return dict.fromkeys((*kinds, *(f"{name}_u" for name in kinds)))
    pulses, angles = columns.pulses[free], means.angles_deg[free]
    common = columns.together @ means.fit.response[free].T
    covariance = estimate.variance * means.fit.cofactors[free, free] + common.T @ common
    found: dict[str, Any] = {}
    for name, kind in kinds.items():
        best = kind(pulses, angles)
        found[name] = best.largest
        found[f"{name}_u"] = math.sqrt(float(best.row @ covariance @ best.row))
        moved[name] = tuple((common[: estimate.effects] @ best.row).tolist())
    return found


def _repeatability(columns: Columns) -> dict[str, Any]:
    """Pool the scatter of readings that share pulse and approach, floored by the gauge's."""
    squares, spare = 0.0, 0
    for place in range(len(columns.pulses)):
        for rising in (True, False):
            same = columns.angle[(columns.place == place) & (columns.rising == rising)]
            if len(same) > 1:
                squares += float(np.sum(np.square(same - same.mean())))
                spare += len(same) - 1
    if not spare:
        return {"repeatability_deg": None, "repeatability_deg_u": None}
    spread = max(math.sqrt(squares / spare), columns.floor_deg)
    return {"repeatability_deg": spread, "repeatability_deg_u": spread / math.sqrt(2.0 * spare)}
