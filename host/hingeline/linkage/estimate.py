"""From measured pairs of servo and surface angle to what is built differently than planned.

Lean, set-back and rod length are estimated together on the exact linkage, by least squares
with priors: what builders usually get wrong by little (a rod's length) is not blamed for
what they sometimes get wrong by much (a tooth). With few points the causes cannot be told
apart; then each gets its share, and its uncertainty says so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import msgspec
import numpy as np

from hingeline.errors import LinkageError
from hingeline.linkage.bothaxes import fit_curve
from hingeline.linkage.closure import Floats, Linkage, surface_angle
from hingeline.linkage.mounting import mounted, tooth_deg
from hingeline.model.schema import Offset, Servo, Surface

#: Standard deviations of what is built: lean, set-back, rod. Our own choice.
PRIORS = (8.0, 1.5, 0.6)
#: An effect smaller than this cannot be seen on a builder's gauge. Our own choice.
MATTERS_DEG = 0.5


@dataclass(frozen=True)
class Cause:
    """One thing that may be built differently than planned.

    Attributes
    ----------
    name : {"lean", "set-back", "rod"}
        What it is.
    size, u : float
        By how much more than planned, and its standard uncertainty: degrees ahead, mm aft,
        mm too long.
    effect_deg : float
        Greatest change of the surface that it makes, over the servo angles measured.
    text : str
        Size and mend in a sentence.
    matters : bool
        Whether the effect could be seen on a gauge.
    """

    name: str
    size: float
    u: float
    effect_deg: float
    text: str

    @property
    def matters(self) -> bool:
        """Tell whether the effect could be seen on a builder's gauge."""
        return self.effect_deg >= MATTERS_DEG


@dataclass(frozen=True)
class Diagnosis:
    """What measured pairs tell of a linkage.

    Attributes
    ----------
    causes : tuple of Cause
        The greatest effect first.
    before_deg, after_deg : float
        Root mean square of measured less predicted, as planned and as estimated.
    explained : bool
        Whether what remains could be the gauge's doing.
    """

    causes: tuple[Cause, ...]
    before_deg: float
    after_deg: float
    explained: bool


def diagnose(
    surface: Surface,
    servo: Servo,
    shaft_deg: Sequence[float],
    surface_deg: Sequence[float],
    *,
    u_deg: float = 0.3,
    u_shaft_deg: float | Sequence[float] = 0.0,
) -> Diagnosis:
    """Estimate what is built differently than planned.

    Parameters
    ----------
    surface, servo : Surface, Servo
        As planned.
    shaft_deg, surface_deg : sequence of float
        Servo arm from its centre, and surface from neutral, measured together; signed as
        in :func:`hingeline.linkage.mounting.mounted`.
    u_deg : float
        Standard uncertainty of a surface reading.
    u_shaft_deg : float or sequence of float
        Standard uncertainty of each servo angle; it counts through the linkage's ratio.

    Raises
    ------
    LinkageError
        For fewer than two pairs, or values that are not finite.
    """
    shaft = np.radians(np.asarray(shaft_deg, dtype=np.float64))
    seen = np.asarray(surface_deg, dtype=np.float64)
    if shaft.shape != seen.shape or seen.size < 2 or not np.isfinite([*shaft, *seen]).all():
        raise LinkageError(
            f"{seen.size} pairs of servo and surface angle cannot be compared with the plan.",
            mend="Measure the surface at two servo positions or more, better at five.",
        )
    if not u_deg > 0:
        raise LinkageError(
            f"an uncertainty of {u_deg:g} deg is not above zero.", mend="Give the gauge's."
        )

    def predicted(at: Floats, built: Floats) -> Floats:
        surface_rad = surface_angle(_built(surface, servo, built), at)
        # A linkage that locks where a reading was taken is far from the truth.
        return np.asarray(np.nan_to_num(np.degrees(surface_rad), nan=1e3))

    as_planned = np.zeros(len(PRIORS))
    found = fit_curve(
        predicted,
        shaft,
        seen,
        as_planned,
        u_x=np.radians(u_shaft_deg),
        u_y=u_deg,
        start_u=PRIORS,
        complex_step=False,
    )
    before, after = seen - predicted(shaft, as_planned), found.residuals
    causes = []
    for index, name in enumerate(("lean", "set-back", "rod")):
        without = found.coefficients.copy()
        without[index] = 0.0
        effect = float(np.abs(seen - predicted(shaft, without) - after).max())
        size = float(found.coefficients[index])
        u = math.sqrt(found.cofactors[index, index])
        causes.append(Cause(name, size, u, effect, _sentence(name, size, servo)))
    causes.sort(key=lambda cause: -cause.effect_deg)
    rms_after = float(np.sqrt(np.mean(after**2)))
    return Diagnosis(
        tuple(causes),
        float(np.sqrt(np.mean(before**2))),
        rms_after,
        rms_after <= 2.0 * float(np.sqrt(np.mean(found.u**2))),
    )


def _built(surface: Surface, servo: Servo, built: Floats) -> Linkage:
    lean, set_back, rod = (float(value) for value in built)
    horn = msgspec.structs.replace(
        surface.horn, set_back_mm=Offset(surface.horn.set_back_mm + set_back)
    )
    changed = msgspec.structs.replace(surface, horn=horn)
    fits = mounted(changed, servo, off_lean_deg=lean)
    return Linkage(fits.arm, fits.horn, fits.length_mm + rod)


def _sentence(name: str, size: float, servo: Servo) -> str:
    if name == "set-back":
        way = "aft" if size > 0 else "ahead"
        mend = "ahead" if size > 0 else "aft"
        return (
            f"the horn's hole stands {abs(size):.1f} mm further {way} than planned; move it {mend}"
        )
    if name == "rod":
        way, mend = ("long", "shorten") if size > 0 else ("short", "lengthen")
        return f"the rod is {abs(size):.2f} mm too {way}; {mend} it until neutral is true"
    way = "away from" if size > 0 else "towards"
    back = "towards" if size > 0 else "away from"
    teeth = abs(size) / tooth_deg(servo)
    if teeth >= 0.5:
        count = f"{round(teeth)} {'tooth' if round(teeth) == 1 else 'teeth'}"
        return (
            f"the arm leans {abs(size):.1f} deg more {way} the hinge line than planned, about "
            f"{count}: was the servo centred when it was fitted? Refit it {count} {back} the "
            "hinge line"
        )
    return (
        f"the arm leans {abs(size):.1f} deg more {way} the hinge line than planned, less than "
        "half a tooth: trim the servo's centre"
    )
