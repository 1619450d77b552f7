"""How stiff the materials are that rods are made of."""

from __future__ import annotations

from dataclasses import dataclass

from hingeline.model.schema import Material


@dataclass(frozen=True)
class Stiffness:
    """Young's modulus of a material along the rod.

    Attributes
    ----------
    young_gpa : float
        In GPa; from the low end of what is sold, since a rod that is softer than
        reckoned buckles early.
    source : str
        Where the value comes from, to be shown beside it.
    """

    young_gpa: float
    source: str


_BOOK = "W. D. Callister & D. G. Rethwisch, Fundamentals of Materials Science, table B.2"

STIFFNESS: dict[Material, Stiffness] = {
    "steel": Stiffness(200.0, "from memory, typical; 190 to 210 GPa for all steels"),
    "carbon": Stiffness(125.0, "from memory, typical of pultruded rod and tube along the fibre"),
    # The book gives 45 GPa for 60 % of fibre by volume; rods often have less.
    "glass": Stiffness(40.0, f"a little below the 45 GPa along the fibre of {_BOOK}"),
    "aluminium": Stiffness(69.0, "from memory, typical of all aluminium alloys"),
    # Polypropylene 1.14 to 1.55 GPa and polyethylene 1.08 GPa there; nylon dry is stiffer.
    "plastic": Stiffness(1.1, f"polyethylene and soft polypropylene in {_BOOK}"),
}
