"""How flat a cell's sheets lie: below which angle to the plate neighbouring layers of a sheet lose contact.

A sheet one bead wide that leans moves by the layer's height over the tangent of its angle from layer to layer. Where
that is more than a bead's width, the bead above lies beside the one below: below atan(height / width), 24 degrees for
a bead of 0.45 by 0.20 mm. The cell's strength takes beads as welded there, too: it is not to be relied on in that
share of the cell.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from fem.printing.infill.cell import InfillCell

CUBE_WALLS = math.degrees(math.acos(1 / math.sqrt(3)))
"""Angle [degrees] to the plate of the walls of cubes that stand on their corner."""


def contact_angle(*, bead_width: float, bead_height: float) -> float:
    """Angle to the plate [degrees] below which the next layer of a sheet has no bead below it."""
    return math.degrees(math.atan2(bead_height, bead_width))


def flatter_share(cell: InfillCell) -> float:
    """Share of a cell's beads whose sheet lies flatter than that; 0 for walls that stand, and for a woodpile, whose
    beads lie on each other.
    """
    least = contact_angle(bead_width=cell.bead_width, bead_height=cell.bead_height)
    if cell.pattern == "cubic":
        return float(least > CUBE_WALLS)
    if cell.pattern != "gyroid":
        return 0.0
    corners = np.asarray(cell.corners, dtype=float)
    along = corners[:, 1::2].mean(axis=1) - corners[:, 0::2].mean(axis=1)
    across = corners[:, [2, 3, 6, 7]].mean(axis=1) - corners[:, [0, 1, 4, 5]].mean(axis=1)
    through = corners[:, 4:].mean(axis=1) - corners[:, :4].mean(axis=1)
    normal = np.cross(along, across)
    volume = np.abs((normal * through).sum(axis=1))
    lean = np.degrees(np.arccos(np.clip(np.abs(normal[:, 2]) / np.linalg.norm(normal, axis=1), 0.0, 1.0)))
    return float(volume[lean < least].sum() / volume.sum())
