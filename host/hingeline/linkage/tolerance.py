"""How much the throws vary from build to build, and which error is to blame.

Many linkages are built, each with random errors, and solved at five shaft angles: neutral,
both throws and half-way to each, for a surface may be right at the ends and wrong between.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from hingeline.errors import LinkageError
from hingeline.linkage.builds import FACTORS, Errors, built
from hingeline.linkage.closure import Floats, Linkage, surface_angle
from hingeline.linkage.limits import reach
from hingeline.linkage.stacks import solve_stack

#: Builds drawn unless asked otherwise; with them a share is known to about 0.1 %.
SAMPLES = 200_000
#: Fewest from which the ends of a band are worth stating.
FEWEST_SAMPLES = 1000
#: A change of throw below this is finer than a builder can measure: our own choice.
NEGLIGIBLE_DEG = 0.1
#: Part of the builds that lie within a band.
BAND = 0.95

# Builds at a time: more would not fit the processor's cache.
_CHUNK = 5000


@dataclass(frozen=True)
class Allowed:
    """How far off a build may be; both are our own choice.

    Attributes
    ----------
    neutral_deg : float
        Surface from where it is drawn with the shaft at zero.
    throw_deg : float
        Surface from where it is drawn at both throws and half-way to each.
    """

    neutral_deg: float = 1.0
    throw_deg: float = 1.0


@dataclass(frozen=True)
class Band:
    """How one figure varies from build to build.

    Attributes
    ----------
    drawn_deg : float
        Without errors.
    mean_deg, sd_deg : float
        Mean and standard deviation.
    low_deg, high_deg : float
        Ends of the band that holds `BAND` of the builds, as many below as above.
    """

    drawn_deg: float
    mean_deg: float
    sd_deg: float
    low_deg: float
    high_deg: float


@dataclass(frozen=True)
class Sensitivity:
    """What one error alone does, at one standard deviation.

    Attributes
    ----------
    factor : str
        One of `hingeline.linkage.builds.FACTORS`, which ends in its unit.
    size : float
        The standard deviation, in that unit.
    neutral_deg, first_deg, second_deg, differential_deg : float
        Change of each figure; nan when such a linkage does not close.
    worst_deg : float
        The largest of the first three, without sign.
    matters : bool
        Whether that reaches `NEGLIGIBLE_DEG`.
    """

    factor: str
    size: float
    neutral_deg: float
    first_deg: float
    second_deg: float
    differential_deg: float
    worst_deg: float
    matters: bool


@dataclass(frozen=True)
class Tolerance:
    """Bands, share of good builds and sensitivities of one surface.

    Attributes
    ----------
    neutral : Band
        Surface with the shaft at zero, in the engine's sign.
    first, second : Band
        Throws without sign, counted from the surface in line, at the two shaft angles given.
    differential : Band
        First throw less the second.
    within : float
        Share of the builds that are as good as allowed at all five shaft angles, 0 to 1.
    within_u : float
        Its standard uncertainty from the number of builds.
    locked : float
        Share of the builds that do not close at one of the five angles; never good.
    sensitivities : tuple of Sensitivity
        The worst first.
    errors, allowed : Errors, Allowed
        What was reckoned with.
    fitted : bool
        As in `hingeline.linkage.builds.built`.
    samples, seed : int
        The same again give the same figures.
    """

    neutral: Band
    first: Band
    second: Band
    differential: Band
    within: float
    within_u: float
    locked: float
    sensitivities: tuple[Sensitivity, ...]
    errors: Errors
    allowed: Allowed
    fitted: bool
    samples: int
    seed: int


def tolerance(
    linkage: Linkage,
    first_shaft_rad: float,
    second_shaft_rad: float,
    *,
    errors: Errors | None = None,
    allowed: Allowed | None = None,
    fitted: bool | None = None,
    samples: int = SAMPLES,
    seed: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> Tolerance:
    """Draw many builds of a linkage and see how they vary.

    Parameters
    ----------
    linkage : Linkage
        In the hinge frame, as `hingeline.linkage.mounting.mounted` builds it.
    first_shaft_rad, second_shaft_rad : float
        Shaft angles of the two throws, one each side of zero, in any order.
    errors : Errors or None
        Normal and independent; None is the defaults.
    allowed : Allowed or None
        None is the defaults.
    fitted : bool or None
        None: fitted where the linkage has no rod length of its own.
    samples : int
        At least `FEWEST_SAMPLES`.
    seed : int
        Of the random numbers, 0 or more.
    progress : callable or None
        Told the builds done and the builds asked for, after each chunk.

    Raises
    ------
    LinkageError
        When the drawn linkage does not close over the range, the two shaft angles do not lie
        one each side of zero, or there are too few samples.
    """
    if not first_shaft_rad * second_shaft_rad < 0.0:
        raise LinkageError(
            f"shaft angles {math.degrees(first_shaft_rad):g} deg and "
            f"{math.degrees(second_shaft_rad):g} deg do not lie one each side of neutral.",
            mend="Give the shaft angles of the two throws.",
        )
    if samples < FEWEST_SAMPLES:
        raise LinkageError(
            f"{samples} builds are too few for a band: the least is {FEWEST_SAMPLES}.",
            mend=f"Leave the number out for {SAMPLES}.",
        )
    ends = sorted((first_shaft_rad, second_shaft_rad))
    reach(linkage, ends[0], ends[1])  # refuses a range that does not close
    spread, limits = errors or Errors(), allowed or Allowed()
    is_fitted = linkage.rod_mm is None if fitted is None else fitted
    shaft = np.array([0.0, 1.0, 1.0, 0.5, 0.5])
    shaft[1::2] *= first_shaft_rad
    shaft[2::2] *= second_shaft_rad
    drawn = surface_angle(linkage, shaft)

    sizes, rng = np.array(spread.sizes()), np.random.default_rng(seed)
    angles = np.empty((len(shaft), samples))
    for start in range(0, samples, _CHUNK):
        count = min(_CHUNK, samples - start)
        drawn_errors = rng.standard_normal((len(FACTORS), count)) * sizes[:, np.newaxis]
        matrices = built(linkage, drawn_errors, fitted=is_fitted)
        angles[:, start : start + count] = solve_stack(matrices, shaft)
        if progress is not None:
            progress(start + count, samples)
    off = np.degrees(np.abs(angles - drawn[:, np.newaxis]))
    most = np.array([limits.neutral_deg] + [limits.throw_deg] * 4)
    within = float(np.mean(np.all(off <= most[:, np.newaxis], axis=0)))
    closed = np.isfinite(angles).all(axis=0)
    if not closed.any():
        raise LinkageError(
            "no build with these errors closes.", mend="Check the sizes of the errors."
        )

    signs = np.sign(drawn[1:3])
    figures = _figures(angles[:3, closed], signs)
    drawn_figures = _figures(drawn[:3], signs)
    neutral, first, second, differential = map(_band, drawn_figures, figures)
    return Tolerance(
        neutral=neutral,
        first=first,
        second=second,
        differential=differential,
        within=within,
        within_u=math.sqrt(within * (1.0 - within) / samples),
        locked=1.0 - float(np.mean(closed)),
        sensitivities=_sensitivities(linkage, spread, shaft[:3], signs, fitted=is_fitted),
        errors=spread,
        allowed=limits,
        fitted=is_fitted,
        samples=samples,
        seed=seed,
    )


def _figures(angles_rad: Floats, signs: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Turn angles at neutral and both throws into the four figures, in degrees."""
    neutral, first, second = np.degrees(angles_rad)
    first, second = signs[0] * first, signs[1] * second
    return neutral, first, second, first - second


