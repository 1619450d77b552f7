"""When a rod that is pushed bows out sideways.

A rod with pinned ends holds F = pi^2 E I / l^2 over a length l without support (L. Euler,
1744; any text-book of strength of materials). Pull never bends it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from hingeline.errors import LinkageError
from hingeline.linkage.materials import STIFFNESS
from hingeline.model.schema import Rod

#: How many times the push a rod should hold: our own choice, for rods are never quite straight.
SAFETY = 2.0
#: Below this slenderness a rod gives way by its material's strength before it bows, and Euler's
#: load is too high (of steel; text-books, from memory).
SLENDER_FROM = 100.0


@dataclass(frozen=True)
class Section:
    """A rod's round cross-section and stiffness.

    Attributes
    ----------
    diameter_mm, inner_mm : float
        Outer diameter, and the bore of a tube; 0 for a solid rod.
    young_gpa : float
        Young's modulus along the rod.
    """

    diameter_mm: float
    inner_mm: float
    young_gpa: float

    @property
    def second_moment_mm4(self) -> float:
        """Second moment of area about a diameter, in mm^4."""
        return math.pi / 64.0 * (self.diameter_mm**4 - self.inner_mm**4)

    @property
    def gyration_mm(self) -> float:
        """Radius of gyration, in mm."""
        return math.hypot(self.diameter_mm, self.inner_mm) / 4.0

    @property
    def stiffness_n_mm2(self) -> float:
        """Bending stiffness E I, in N mm^2."""
        return 1000.0 * self.young_gpa * self.second_moment_mm4


@dataclass(frozen=True)
class Buckling:
    """A rod against the largest push on it.

    Attributes
    ----------
    bare_mm : float
        The longest stretch without support that was reckoned with.
    holds_n : float
        Push at which it bows out.
    margin : float
        ``holds_n`` over the push; infinite without a push.
    enough_mm : float
        Bare stretch at which the margin would be `SAFETY`; infinite without a push.
    slenderness : float
        Bare stretch over radius of gyration; below `SLENDER_FROM` ``holds_n`` is too high.
    """

    bare_mm: float
    holds_n: float
    margin: float
    enough_mm: float
    slenderness: float


def section_of(rod: Rod) -> Section:
    """Return the cross-section of a rod of the model file."""
    return Section(
        rod.diameter_mm, rod.inner_diameter_mm or 0.0, STIFFNESS[rod.material].young_gpa
    )


def buckling(section: Section, bare_mm: float, push_n: float) -> Buckling:
    """Compare a push with what a rod holds.

    Parameters
    ----------
    section : Section
    bare_mm : float
        Longest stretch without support, above 0.
    push_n : float
        0 or more.

    Raises
    ------
    LinkageError
        For a stretch that is not above 0, or a push below 0.
    """
    if not (bare_mm > 0.0 and push_n >= 0.0):
        raise LinkageError(
            f"a bare stretch of {bare_mm:g} mm under a push of {push_n:g} N makes no sense.",
            mend="The stretch must be above 0 mm and the push at least 0 N.",
        )
    holds_n = math.pi**2 * section.stiffness_n_mm2 / bare_mm**2
    return Buckling(
        bare_mm=bare_mm,
        holds_n=holds_n,
        margin=holds_n / push_n if push_n > 0.0 else math.inf,
        enough_mm=bare_mm * math.sqrt(holds_n / (SAFETY * push_n)) if push_n > 0.0 else math.inf,
        slenderness=bare_mm / section.gyration_mm,
    )
