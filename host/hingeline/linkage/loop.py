"""Closed-form position solution of arm, rod and horn, planar or spatial.

The tip of the arm moves on one circle, the tip of the horn on another, and the rod
keeps them a fixed distance apart. With the shaft turned by t and the surface by d,

    A(t) = a0 + pa cos t + qa sin t        B(d) = b0 + pb cos d + qb sin d
    |B - A|^2 - L^2 = (1, cos t, sin t) M (1, cos d, sin d)^T = 0

so that the whole linkage is one 3x3 matrix M. Taking t as given leaves

    P cos d + Q sin d = R,    (-R, P, Q) = (1, cos t, sin t) M
    d = atan2(Q, P) +- acos(R / hypot(P, Q))

and taking d as given is the same with M transposed. This is the constraint of the RSSR
linkage as in J. M. McCarthy and G. S. Soh, Geometric Design of Linkages, 2nd ed.,
Springer 2011, appendix A.1, of which the planar four-bar is the case of parallel axes.

The sign in front of the acos is the assembly branch. It is the sign of -dF/dd and cannot
change while the linkage moves without passing a limit, so it is read once, at rest, and
kept: the horn cannot flip to its mirror position. It does not depend on the rod's length
either; a longer or shorter rod moves neutral but stays on the branch of the rod that fits.

Angles are zero at rest, right-handed about each crank's axis, in radians. They are counted
from rest without wrapping until the tip of the driver, seen along the other crank's axis,
has gone half-way round that axis, which no servo linkage comes near.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

#: How far R / hypot(P, Q) may exceed 1 and still be rounding: such a linkage is exactly
#: straight. What exceeds it more does not close and is never clamped.
ROUNDING = 1e-12

#: Below this sine the rod counts as in line with a crank, or a hole as on its axis.
IN_LINE = 1e-9

# Elements solved at a time, so that the temporaries stay in the processor's cache.
_CHUNK = 8192


def closure_matrix(
    arm_pivot_mm: ArrayLike,
    arm_axis: ArrayLike,
    arm_tip_mm: ArrayLike,
    horn_pivot_mm: ArrayLike,
    horn_axis: ArrayLike,
    horn_tip_mm: ArrayLike,
    rod_mm: ArrayLike | None = None,
) -> Floats:
    """Build the closure matrices of any number of linkages at once.

    Nothing is checked here; a linkage that makes no sense gives nan when solved.

    Parameters
    ----------
    arm_pivot_mm, arm_tip_mm, horn_pivot_mm, horn_tip_mm : array_like, shape (..., 3)
        As in `Crank`.
    arm_axis, horn_axis : array_like, shape (..., 3)
        Of any length but zero.
    rod_mm : array_like, shape (...), or None
        None: made to fit.

    Returns
    -------
    ndarray, shape (..., 3, 3)
        In mm^2. Rows go with (1, cos, sin) of the shaft, columns of the surface.
    """
    arm_centre, pa, qa = tip_circle(arm_pivot_mm, arm_axis, arm_tip_mm)
    horn_centre, pb, qb = tip_circle(horn_pivot_mm, horn_axis, horn_tip_mm)
    between = horn_centre - arm_centre
    constant = _dot(between, pa) - _dot(between, pb) + _dot(pa, pb)
    if rod_mm is not None:
        # The squares are never formed alone: on a long rod they would drown the difference.
        rod = np.asarray(rod_mm, dtype=np.float64)
        apart = between + pb - pa
        rest = np.sqrt(_dot(apart, apart))
        constant = constant + 0.5 * (rest - rod) * (rest + rod)
    rows = [
        [constant, _dot(between, pb), _dot(between, qb)],
        [-_dot(between, pa), -_dot(pa, pb), -_dot(pa, qb)],
        [-_dot(between, qa), -_dot(qa, pb), -_dot(qa, qb)],
    ]
    shape = np.shape(constant)
    flat = np.stack([np.broadcast_to(entry, shape) for row in rows for entry in row], axis=-1)
    return 2.0 * flat.reshape((*shape, 3, 3))


def solve(matrix: ArrayLike, driver_rad: ArrayLike) -> Floats:
    """Solve closure matrices for the driven angle.

    Parameters
    ----------
    matrix : array_like, shape (..., 3, 3)
        From `closure_matrix`; transposed, the roles of shaft and surface are swapped.
    driver_rad : array_like, shape (...)
        Broadcast against the leading shape of `matrix`.

    Returns
    -------
    ndarray, shape (...)
        Radians; nan where there is no solution, or where the rod is in line with the
        driven crank at rest so that no branch can be told from the other.
    """
    m = np.asarray(matrix, dtype=np.float64)
    driver = np.asarray(driver_rad, dtype=np.float64)
    shape = np.broadcast_shapes(m.shape[:-2], driver.shape)
    start_cos, start_sin = m[..., 0, 1] + m[..., 1, 1], m[..., 0, 2] + m[..., 1, 2]
    branch = branch_at_rest(m)
    with np.errstate(invalid="ignore", divide="ignore"):
        size = np.hypot(start_cos, start_sin)
        c, s = start_cos / size, start_sin / size
    phase = np.arctan2(start_sin, start_cos)
    # Columns turned by the phase at rest: atan2 then starts at 0 there, far from its wrap.
    columns = [-m[..., 0], _times(c, m[..., 1]) + _times(s, m[..., 2])]
    columns.append(_times(c, m[..., 2]) - _times(s, m[..., 1]))
    constants = [column[..., row] for column in columns for row in range(3)] + [branch, phase]

    if m.ndim == 2:
        driver = driver.reshape(-1)
    else:
        spread = shape or (1,)
        driver = np.broadcast_to(driver, spread)
        constants = [np.broadcast_to(constant, spread) for constant in constants]
    driven = np.empty(driver.shape)
    step = max(1, _CHUNK // max(1, int(np.prod(driver.shape[1:]))))
    work = np.empty((6, min(step, len(driver)), *driver.shape[1:]))
    with np.errstate(invalid="ignore", divide="ignore"):
        for start in range(0, len(driver), step):
            part = slice(start, min(start + step, len(driver)))
            of_part = constants if m.ndim == 2 else [constant[part] for constant in constants]
            _solve_part(of_part, driver[part], driven[part], work[:, : part.stop - start])
    answer: Floats = driven.reshape(shape)[()]
    return answer


def _solve_part(constants: list[Floats], driver: Floats, out: Floats, work: Floats) -> None:
    """Solve one part into ``out``; ``work`` is scratch of shape (6, *driver.shape)."""
    cos, sin, r, p, q, spare = work
    branch, phase = constants[9:]
    np.cos(driver, out=cos)
    np.sin(driver, out=sin)
    for index, row in enumerate((r, p, q)):
        k0, k1, k2 = constants[3 * index : 3 * index + 3]
        np.multiply(cos, k1, out=row)
        np.add(row, k0, out=row)
        np.multiply(sin, k2, out=spare)
        np.add(row, spare, out=row)
    np.arctan2(q, p, out=out)
    np.multiply(p, p, out=p)
    np.multiply(q, q, out=q)
    np.add(p, q, out=p)
    np.sqrt(p, out=p)
    np.divide(r, p, out=r)
    np.absolute(r, out=q)
    outside = q > 1.0
    if outside.any():
        straight = outside & (q <= 1.0 + ROUNDING)
        r[straight] = np.sign(r[straight])
    np.arccos(r, out=r)
    np.multiply(r, branch, out=r)
    np.add(out, r, out=out)
    np.add(out, phase, out=out)


def solve_ratio(matrix: ArrayLike, driver_rad: ArrayLike) -> Floats:
    """Differentiate the solution of `solve` with respect to the driver, in closed form.

    Parameters
    ----------
    matrix : array_like, shape (..., 3, 3)
    driver_rad : array_like, shape (...)
        Broadcast against the leading shape of `matrix`.

    Returns
    -------
    ndarray, shape (...)
        Dimensionless; as `ratio`.

    Notes
    -----
    With W^2 = P^2 + Q^2 - R^2 and the branch's sign k, F = -R + P cos d + Q sin d has
    cos d = (P R - k Q W) / (P^2 + Q^2), sin d = (Q R + k P W) / (P^2 + Q^2) and
    dF/dd = -k W, so no inverse function is needed.
    """
    m = np.asarray(matrix, dtype=np.float64)
    driver = np.asarray(driver_rad, dtype=np.float64)
    cos, sin = np.cos(driver), np.sin(driver)
    minus_r, p, q = (m[..., 0, j] + m[..., 1, j] * cos + m[..., 2, j] * sin for j in range(3))
    slopes = [m[..., 2, j] * cos - m[..., 1, j] * sin for j in range(3)]
    r, square, branch = -minus_r, p * p + q * q, branch_at_rest(m)
    size = np.sqrt(square)
    rest = (size - r) * (size + r)
    rest = np.where((rest < 0.0) & (rest >= -2.0 * ROUNDING * square), 0.0, rest)
    with np.errstate(invalid="ignore", divide="ignore"):
        w = branch * np.sqrt(rest)
        slope = slopes[0] + (slopes[1] * (p * r - q * w) + slopes[2] * (q * r + p * w)) / square
        answer: Floats = np.asarray(slope / w)[()]
    return answer


def levers_mm(matrix: ArrayLike, rod_mm: ArrayLike, driver_rad: ArrayLike) -> Floats:
    """Find the lever on which the rod turns the driven crank.

    Rod force times this lever is the torque about the driven axis: it is the crank's radius
    times the sines of both angles between them.

    Parameters
    ----------
    matrix : array_like, shape (..., 3, 3)
        Transposed, the driven crank is the arm.
    rod_mm, driver_rad : array_like, shape (...)
        Length of the rod; angle of the driver. Broadcast against each other.

    Returns
    -------
    ndarray, shape (...)
        In mm, never negative; 0 where the rod is in line with the driven crank, nan where
        the linkage does not close.

    Notes
    -----
    F = |B - A|^2 - L^2 has dF/dd = 2 L times the lever, and |dF/dd| = W of `solve_ratio`.
    """
    m = np.asarray(matrix, dtype=np.float64)
    driver = np.asarray(driver_rad, dtype=np.float64)
    cos, sin = np.cos(driver), np.sin(driver)
    r, p, q = (m[..., 0, j] + m[..., 1, j] * cos + m[..., 2, j] * sin for j in range(3))
    square = p * p + q * q - r * r
    square = np.where((square < 0.0) & (square >= -2.0 * ROUNDING * r * r), 0.0, square)
    with np.errstate(invalid="ignore"):
        lever: Floats = (np.sqrt(square) / (2.0 * np.asarray(rod_mm)))[()]
    return lever


def branch_at_rest(matrix: Floats) -> Floats:
    """Read the sign of the acos at rest; nan where rod and driven crank are then in line."""
    cos, sin = matrix[..., 0, 1] + matrix[..., 1, 1], matrix[..., 0, 2] + matrix[..., 1, 2]
    return np.where(np.abs(sin) > IN_LINE * np.abs(cos), -np.sign(sin), np.nan)


def tip_circle(pivot: ArrayLike, axis: ArrayLike, tip: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Give a tip's circle: its centre, and its radii at rest and a quarter turn on."""
    on_axis, at = np.asarray(pivot, dtype=np.float64), np.asarray(tip, dtype=np.float64)
    direction = np.asarray(axis, dtype=np.float64)
    with np.errstate(invalid="ignore"):
        unit = direction / np.sqrt(_dot(direction, direction))[..., np.newaxis]
    centre = on_axis + unit * _dot(at - on_axis, unit)[..., np.newaxis]
    return centre, at - centre, np.cross(unit, at - centre)


def _dot(a: Floats, b: Floats) -> Floats:
    product: Floats = np.sum(a * b, axis=-1)
    return product


def _times(scalar: Floats, rows: Floats) -> Floats:
    return scalar[..., np.newaxis] * rows
