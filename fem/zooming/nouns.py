"""The nouns of a zoom: a cube of beads in a part's body, and what its beads bear in one case."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fem.judging.zoomed import ZoomFindings
from fem.printing.beads import BeadMap
from fem.tensors import Array


@dataclass(frozen=True)
class JudgedBeads:
    """What the beads of a grid bear in one case, as arrays (layers, ny, nx) like those of the `beads`.

    `reserve` is the factor by which the case's growing loads may grow until the bead's mean stress meets a criterion:
    infinite where nothing grows, nan where there is no bead. `stress` (layers, ny, nx, 6) [MPa] is the mean stress of
    the bead in its own axes under the whole case. `inner` (layers, ny, nx) tells which boxes are judged: those far
    from cut faces. `mode` (layers, ny, nx) is an index into `modes`. `displacement` (nz + 1, ny + 1, nx + 1, 3) [mm]
    of the grid's corners along the print axes, nan where there is no bead. `core` (2, 6) [MPa] is the mean stress of
    the infill among the inner boxes, room between its beads included, permanent and growing, along the print axes;
    None where there is too little of it for a mean.
    """

    beads: BeadMap
    axes: Array
    reserve: NDArray[np.float32]
    stress: NDArray[np.float32]
    inner: NDArray[np.bool_]
    mode: NDArray[np.int8]
    modes: tuple[str, ...]
    displacement: NDArray[np.float32] | None = None
    core: Array | None = None

    def part_point(self, layer: int, row: int, column: int) -> Array:
        """The middle (3,) [mm, part axes] of a box of this layer (in the middle of the layer's height)."""
        grid = self.beads.grid
        height = grid.step[2] * grid.per_layer
        middle = np.array([(column + 0.5) * grid.step[0], (row + 0.5) * grid.step[1], (layer + 0.5) * height])
        return np.asarray((grid.origin + middle) @ self.axes)


@dataclass(frozen=True)
class ZoomView:
    """A place solved bead by bead in one case, as pictures need it: what was found there, and its beads."""

    case: str
    findings: ZoomFindings
    judged: JudgedBeads
