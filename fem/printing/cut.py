"""A flat cut through a printed body: which zone lies where, and which way its beads run."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fem.tensors import Array

OUTSIDE, WALL, SKIN, INFILL, SOLID, AIR = range(6)
"""What a place of a cut can be; AIR is the room between the beads of the infill."""
PLACES = ("outside", "wall", "skin", "infill", "solid", "air")


@dataclass(frozen=True)
class ZoneCut:
    """A cut through `body`, in print axes.

    `kind` is "layer" (in a layer, seen from above) or "upright" (along the build direction); `height` [mm] is that
    of the layer above the print bed, or the place of the upright cut along its normal. `place` (rows, columns) are
    indices into PLACES, row 0 at the bottom of the picture; `pixel` [mm] is the side of one; `corner` (2,) [mm] is
    the lower left corner; `across`, `up` name the two axes in words. `stroke_at` (s, 2) [mm] and `stroke` (s, 2)
    (length 1 or shorter: what of the bead's direction lies in the cut) tell which way the beads run.
    """

    body: str
    kind: str
    height: float
    place: NDArray[np.int8]
    pixel: float
    corner: tuple[float, float]
    across: str
    up: str
    stroke_at: Array
    stroke: Array