def _band(drawn_deg: Floats, values_deg: Floats) -> Band:
    low, high = np.quantile(values_deg, [0.5 - BAND / 2.0, 0.5 + BAND / 2.0])
    mean, sd = float(np.mean(values_deg)), float(np.std(values_deg))
    return Band(float(drawn_deg), mean, sd, float(low), float(high))


def _sensitivities(
    linkage: Linkage, errors: Errors, shaft_rad: Floats, signs: Floats, *, fitted: bool
) -> tuple[Sensitivity, ...]:
    alone = np.diag(errors.sizes())
    none = np.zeros((len(FACTORS), 1))
    matrices = built(linkage, np.hstack([none, alone]), fitted=fitted)
    figures = np.array(_figures(solve_stack(matrices, shaft_rad), signs))
    changes = figures[:, 1:] - figures[:, :1]
    rows = []
    for factor, size, change in zip(FACTORS, errors.sizes(), changes.T, strict=True):
        neutral, first, second, differential = map(float, change)
        worst = float(np.max(np.abs(change[:3])))
        # What does not close (nan) matters too.
        matters = not worst < NEGLIGIBLE_DEG
        rows.append(
            Sensitivity(factor, size, neutral, first, second, differential, worst, matters)
        )
    rows.sort(key=lambda row: math.inf if math.isnan(row.worst_deg) else row.worst_deg)
    return tuple(reversed(rows))
