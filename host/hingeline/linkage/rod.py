"""A rod from geometry to wire: length, bends, where to cut, what a turn of a fitting does.

The rule for bends. Each is a right angle about an inside radius r, so that the middle of a
wire of diameter d runs on the radius R = r + d/2 and is neither stretched nor squeezed there.
The bend of length pi R / 2 begins R short of the hole's centre and ends R to the side of the
rod, from where the wire goes straight through the hole. A z-bend has a second such bend
behind the hole and a tail along the rod; an l-bend just ends behind it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from hingeline.linkage.closure import Linkage
from hingeline.linkage.levers import levers
from hingeline.linkage.limits import shaft_limits
from hingeline.model.schema import Rod, RodEnd

# Drawn wire that is bent cold in the workshop; tubes and fibres are not.
_BENDABLE = ("steel", "aluminium")


@dataclass(frozen=True)
class BendRule:
    """What the bends of a wire are made to.

    Attributes
    ----------
    inside_diameters : float
        Inside radius of a bend in diameters of the wire (common practice, no source).
    through_mm : float
        Straight piece through the hole of a z-bend: the thickness of arm or horn. Our own
        choice, as are the two others.
    tail_mm : float
        Straight tail behind the second bend of a z-bend.
    leg_mm : float
        Straight leg of an l-bend: through the hole and its keeper.
    """

    inside_diameters: float = 1.5
    through_mm: float = 2.0
    tail_mm: float = 4.0
    leg_mm: float = 6.0


@dataclass(frozen=True)
class Bend:
    """One right-angled bend, marked on the straight wire.

    Attributes
    ----------
    end : {"arm", "horn"}
        The end of the rod to which it belongs.
    from_mm, to_mm : float
        Where it begins and ends, from the cut end of the wire at the arm.
    """

    end: Literal["arm", "horn"]
    from_mm: float
    to_mm: float


@dataclass(frozen=True)
class RodFigures:
    """One rod as it is made and adjusted.

    Attributes
    ----------
    length_mm : float
        From hole to hole with everything at neutral.
    neutral_deg_per_mm : float
        How far the surface's neutral moves per mm that the rod is longer, in the engine's
        sign: positive to the side to which a push turns it.
    cut_mm : float or None
        Wire to cut, straightened; None when it cannot be told.
    bends : tuple of Bend
        In order along the wire, from the arm; empty without a bent end or ``cut_mm``.
    inside_radius_mm : float or None
        Of the bends; None without any.
    turn_mm, turn_deg : float or None
        What one turn of one adjustable fitting adds to the length, and by how much it moves
        neutral, without sign; None without an adjustable end or when its pitch is not known.
    assumed, missing : tuple of str
        Sentences to be shown with the figures.
    """

    length_mm: float
    neutral_deg_per_mm: float
    cut_mm: float | None
    bends: tuple[Bend, ...]
    inside_radius_mm: float | None
    turn_mm: float | None
    turn_deg: float | None
    assumed: tuple[str, ...]
    missing: tuple[str, ...]


@dataclass(frozen=True)
class Stock:
    """Rods of one kind that a model takes.

    Attributes
    ----------
    material : str
    diameter_mm : float
    inner_mm : float or None
        Bore of a tube; None for a solid rod.
    pieces_mm : tuple of float
        Longest first: the length to cut, or from hole to hole where that is not known.
    total_mm : float
        Their sum, without what the saw takes.
    all_known : bool
        Whether all pieces are lengths to cut.
    """

    material: str
    diameter_mm: float
    inner_mm: float | None
    pieces_mm: tuple[float, ...]
    total_mm: float
    all_known: bool


def neutral_deg_per_mm(linkage: Linkage) -> float:
    """Find how far neutral moves per mm of rod, in the engine's sign.

    Raises
    ------
    LinkageError
        When the linkage does not close with the shaft at zero.

    Notes
    -----
    With F = |B - A|^2 - L^2 = 0 the surface moves by -(dF/dL) / (dF/dd), and dF/dL = -2 L,
    dF/dd = 2 L times the horn's effective lever: one over that lever.
    """
    shaft_limits(linkage)
    return math.degrees(1.0 / float(levers(linkage, 0.0).horn_mm))


def rod_figures(rod: Rod, linkage: Linkage, rule: BendRule | None = None) -> RodFigures:
    """Work out how a rod is made and adjusted.

    Parameters
    ----------
    rod : Rod
        Of the model file.
    linkage : Linkage
        As `hingeline.linkage.mounting.mounted` builds it.
    rule : BendRule or None
        None is the rule's own defaults.

    Raises
    ------
    LinkageError
        When the linkage does not close with the shaft at zero.
    """
    per_mm = neutral_deg_per_mm(linkage)
    used = rule or BendRule()
    assumed: list[str] = []
    missing: list[str] = []
    cut, bends, radius = _wire(rod, linkage.length_mm, used, missing)
    if bends:
        assumed.append(
            f"Bends about an inside radius of {used.inside_diameters:g} diameters; "
            f"{used.through_mm:g} mm straight through the hole of a z-bend and a tail of "
            f"{used.tail_mm:g} mm; a leg of {used.leg_mm:g} mm on an l-bend."
        )
    turn_mm = None
    if "adjustable" in (rod.ends.arm, rod.ends.horn):
        turn_mm = None if rod.thread_pitch_mm is None else float(rod.thread_pitch_mm)
        if turn_mm is None:
            missing.append("No figures for a turn of the fitting: rod.thread_pitch is not given.")
    return RodFigures(
        length_mm=linkage.length_mm,
        neutral_deg_per_mm=per_mm,
        cut_mm=cut,
        bends=bends,
        inside_radius_mm=radius,
        turn_mm=turn_mm,
        turn_deg=None if turn_mm is None else turn_mm * abs(per_mm),
        assumed=tuple(assumed),
        missing=tuple(missing),
    )


def stock(rods: Iterable[tuple[Rod, RodFigures]]) -> tuple[Stock, ...]:
    """Sum up the rods of a model by material and size, in the order they first occur."""
    kinds: dict[tuple[str, float, float | None], list[RodFigures]] = {}
    for rod, figures in rods:
        kind = (rod.material, float(rod.diameter_mm), rod.inner_diameter_mm)
        kinds.setdefault(kind, []).append(figures)
    return tuple(
        Stock(
            material=material,
            diameter_mm=diameter,
            inner_mm=None if inner is None else float(inner),
            pieces_mm=tuple(sorted(map(_piece_mm, found), reverse=True)),
            total_mm=math.fsum(map(_piece_mm, found)),
            all_known=all(figures.cut_mm is not None for figures in found),
        )
        for (material, diameter, inner), found in kinds.items()
    )


def _piece_mm(figures: RodFigures) -> float:
    return figures.length_mm if figures.cut_mm is None else figures.cut_mm


def _wire(
    rod: Rod, length_mm: float, rule: BendRule, missing: list[str]
) -> tuple[float | None, tuple[Bend, ...], float | None]:
    """Give the wire to cut, its bends and their inside radius; say in ``missing`` why not."""
    if rod.ends.arm is None or rod.ends.horn is None:
        absent = " and ".join(key for key in ("arm", "horn") if getattr(rod.ends, key) is None)
        missing.append(
            "No length to cut and no bend marks: rod.ends does not say how the rod is held "
            f"at {absent}."
        )
        return None, (), None
    ends = (rod.ends.arm, rod.ends.horn)
    bent = any(end != "adjustable" for end in ends)
    if bent and (rod.material not in _BENDABLE or rod.inner_diameter_mm is not None):
        kind = "tube" if rod.inner_diameter_mm is not None else "rod"
        missing.append(
            f"No length to cut and no bend marks: a {rod.material} {kind} is not bent itself; "
            "the wire glued into its ends is made apart."
        )
        return None, (), None
    if "adjustable" in ends and rod.fitting_mm is None:
        missing.append(
            "No length to cut and no bend marks: rod.fitting is not given (from the hole to the "
            "rod's end inside the fitting, screwed on half-way)."
        )
        return None, (), None
    inside = rule.inside_diameters * rod.diameter_mm
    radius = inside + rod.diameter_mm / 2.0
    fitting = float(rod.fitting_mm or 0.0)
    # How much of the hole-to-hole length each end takes away from the straight.
    shorter = [fitting if end == "adjustable" else radius for end in ends]
    straight = length_mm - sum(shorter)
    if straight < 0.0:
        missing.append(
            f"No length to cut and no bend marks: its ends take {sum(shorter):.1f} mm, more than "
            f"the {length_mm:.1f} mm from hole to hole."
        )
        return None, (), None
    arc = math.pi * radius / 2.0
    # Straight and bent pieces in turn, from the arm's cut end; a bend is marked by its end.
    pieces: list[tuple[float, Literal["arm", "horn"] | None]] = []
    pieces.extend(reversed(_end_pieces(ends[0], "arm", arc, rule)))
    pieces.append((straight, None))
    pieces.extend(_end_pieces(ends[1], "horn", arc, rule))
    bends, at = [], 0.0
    for piece_mm, end in pieces:
        if end is not None:
            bends.append(Bend(end, at, at + piece_mm))
        at += piece_mm
    return at, tuple(bends), inside if bent else None


def _end_pieces(
    kind: RodEnd, end: Literal["arm", "horn"], arc_mm: float, rule: BendRule
) -> list[tuple[float, Literal["arm", "horn"] | None]]:
    """List the pieces of wire beyond the straight, going outwards."""
    if kind == "adjustable":
        return []
    if kind == "l-bend":
        return [(arc_mm, end), (rule.leg_mm, None)]
    return [(arc_mm, end), (rule.through_mm, None), (arc_mm, end), (rule.tail_mm, None)]
