"""Which bead lies at a point of a printed part, and which way it runs: layer by layer, as the printer lays them.

Every box of a regular grid along the print axes is told its zone, its bead, the bead's direction and how much of it
is filled. Pictures and computations draw from here alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fem.tensors import Array

NOTHING, WALL, COVER, CORE, AIR = range(5)
"""What a box holds: nothing of the part, a bead of one of the three zones, or the room between beads."""
WAYS = 72
"""Bead directions told apart over half a turn: 2.5 degrees."""
FULL = 255
"""The share of a box that is filled all through."""


@dataclass(frozen=True)
class Grid:
    """Regular boxes along the print axes: `origin` (3,) [mm] the lowest corner, `step` (3,) [mm] their sides,
    `count` (3,) how many along each axis. `per_layer` boxes stand on each other in a layer; the lowest layer of the
    grid is number `first_layer` of the print (0 lies on the build plate).
    """

    origin: Array
    step: Array
    count: tuple[int, int, int]
    per_layer: int
    first_layer: int

    @property
    def layers(self) -> int:
        """How many layers of the print the grid holds."""
        return self.count[2] // self.per_layer


@dataclass(frozen=True)
class BeadMap:
    """What lies in the boxes of a grid, layer by layer: arrays (layers, ny, nx), the same for all boxes that stand on
    each other in a layer.

    `zone` is one of NOTHING, WALL, COVER, CORE, AIR; `share` in 255ths how much of the box is bead; `way` the bead's
    direction from print axis 1, counter-clockwise, in steps of 180 degrees / WAYS: 0 to 2 WAYS - 1 for a wall, whose
    bead runs with the part on its left, 0 to WAYS - 1 for any other; `bead` tells neighbours in a layer apart: boxes
    within a bead's width of each other belong to one bead where zone and `bead` agree and, for walls, their ways
    differ by less than a quarter turn. For walls it is the number of the bead from the outline, 0 outermost; beads of
    a honeycomb and a gyroid bear none (0). Pieces of a layer smaller than half a bead width square belong to the bead
    beside them, and gaps as small are closed.
    """

    grid: Grid
    zone: NDArray[np.uint8]
    share: NDArray[np.uint8]
    way: NDArray[np.uint8]
    bead: NDArray[np.uint16]
