"""Many linkages at the same few shaft angles, as fast as it goes.

The closed form is the one of `hingeline.linkage.loop`. Two things are cheaper here than
there: the shaft angles are common to all linkages, so that their sines are taken once; and the
surface stays within half a turn of rest, so that no column has to be turned beforehand.
"""

from __future__ import annotations

import numpy as np

from hingeline.linkage.loop import Floats, branch_at_rest

_TURN = 2.0 * np.pi


def solve_stack(matrices: Floats, shaft_rad: Floats) -> Floats:
    """Solve every linkage at every shaft angle.

    Parameters
    ----------
    matrices : ndarray, shape (n, 3, 3)
        From `hingeline.linkage.loop.closure_matrix`; quickest when the n run fastest in
        memory, and when the working set of some 20 n floats fits the processor's cache.
    shaft_rad : ndarray, shape (k,)

    Returns
    -------
    ndarray, shape (k, n)
        As `hingeline.linkage.loop.solve` gives them, from -pi to pi; nan where a linkage does
        not close, also where it is straight to the last digit.
    """
    count = len(matrices)
    branch = branch_at_rest(matrices)
    angles = np.empty((len(shaft_rad), count))
    r, p, q, spare = np.empty((4, count))
    with np.errstate(invalid="ignore", divide="ignore"):
        for angle, cos, sin in zip(angles, np.cos(shaft_rad), np.sin(shaft_rad), strict=True):
            for column, row in enumerate((r, p, q)):
                np.multiply(matrices[:, 1, column], cos, out=row)
                np.add(row, matrices[:, 0, column], out=row)
                np.multiply(matrices[:, 2, column], sin, out=spare)
                np.add(row, spare, out=row)
            np.arctan2(q, p, out=angle)
            np.multiply(p, p, out=p)
            np.multiply(q, q, out=q)
            np.add(p, q, out=p)
            np.sqrt(p, out=p)
            np.divide(r, p, out=r)
            np.negative(r, out=r)
            np.arccos(r, out=r)
            np.multiply(r, branch, out=r)
            np.add(angle, r, out=angle)
            np.divide(angle, _TURN, out=spare)
            np.rint(spare, out=spare)
            np.multiply(spare, _TURN, out=spare)
            np.subtract(angle, spare, out=angle)
    return angles
