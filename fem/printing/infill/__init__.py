"""Infill cells: what a printed lattice is worth as a material, and how much stress its worst bead bears."""

from fem.printing.infill.buckling import CellWall, buckling_use, first_to_buckle
from fem.printing.infill.cell import CellPoint, InfillCell, infill_cell
from fem.printing.infill.flatness import contact_angle, flatter_share
from fem.printing.infill.patterns import PATTERNS, makeable_density, solid_at

__all__ = [
    "PATTERNS",
    "CellPoint",
    "CellWall",
    "InfillCell",
    "buckling_use",
    "contact_angle",
    "first_to_buckle",
    "flatter_share",
    "infill_cell",
    "makeable_density",
    "solid_at",
]
