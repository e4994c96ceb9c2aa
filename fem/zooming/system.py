"""A grid of beads on its supports, ready to be loaded: conjugate gradients in double precision, no matrix."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fem.cores import shared
from fem.printing.beads import WAYS, BeadMap
from fem.tensors import Array
from fem.zooming.boxes import Boxes, add_product, layer_starts, packed, picked
from fem.zooming.gradients import TOLERANCE, Solved, iterate
from fem.zooming.levels import NO_SPRINGS, NOBODY, Cycle, Level, Springs, coarse_levels
from fem.zooming.tables import BeadTables, four_blocks

if TYPE_CHECKING:
    from fem.zooming.device import DeviceSystem


class BeadSystem:
    """The boxes of a map that hold bead, with the stiffness of each; `without` (nz, ny, nx) leaves some out.

    Beads of the `core` have so much of the others' stiffness, which their boxes' share of a full one stands for.
    `boxes` and their `way` (v,) follow the map's order, one layer of boxes after the other. `filled` (nz, ny, nx) is
    the share of each in 255ths.
    """

    def __init__(
        self, beads: BeadMap, tables: BeadTables, *, without: NDArray[np.bool_] | None = None, core: float = 1.0
    ) -> None:
        share = np.where(holds_bead(beads.zone), beads.share, np.uint8(0))
        per_layer = beads.grid.per_layer
        self.filled = share if per_layer == 1 else np.repeat(share, per_layer, axis=0)
        if without is not None:
            self.filled = np.where(without, np.uint8(0), self.filled)
        start = layer_starts(self.filled)
        self.way, self.share, counts = (
            picked(a, filled=self.filled, start=start, per_layer=per_layer)
            for a in (beads.way, share, _stiff(beads.zone, share, core))
        )
        self.tables = tables
        self.boxes: Boxes = packed(self.filled, which=self.way % np.uint8(WAYS), share=counts)
        self.blocks = four_blocks(tables.matrix)
        self.springs, self.held = NO_SPRINGS, NOBODY
        self._cycle: Cycle | None = None
        self._device: DeviceSystem | None = None
        self.declined = ""
        """Why an accelerator that was found did not solve it."""

    @property
    def unknowns(self) -> int:
        """Three displacements a node."""
        return 3 * self.boxes.nodes

    def support(self, *, held: NDArray[np.int64] = NOBODY, springs: Springs = NO_SPRINGS) -> None:
        """Hold nodes (h,) where they are told to be, and hang others on springs; makes the coarser levels.

        On an accelerator where one is found and large enough.
        """
        self.held, self.springs = np.asarray(held, dtype=np.int64), springs
        self._cycle = self._device = None
        if self._supported_on_device():
            return
        table, blocks = (a.astype(np.float32) for a in (self.tables.matrix.reshape(WAYS, 576), self.blocks))
        top = Level(self.boxes, table, held=self.held, springs=springs, blocks=blocks)
        self._cycle = Cycle(coarse_levels(top, filled=self.filled, way=self.way, matrix=self.tables.matrix))

    def _supported_on_device(self) -> bool:
        from fem.zooming.device import Declined, accelerator, supported

        self.declined = ""
        try:
            card = accelerator(unknowns=self.unknowns)
            if card is not None:
                matrix, held = self.tables.matrix, self.held
                self._device = supported(self.boxes, matrix, card=card, held=held, springs=self.springs)
        except Declined as reason:
            self.declined = str(reason)
        return self._device is not None

    @property
    def solved_on(self) -> str:
        """The accelerator's name, or empty for the processor."""
        return self._device.card.name if self._device is not None else ""

    @property
    def levels(self) -> tuple[int, ...]:
        """Nodes of each level."""
        if self._device is not None:
            return tuple(level.grid.nodes for level in self._device.levels)
        assert self._cycle is not None
        return tuple(level.boxes.nodes for level in self._cycle.levels)

    def product(self, x: Array) -> Array:
        """Forces (n, 3) [N] that a displacement (n, 3) [mm] asks for: boxes and springs."""
        out = np.zeros(x.size)
        self._add_product(np.ascontiguousarray(x, dtype=float).reshape(-1), out, 1.0)
        return out.reshape(-1, 3)

    def _add_product(self, x: Array, out: Array, gain: float) -> None:
        from fem.zooming import kernels

        add_product(self.boxes, self.blocks, x, out, gain=gain)
        if len(self.springs.node):
            kernels.add_springs(self.springs.node, self.springs.matrix, x, out, gain)

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
        if self._cycle is None and self._device is None:
            self.support()
        if self._device is not None:
            return self._device.solve(forces, moved=moved, tolerance=tolerance, progress=progress)
        assert self._cycle is not None
        out, counts = np.zeros(forces.shape), []
        for column, load in enumerate(forces):
            if moved is not None:
                out[column, self.held] = moved[column]
            vectors = _Column(self, self._cycle, out[column].reshape(-1), load.reshape(-1))
            counts.append(iterate(vectors, tolerance=tolerance))
            if progress is not None:
                progress((column + 1) / len(forces))
        return Solved(out, tuple(counts))

    def mass(self, density: float) -> Array:
        """Mass (n,) [tonne] of the beads at the nodes, of a `density` [tonne/mm^3]."""
        each = self.share / 255.0 * (density * self.tables.volume / 8)
        return np.asarray(np.bincount(self._corners().ravel(), np.repeat(each, 8), minlength=self.boxes.nodes), float)

    def strain_energy(self, x: Array, warming: float) -> float:
        """Elastic energy [mJ] of displacements (n, 3) [mm] and a warming [K], free expansion taken out."""
        out = np.zeros(x.size)
        flat = np.ascontiguousarray(x, dtype=float).reshape(-1)
        add_product(self.boxes, self.blocks, flat, out, gain=1.0)
        energy = 0.5 * float(flat @ out)
        if warming:
            free = self.tables.free_energy * float((self.boxes.share / 255.0).sum())
            energy += warming**2 * free - warming * float((self.warm_forces().reshape(-1) * flat).sum())
        return energy

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
        """Mean stress (v, 6) [MPa] of boxes in their bead's axes, of sound beads where it is filled in part."""
        each = x.reshape(-1, 3)[self._corners(boxes)].reshape(-1, 24)
        return np.asarray(np.einsum("vij,vj->vi", self.tables.stress[self.way[boxes]], each, optimize=True))


