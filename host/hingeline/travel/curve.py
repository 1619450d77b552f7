"""The travel curve of one physical servo: pulse to shaft angle and back, with uncertainty."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri, stdtrit

from hingeline.errors import TravelError
from hingeline.travel.reading import Approach, Reading
from hingeline.travel.shapes import Polynomial, Shape, invert, shape_from_dict
from hingeline.travel.suspects import Suspect

Floats = NDArray[np.float64]

#: Version of the plain form that `TravelCurve.to_dict` gives.
FORMAT = 1

# What older curves of the same format lack.
_LATER: dict[str, Any] = {
    "terminal_linearity_deg_u": None,
    "together": [],
    "together_figures": [],
}
# What a round trip through the inverse may lose before a value counts as outside.
_ROUNDING_US = 1e-6
_ROUNDING_DEG = 1e-9


@dataclass(frozen=True)
class Stop:
    """A mechanical stop that the servo met.

    Attributes
    ----------
    pulse_us : float
        The innermost measured pulse at which the arm stood on the stop, in us.
    angle_deg : float
        The stop's shaft angle, in degrees.
    u_deg : float
        Its standard uncertainty, in degrees.
    """

    pulse_us: float
    angle_deg: float
    u_deg: float


@dataclass(frozen=True)
class TravelCurve:
    """Pulse width to shaft angle, for one servo.

    A reading is modelled as ``m(pulse) + s * half_gap_deg + scatter``: m is the mean curve,
    s is +1 where the arm came from greater angles and -1 where it came from lesser ones, so
    that lag gives a positive half gap whichever way the servo turns. Uncertainties (``_u``)
    are standard uncertainties; angles are shaft angles, anticlockwise positive looking at
    the arm. `hingeline.travel.fit.fit` makes it; `to_dict` and `from_dict` keep it.

    Attributes
    ----------
    shape : Polynomial or MonotonePoints
        The mean curve, within its own span.
    covariance : tuple of tuple of float
        Of the shape's parameters in their order, then of ``half_gap_deg`` where that is not
        None; in deg^2. A polynomial has uncertainty in powers above its degree too: what
        those would add is not known to be nothing.
    together : tuple of tuple of float
        For each of the fit's ``together_deg``, how far one standard uncertainty of it moves
        each of the same parameters. Part of ``covariance``, kept because it is the same in
        another calibration through the same linkage. Empty without such, and in a curve that
        was kept before it was told apart.
    together_figures : tuple of (str, tuple of float)
        How far the same move figures, by the figure's attribute.
    u_common_deg : float
        What shifts all readings together and so does not average out, in degrees: the part
        of the gauge's rounding that the scatter does not show.
    residual_sd_deg : float
        Scatter of one reading about the curve, in degrees; never below what the gauge's
        resolution alone gives.
    residual_sd_deg_u : float or None
        Of the former; None without spare readings to estimate it from.
    dof : int
        Readings less parameters; 0 when there are none to spare.
    scale : {"scatter", "gauge"}
        What ``residual_sd_deg`` comes from. Intervals use Student's t with ``dof`` for
        "scatter" and the normal distribution for "gauge".
    range_us : tuple of float
        Lowest and highest pulse measured, in us. The curve answers nothing outside it.
    limits_us, limits_us_u : tuple of float
        Lowest and highest pulse of use: the measured range, or the outermost measured
        pulses at which the arm still moved freely. The uncertainty is that of where the
        stop begins, 0 at a side without a stop.
    stops : tuple of (Stop or None)
        Stops met at the low and the high end.
    nominal_centre_us : float
        The pulse that is called centre, in us.
    centre_us, centre_us_u : float or None
        Pulse at which the mean curve is 0; None when 0 is not within the limits.
    centre_error_deg, centre_error_deg_u : float or None
        Mean curve at the nominal centre; None when that is not within the limits.
    rate_deg_per_us, rate_deg_per_us_u : float
        Slope of the mean curve at the nominal centre, or in the middle of the limits when
        that is not within them. Negative: turns clockwise with rising pulse.
    half_gap_deg, half_gap_deg_u : float or None
        Half the mean up/down difference; positive for lag. Scatter can make it slightly
        negative. None when all readings have the same approach.
    hysteresis_deg, hysteresis_deg_u : float or None
        The whole mean up/down difference, dead band not subtracted; None likewise.
    largest_gap_deg : float or None
        The largest single up/down difference; None when no pulse was read both ways.
    dead_band_us, dead_band_us_u : float or None
        Change of pulse that a reversal swallows at centre: ``hysteresis_deg`` over the
        rate; None likewise.
    linearity_deg, linearity_deg_u : float or None
        Independent linearity of the up/down averages within the limits, see
        `hingeline.travel.linearity`; None with fewer than 3 pulses.
    terminal_linearity_deg, terminal_linearity_deg_u : float or None
        Terminal-based linearity of the same. The uncertainty is None in a curve that was
        kept before it was worked out.
    repeatability_deg, repeatability_deg_u : float or None
        Scatter of repeated readings (same pulse, same approach), in degrees; None when
        none was repeated.
    approach : {"rising", "falling"} or None
        The only approach that was read; None when both were.
    suspects : tuple of Suspect
        Readings that had no weight in the fit.
    readings : tuple of Reading
        All readings, as given.
    notes : tuple of str
        What the user should know, in sentences.
    """

    shape: Shape
    covariance: tuple[tuple[float, ...], ...]
    together: tuple[tuple[float, ...], ...]
    together_figures: tuple[tuple[str, tuple[float, ...]], ...]
    u_common_deg: float
    residual_sd_deg: float
    residual_sd_deg_u: float | None
    dof: int
    scale: str
    range_us: tuple[float, float]
    limits_us: tuple[float, float]
    limits_us_u: tuple[float, float]
    stops: tuple[Stop | None, Stop | None]
    nominal_centre_us: float
    centre_us: float | None
    centre_us_u: float | None
    centre_error_deg: float | None
    centre_error_deg_u: float | None
    rate_deg_per_us: float
    rate_deg_per_us_u: float
    half_gap_deg: float | None
    half_gap_deg_u: float | None
    hysteresis_deg: float | None
    hysteresis_deg_u: float | None
    largest_gap_deg: float | None
    dead_band_us: float | None
    dead_band_us_u: float | None
    linearity_deg: float | None
    linearity_deg_u: float | None
    terminal_linearity_deg: float | None
    terminal_linearity_deg_u: float | None
    repeatability_deg: float | None
    repeatability_deg_u: float | None
    approach: Approach | None
    suspects: tuple[Suspect, ...]
    readings: tuple[Reading, ...]
    notes: tuple[str, ...]

    @property
    def kind(self) -> str:
        """Return "polynomial" or "points" (a monotone curve through the means)."""
        return self.shape.kind

    @property
    def degree(self) -> int | None:
        """Return the polynomial's degree; None for a curve through points."""
        return self.shape.degree if isinstance(self.shape, Polynomial) else None

    def angle_deg(self, pulse_us: ArrayLike, approach: Approach | None = None) -> Floats:
        """Find the shaft angle at a pulse.

        Parameters
        ----------
        pulse_us : array_like, shape (...)
            Within ``range_us``.
        approach : {"rising", "falling"} or None
            From which side the pulse is reached; None: the mean of both.

        Returns
        -------
        ndarray, shape (...)
            In degrees; a scalar gives a numpy float. Flat beyond a stop; from the last free
            pulse straight on to the stop.

        Raises
        ------
        TravelError
            For a pulse outside the measured range, or an approach that was not read.
        """
        pulse = self._inside(pulse_us)
        side = self._side(approach)
        gap = side * (self.half_gap_deg or 0.0)
        angle = self._body(pulse) + gap
        for end, stop in enumerate(self.stops):
            if stop is None:
                continue
            top = self._is_top(end)
            if self.kind == "polynomial":
                # Straight on till it meets the stop, and there at the latest by its pulse.
                free = np.asarray(self.limits_us[end])
                at_free = self._body(free) + gap
                on_way = np.clip((pulse - free) / (stop.pulse_us - free), 0.0, 1.0)
                chord = at_free + on_way * (stop.angle_deg - at_free)
                onward = at_free + self.shape.slopes(free) * (pulse - free)
                way = np.maximum(onward, chord) if top else np.minimum(onward, chord)
                angle = np.where(on_way > 0, way, angle)
            held = stop.angle_deg
            angle = np.minimum(angle, held) if top else np.maximum(angle, held)
        answer: Floats = angle[()]
        return answer

    def angle_u_deg(self, pulse_us: ArrayLike, approach: Approach | None = None) -> Floats:
        """Return the standard uncertainty of `angle_deg`, in degrees; same arguments."""
        pulse = self._inside(pulse_us)
        body = self._in_span(pulse)
        rows = self._rows(self.shape.value_rows(body), self._side(approach))
        variance = self._variance(rows) + self.u_common_deg**2
        variance = variance + np.square(self.shape.between_u(body))
        for end, stop in enumerate(self.stops):
            if stop is None:
                continue
            free = self.limits_us[end]
            beyond = (pulse - free) * (stop.pulse_us - free) > 0
            on_stop = beyond & (np.abs(pulse - free) >= abs(stop.pulse_us - free))
            # Where in this gap the stop begins is not known: anywhere, so rectangular.
            gap_deg = stop.angle_deg - float(self._body(np.asarray(free)))
            between = variance + stop.u_deg**2 + gap_deg**2 / 12.0
            variance = np.where(beyond, np.where(on_stop, stop.u_deg**2, between), variance)
        answer: Floats = np.sqrt(variance)[()]
        return answer

    def together_deg(self, pulse_us: ArrayLike) -> Floats:
        """Return how far each of ``together`` moves the mean angle; shape (..., effects).

        For pulses within ``limits_us``: on a stop the arm stands where it was read.
        """
        rows = self._rows(self.shape.value_rows(self._in_span(self._inside(pulse_us))), 0.0)
        effects = np.asarray(self.together).reshape(len(self.together), rows.shape[-1])
        answer: Floats = rows @ effects.T
        return answer

    def pulse_us(self, angle_deg: ArrayLike, approach: Approach | None = None) -> Floats:
        """Find the pulse that brings the shaft to an angle.

        Parameters
        ----------
        angle_deg : array_like, shape (...)
            In degrees, within `reach_deg`.
        approach : {"rising", "falling"} or None
            From which side the pulse will be reached; None: the mean curve.

        Returns
        -------
        ndarray, shape (...)
            In us, within ``limits_us``.

        Raises
        ------
        TravelError
            For an angle beyond reach, or an approach that was not read.
        """
        angle = np.asarray(angle_deg, dtype=np.float64)
        low, high = self.reach_deg(approach)
        outside = ~((angle >= low - _ROUNDING_DEG) & (angle <= high + _ROUNDING_DEG))
        if outside.any():
            asked = float(np.atleast_1d(angle[outside])[0])
            stopped = any(self.stops)
            raise TravelError(
                f"{asked:.1f} deg is beyond this servo: between {self.limits_us[0]:g} and "
                f"{self.limits_us[1]:g} us it reaches {low:.1f} to {high:.1f} deg.",
                cause="It met a stop." if stopped else "It was not measured farther.",
                mend="Ask for a smaller angle, or change the holes of arm and horn"
                + ("." if stopped else "; or calibrate over a wider range."),
            )
        mean = angle - self._side(approach) * (self.half_gap_deg or 0.0)
        pulse: Floats = invert(self.shape, mean, self.limits_us)[()]
        return pulse

    def pulse_u_us(self, angle_deg: ArrayLike, approach: Approach | None = None) -> Floats:
        """Return the standard uncertainty of `pulse_us`, in us; same arguments."""
        pulse = self.pulse_us(angle_deg, approach)
        answer: Floats = self.angle_u_deg(pulse, approach) / np.abs(self.shape.slopes(pulse))
        return answer

    def interval_deg(
        self, pulse_us: ArrayLike, approach: Approach | None = None, confidence: float = 0.95
    ) -> tuple[Floats, Floats]:
        """Return the limits, low and high, that hold the true angle with a confidence."""
        angle = self.angle_deg(pulse_us, approach)
        half = self.coverage_factor(confidence) * self.angle_u_deg(pulse_us, approach)
        return angle - half, angle + half

    def interval_us(
        self, angle_deg: ArrayLike, approach: Approach | None = None, confidence: float = 0.95
    ) -> tuple[Floats, Floats]:
        """Return the limits, low and high, that hold the true pulse with a confidence."""
        pulse = self.pulse_us(angle_deg, approach)
        half = self.coverage_factor(confidence) * self.pulse_u_us(angle_deg, approach)
        return pulse - half, pulse + half

    def coverage_factor(self, confidence: float = 0.95) -> float:
        """Return how many standard uncertainties make an interval of a confidence.

        Raises
        ------
        TravelError
            If the confidence does not lie between 0 and 1.
        """
        if not 0.0 < confidence < 1.0:
            raise TravelError(
                f"A confidence of {confidence} does not lie between 0 and 1.", mend="Use 0.95."
            )
        quantile = (1.0 + confidence) / 2.0
        return float(ndtri(quantile) if self.scale == "gauge" else stdtrit(self.dof, quantile))

    def reach_deg(self, approach: Approach | None = None) -> tuple[float, float]:
        """Return the lowest and highest angle within ``limits_us``, in degrees."""
        ends = self.angle_deg(np.asarray(self.limits_us), approach)
        return float(ends.min()), float(ends.max())

    def to_dict(self) -> dict[str, Any]:
        """Return the curve as plain lists, dicts, strings and numbers, for JSON."""
        data: dict[str, Any] = _plain(dataclasses.asdict(self))
        data["shape"]["kind"] = self.kind
        return {"format": FORMAT, **data}

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> TravelCurve:
        """Rebuild a curve from what `to_dict` returned.

        Raises
        ------
        TravelError
            If it is of another format, or a part is missing or of the wrong form.
        """
        if data.get("format") != FORMAT:
            raise TravelError(
                f"A travel curve of format {data.get('format')} cannot be read; this is {FORMAT}.",
                mend="Calibrate the servo again, or use the Hingeline that wrote it.",
            )
        try:
            whole = {**_LATER, **data}
            parts = {field.name: _tuples(whole[field.name]) for field in dataclasses.fields(cls)}
            parts["shape"] = shape_from_dict(data["shape"])
            parts["stops"] = tuple(stop and Stop(**stop) for stop in data["stops"])
            parts["suspects"] = tuple(Suspect(**suspect) for suspect in data["suspects"])
            parts["readings"] = tuple(Reading(**reading) for reading in data["readings"])
            return cls(**parts)
        except (KeyError, TypeError) as wrong:
            raise TravelError(
                f"The stored travel curve is damaged: {wrong}.", mend="Calibrate the servo again."
            ) from wrong

    @cached_property
    def _cov(self) -> Floats:
        return np.asarray(self.covariance)

    def _is_top(self, end: int) -> bool:
        """Tell whether an end of the range (0 low, 1 high) is that of the greatest angle."""
        return (end == 1) == (self.rate_deg_per_us > 0)

    def _side(self, approach: Approach | None) -> float:
        """Return s of the model: +1 from greater angles, -1 from lesser, 0 for the mean."""
        if approach is None or approach == self.approach:
            return 0.0
        if approach not in ("rising", "falling"):
            raise TravelError(
                f'Approach "{approach}" is not known.', mend='Use "rising" or "falling".'
            )
        if self.half_gap_deg is None:
            raise TravelError(
                f"What this servo does on a {approach} pulse is not known: it was read "
                f"{self.approach or 'on its stops'} only.",
                mend=f"Take the {approach} readings as well.",
            )
        return float(np.sign(self.rate_deg_per_us)) * (1.0 if approach == "falling" else -1.0)

    def _inside(self, pulse_us: ArrayLike) -> Floats:
        pulse = np.asarray(pulse_us, dtype=np.float64)
        low, high = self.range_us
        outside = ~((pulse >= low - _ROUNDING_US) & (pulse <= high + _ROUNDING_US))
        if outside.any():
            raise TravelError(
                f"{float(np.atleast_1d(pulse[outside])[0]):g} us is outside the measured range, "
                f"{low:g} to {high:g} us.",
                cause="What a servo does beyond it cannot be told from what it does inside.",
                mend="Stay inside, or calibrate over a wider range.",
            )
        return pulse

    def _in_span(self, pulse: Floats) -> Floats:
        return np.clip(pulse, *self.shape.span_us)

    def _body(self, pulse: Floats) -> Floats:
        return self.shape.values(self._in_span(pulse))

    def _rows(self, shape_rows: Floats, side: float) -> Floats:
        """Append the half gap's column, where there is one, to rows of the shape."""
        if self.half_gap_deg is None:
            return shape_rows
        gap = np.full((*shape_rows.shape[:-1], 1), side)
        return np.concatenate([shape_rows, gap], axis=-1)

    def _variance(self, rows: Floats) -> Floats:
        return np.asarray(np.einsum("...i,ij,...j->...", rows, self._cov, rows))


def _plain(value: Any) -> Any:
    """Turn tuples into lists, as JSON will, at every depth."""
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    return [_plain(item) for item in value] if isinstance(value, (list, tuple)) else value


def _tuples(value: Any) -> Any:
    return tuple(_tuples(item) for item in value) if isinstance(value, list) else value
