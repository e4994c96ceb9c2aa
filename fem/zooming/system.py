"""A grid of beads on its supports, ready to be loaded: conjugate gradients in double precision, no matrix."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fem.cores import shared
from fem.errors import NotConverged
from fem.printing.beads import WAYS, BeadMap
from fem.tensors import Array
from fem.zooming.boxes import Boxes, add_product, packed
from fem.zooming.levels import Cycle, Level, Springs, coarse_levels
from fem.zooming.tables import BeadTables

TOLERANCE = 1e-6
"""Residual over load at which the iteration stops."""
MOST_ITERATIONS = 200
NO_SPRINGS = Springs(np.zeros(0, dtype=np.int64), np.zeros((0, 3, 3)))
NOBODY = np.zeros(0, dtype=np.int64)


@dataclass(frozen=True)
class Solved:
    """Displacements (k, nodes, 3) [mm] along the print axes, and the iterations that each column took."""

    displacement: Array
    iterations: tuple[int, ...]


class BeadSystem:
    """The boxes of a map that hold bead, with the stiffness of each; `without` (nz, ny, nx) leaves some out.

    `boxes` and their `way` (v,) follow the map's order, one layer of boxes after the other. `filled` (nz, ny, nx) is
    the share of each in 255ths.
    """

    def __init__(self, beads: BeadMap, tables: BeadTables, *, without: NDArray[np.bool_] | None = None) -> None:
        share = np.where(holds_bead(beads.zone), beads.share, np.uint8(0))
        self.filled = np.repeat(share, beads.grid.per_layer, axis=0)
        if without is not None:
            self.filled[without] = 0
        mine = self.filled > 0
        self.way = np.repeat(beads.way, beads.grid.per_layer, axis=0)[mine]
        which = (self.way % WAYS).astype(np.uint8)
        self.tables = tables
        self.boxes: Boxes = packed(self.filled, which=which, share=self.filled[mine])
        self.table = np.ascontiguousarray(tables.matrix.reshape(WAYS, 576))
        self.springs, self.held = NO_SPRINGS, NOBODY
        self._cycle: Cycle | None = None

    @property
    def unknowns(self) -> int:
        """Three displacements a node."""
        return 3 * self.boxes.nodes

    def support(self, *, held: NDArray[np.int64] = NOBODY, springs: Springs = NO_SPRINGS) -> None:
        """Hold nodes (h,) where they are told to be, and hang others on springs; makes the coarser levels."""
        self.held, self.springs = np.asarray(held, dtype=np.int64), springs
        top = Level(self.boxes, self.table.astype(np.float32), held=self.held, springs=springs)
        self._cycle = Cycle(coarse_levels(top, filled=self.filled, way=self.way, matrix=self.tables.matrix))

    @property
    def levels(self) -> tuple[int, ...]:
        """Nodes of each level."""
        assert self._cycle is not None
        return tuple(level.boxes.nodes for level in self._cycle.levels)

    def product(self, x: Array) -> Array:
        """Forces (n, 3) [N] that a displacement (n, 3) [mm] asks for: boxes and springs."""
        out = np.zeros(x.size)
        self._multiply(np.ascontiguousarray(x, dtype=float).reshape(-1), out)
        return out.reshape(-1, 3)

    def _multiply(self, x: Array, out: Array) -> None:
        from fem.zooming import kernels

        out[:] = 0
        add_product(self.boxes, self.table, x, out, gain=1.0)
        if len(self.springs.node):
            kernels.add_springs(self.springs.node, self.springs.matrix, x, out, 1.0)

    def solve(
        self,
        forces: Array,
        *,
        moved: Array | None = None,
        tolerance: float = TOLERANCE,
        progress: Callable[[float], None] | None = None,
    ) -> Solved:
        """Displacements under nodal forces (k, n, 3) [N], with held nodes displaced by `moved` (k, h, 3) [mm].

        Errors: NotConverged.
        """
        if self._cycle is None:
            self.support()
        out, counts = np.zeros(forces.shape), []
        for column, load in enumerate(forces):
            if moved is not None:
                out[column, self.held] = moved[column]
            counts.append(self._column(out[column].reshape(-1), load.reshape(-1), tolerance))
            if progress is not None:
                progress((column + 1) / len(forces))
        return Solved(out, tuple(counts))

    def _column(self, x: Array, load: Array, tolerance: float) -> int:
        """Improve x (3n,) in place until it balances the load; how many iterations that took."""
        from fem.zooming import kernels

        assert self._cycle is not None
        rows, top = self.boxes.ranges(len(x)), self._cycle.levels[0]
        image = np.empty_like(x)
        self._multiply(x, image)
        residual = load - image
        kernels.zero_at(self.held, residual)
        size = float(np.sqrt(sum(shared(kernels.dot, rows, residual, residual))))
        if size == 0:
            return 0
        direction, before = np.zeros_like(x), np.inf
        left = size
        for turn in range(MOST_ITERATIONS):
            shared(kernels.scaled, rows, residual, 1 / left, top.residual)
            z = self._cycle()
            energy = left * float(sum(shared(kernels.dot, rows, residual, z)))
            shared(kernels.turn, rows, direction, z, left, energy / before)
            self._multiply(direction, image)
            kernels.zero_at(self.held, image)
            curved = float(sum(shared(kernels.dot, rows, direction, image)))
            if not (np.isfinite(curved) and curved > 0 and energy > 0):
                raise NotConverged("the beads' equations broke down.", best=x.copy(), history=[left / size])
            squares = sum(shared(kernels.advance, rows, x, residual, direction, image, energy / curved))
            left, before = float(np.sqrt(squares)), energy
            if left <= tolerance * size:
                return turn + 1
        raise NotConverged(
            f"the beads' equations stopped after {MOST_ITERATIONS} steps at a residual of {left / size:.1e}.",
            best=x.copy(),
            history=[left / size],
            advice="Look for beads that hang on nothing.",
        )

    def mass(self, density: float) -> Array:
        """Mass (n,) [tonne] of the beads at the nodes, of a `density` [tonne/mm^3]."""
        each = self.boxes.share / 255.0 * (density * self.tables.volume / 8)
        return np.asarray(np.bincount(self._corners().ravel(), np.repeat(each, 8), minlength=self.boxes.nodes), float)

    def warm_forces(self) -> Array:
        """Nodal forces (n, 3) [N/K] of beads that warm and are held."""
        each = self.tables.warm_force[self.way % WAYS].reshape(-1, 8, 3) * (self.boxes.share / 255.0)[:, None, None]
        at = self._corners().ravel()
        columns = [np.bincount(at, each[..., d].ravel(), minlength=self.boxes.nodes) for d in range(3)]
        return np.stack(columns, axis=1)

    def _corners(self, boxes: slice | NDArray[Any] = slice(None)) -> NDArray[np.int64]:
        """Nodes (v, 8) of boxes."""
        first = self.boxes.first[boxes].astype(np.int64)
        return first[:, [0, 0, 1, 1, 2, 2, 3, 3]] + np.array([0, 1] * 4)

    def mean_stress(self, x: Array, *, boxes: slice | NDArray[Any] = slice(None)) -> Array:
        """Mean stress (v, 6) [MPa] of boxes in their bead's axes, of the material where the box is filled in part."""
        each = x.reshape(-1, 3)[self._corners(boxes)].reshape(-1, 24)
        return np.asarray(np.einsum("vij,vj->vi", self.tables.stress[self.way[boxes]], each, optimize=True))


def holds_bead(zone: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Where the zones of a map are beads."""
    from fem.printing.beads import CORE, WALL

    return np.asarray((zone >= WALL) & (zone <= CORE))