class _Column:
    """The vectors that improve x (3n,) in place until it balances a load (3n,); see gradients.Vectors."""

    def __init__(self, system: BeadSystem, cycle: Cycle, x: Array, load: Array) -> None:
        self.system, self.cycle, self.x = system, cycle, x
        self.rows = system.boxes.ranges(len(x))
        self.image, self.direction, self.residual = np.empty_like(x), np.zeros_like(x), load.copy()

    def begin(self) -> float:
        """The residual, which the load lies in, at x; returns its length."""
        from fem.zooming import kernels

        self.system._add_product(self.x, self.residual, -1.0)
        kernels.zero_at(self.system.held, self.residual)
        return float(np.sqrt(self._dot(self.residual, self.residual)))

    def precondition(self, left: float) -> float:
        """z = what the V-cycle makes of residual / left; returns left z . residual."""
        from fem.zooming import kernels

        shared(kernels.scaled, self.rows, self.residual, 1 / left, self.cycle.levels[0].residual)
        return left * self._dot(self.residual, self.cycle())

    def turn(self, size: float, beta: float) -> float:
        """direction = size z + beta direction; returns direction . A direction."""
        from fem.zooming import kernels

        shared(kernels.turn, self.rows, self.direction, self.cycle.levels[0].x, size, beta)
        self.image[:] = 0
        self.system._add_product(self.direction, self.image, 1.0)
        kernels.zero_at(self.system.held, self.image)
        return self._dot(self.direction, self.image)

    def advance(self, alpha: float) -> float:
        """x += alpha direction; returns the length of the new residual."""
        from fem.zooming import kernels

        given = self.x, self.residual, self.direction, self.image, alpha
        return float(np.sqrt(sum(shared(kernels.advance, self.rows, *given))))

    def best(self) -> Array:
        """x as it is."""
        return self.x.copy()

    def _dot(self, a: NDArray[Any], b: NDArray[Any]) -> float:
        from fem.zooming import kernels

        return float(sum(shared(kernels.dot, self.rows, a, b)))


def _stiff(zone: NDArray[np.uint8], share: NDArray[np.uint8], core: float) -> NDArray[np.uint8]:
    """How much of a full box's stiffness, in 255ths, a box has that is filled by `share`; never none of it."""
    from fem.printing.beads import CORE

    if core == 1:
        return share
    softer = np.maximum(np.rint(core * share.astype(float)), np.minimum(share, 1)).astype(np.uint8)
    return np.where(zone == CORE, softer, share)


def holds_bead(zone: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Where the zones of a map are beads."""
    from fem.printing.beads import CORE, WALL

    return np.asarray((zone >= WALL) & (zone <= CORE))
