"""Beads solved on an accelerator: the same levels, V-cycle and conjugate gradients, in its own memory."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from importlib.util import find_spec
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fem.errors import InputError
from fem.tensors import Array
from fem.zooming import levels as settings
from fem.zooming.boxes import Boxes
from fem.zooming.device_levels import (
    BeadTable,
    DeviceGrid,
    DeviceLevel,
    Sums,
    add_product,
    bead_grid,
    coarse_grid,
    filled,
    run,
    run_over_entries,
)
from fem.zooming.gradients import TOLERANCE, Solved, iterate
from fem.zooming.levels import NO_SPRINGS, NOBODY, Springs, child_weights, inverted

VARIABLE = "BEADWORK_DEVICE"
"""`none` keeps to the processor, `cuda` asks for an accelerator also where few unknowns would not."""
WORTH = 1_000_000
"""Fewer unknowns are solved on the processor: the kernels would take as long to load."""


class Declined(Exception):
    """Why an accelerator that is there cannot solve a grid."""


@dataclass(frozen=True)
class Accelerator:
    """A card that loops can run on: its name and the memory that is free on it [bytes]."""

    name: str
    free: float


def accelerator(*, unknowns: int = WORTH) -> Accelerator | None:
    """The card to solve so many unknowns on; None where there is none, or where it is not worth while.

    Errors: InputError where the environment asks for what is not there; Declined where a card does not run loops.
    """
    asked = os.environ.get(VARIABLE, "").strip().lower()
    if asked not in ("", "none", "cuda"):
        raise InputError(f"{VARIABLE} is {asked!r}; it may be none or cuda.")
    simulated = os.environ.get("NUMBA_ENABLE_CUDASIM") == "1"
    if asked == "none" or (not asked and (unknowns < WORTH or simulated)):
        return None
    if simulated:
        return Accelerator("simulator", np.inf)
    card = _tried() if find_spec("numba_cuda") is not None else None
    if card is None and asked:
        raise InputError(f"{VARIABLE} asks for cuda, but no card was found, or beadwork[cuda] is not installed.")
    return card


def _tried() -> Accelerator | None:
    """The card, if there is one. Errors: Declined where a first loop does not run on it."""
    try:
        from numba import cuda

        if not cuda.is_available():
            return None
        filled(1, 0, np.uint8).copy_to_host()
        name, memory = cuda.get_current_device().name, cuda.current_context().get_memory_info()
    except Exception as why:  # whatever a driver, a compiler or a library that does not fit may raise
        reason = (str(why).splitlines() or [type(why).__name__])[0]
        raise Declined(f"an accelerator was found, but runs no loops: {reason}") from why
    return Accelerator(name.decode() if isinstance(name, bytes) else str(name), float(memory[0]))


def supported(boxes: Boxes, matrix: Array, **given: Any) -> DeviceSystem:
    """A DeviceSystem. Errors: Declined, also where another program took the memory meanwhile."""
    try:
        return DeviceSystem(boxes, matrix, **given)
    except Exception as why:  # the library's own errors, which are named differently from version to version
        if "OUT_OF_MEMORY" not in str(why).upper():
            raise
        raise Declined(f"{given['card'].name} ran out of memory.") from why


class DeviceSystem:
    """The boxes of a grid on an accelerator, on their supports.

    `matrix` (WAYS, 24, 24) [N/mm] is the stiffness of a whole box by its way, `held` (h,) nodes that are told where
    to be. Errors: Declined.
    """

    def __init__(
        self,
        boxes: Boxes,
        matrix: Array,
        *,
        card: Accelerator,
        held: NDArray[np.int64] = NOBODY,
        springs: Springs = NO_SPRINGS,
    ) -> None:
        rough = rough_bytes(boxes)
        if rough > card.free:
            raise Declined(_too_large(rough, card))
        from numba import cuda

        from fem.zooming import device_kernels as kernels

        self.card, self.nodes = card, boxes.nodes
        grids = [bead_grid(boxes)]
        while grids[-1].nodes > settings.FEWEST and max(grids[-1].shape) >= 2:
            grids.append(coarse_grid(grids[-1]))
        needed = rough + bytes_needed(grids[1:])
        if needed > card.free:
            raise Declined(_too_large(needed, card))
        self.table = BeadTable(matrix)
        self.still = cuda.to_device(np.asarray(held, dtype=np.int64)) if len(held) else None
        self.held = filled(boxes.nodes, 0, np.uint8)
        if self.still is not None:
            run(kernels.mark, len(held), self.still, self.held)
        self.springs = None
        if len(springs.node):
            self.springs = cuda.to_device(springs.node), cuda.to_device(np.ascontiguousarray(springs.matrix))
        self.weight = cuda.to_device(child_weights())
        self.levels = [DeviceLevel(grids[0], self.table, held=self.held, springs=self.springs)]
        for above, grid in pairwise(grids):
            table = self._joined(grid, above, matrix) if above.cell is None else self._folded(grid, above)
            self.levels.append(DeviceLevel(grid, table, held=filled(grid.nodes, 0, np.uint8), springs=None))
        small = self._inverted(boxes, matrix, held, springs)
        order = np.arange(len(small)).reshape(-1, 3).T.reshape(-1)
        self.direct = cuda.to_device(np.ascontiguousarray(small[np.ix_(order, order)]))
        self.sums = Sums(3 * boxes.nodes)
        self.column = DeviceColumn(self)

    def _joined(self, grid: DeviceGrid, above: DeviceGrid, matrix: Array) -> Any:
        """Stiffness of the boxes below the beads, felt held corners and springs included."""
        from numba import cuda

        from fem.zooming import device_coarse_kernels as kernels

        wide = [np.kron(weight, np.eye(3)) for weight in child_weights()]
        plain = np.array([(w.T @ matrix @ w).reshape(-1, 576) for w in wide], dtype=np.float32)
        many = grid.boxes.shape[0]
        bits, table = filled(many, 0, np.int32), cuda.device_array((576, many), np.float32)
        steps = *grid.steps, *above.steps
        if self.still is not None:
            run(kernels.held_corners, many, grid.boxes, above.number, self.held, bits, *steps)
        whole = cuda.to_device(matrix.reshape(-1, 576).astype(np.float32))
        given = grid.boxes, above.code, bits, whole, self.weight, cuda.to_device(plain), table, *steps
        run_over_entries(kernels.joined_tables, many, *given)
        if self.springs is not None:
            node, spring = self.springs
            run(kernels.add_spring_tables, node.shape[0], node, spring, above.place, grid.cell, table, *steps)
        return table

    def _folded(self, grid: DeviceGrid, above: DeviceGrid) -> Any:
        """Stiffness of boxes below coarse ones."""
        from numba import cuda

        from fem.zooming import device_coarse_kernels as kernels

        many = grid.boxes.shape[0]
        table = cuda.device_array((576, many), np.float32)
        given = grid.boxes, above.cell, self.levels[-1].table, self.weight, table, *grid.steps, *above.steps
        run_over_entries(kernels.folded_tables, many, *given)
        return table

    def _inverted(
        self, boxes: Boxes, matrix: Array, held: NDArray[np.int64], springs: Springs
    ) -> NDArray[np.float32]:
        """The inverse of the last level's matrix."""
        grid = self.levels[-1].grid
        if grid.cell is None:
            values = matrix[boxes.which] * (boxes.share[:, None, None] / 255.0)
            return inverted(boxes.first, values, nodes=boxes.nodes, held=held, springs=springs)
        number, places = grid.number.copy_to_host(), grid.boxes.copy_to_host()
        sy, sz = grid.steps
        first = np.stack([number[places + d] for d in (0, sy, sz, sy + sz)], axis=1)
        values = self.levels[-1].table.copy_to_host().T.reshape(-1, 24, 24)
        return inverted(first, values, nodes=grid.nodes, held=NOBODY, springs=NO_SPRINGS)

    def cycle(self, level: int = 0) -> Any:
        """What the V-cycle makes of the level's own `residual`, which it uses up."""
        from fem.zooming import device_kernels as kernels

        here = self.levels[level]
        if level == len(self.levels) - 1:
            run(kernels.multiply_whole, self.direct.shape[0], self.direct, here.residual, here.x)
            return here.x
        below = self.levels[level + 1]
        fine, coarse = here.grid, below.grid
        here.smooth(fresh=True)
        here.add_product(here.step, here.residual, -1.0)
        steps = *coarse.steps, *fine.steps
        run(kernels.gather_fine, coarse.nodes, coarse.place, fine.number, here.residual, below.residual, *steps)
        found = self.cycle(level + 1)
        steps = *fine.steps, *coarse.steps
        run(kernels.add_coarse, fine.nodes, fine.place, coarse.number, here.held, found, here.step, here.x, *steps)
        here.add_product(here.step, here.residual, -1.0)
        here.smooth(fresh=False)
        return here.x

    def add_product(self, x: Any, out: Any, gain: float) -> None:
        """out += gain A x in double precision, at nodes that are not held."""
        add_product(self.levels[0].grid, self.table.double, x, out, gain, held=self.held, springs=self.springs)

    def product(self, x: Array) -> Array:
        """Forces (n, 3) [N] that a displacement (n, 3) [mm] asks for: boxes and springs."""
        from numba import cuda

        from fem.zooming import device_kernels as kernels

        out, given = (filled(x.size, 0, np.float64) for _ in range(2))
        landed = cuda.to_device(np.ascontiguousarray(x, dtype=float).reshape(-1))
        run(kernels.by_component, x.size, landed, given)
        nobody = filled(self.nodes, 0, np.uint8)
        add_product(self.levels[0].grid, self.table.double, given, out, 1.0, held=nobody, springs=self.springs)
        run(kernels.by_node, x.size, out, landed)
        return landed.copy_to_host().reshape(-1, 3)

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
        out, counts = np.zeros(forces.shape), []
        column = self.column
        still = None if self.still is None else self.still.copy_to_host()
        for c, load in enumerate(forces):
            start = None
            if moved is not None and still is not None:
                out[c, still] = moved[c]
                start = out[c]
            column.load(start, load)
            counts.append(iterate(column, tolerance=tolerance))
            column.fetch(out[c])
            if progress is not None:
                progress((c + 1) / len(forces))
        return Solved(out, tuple(counts))


class DeviceColumn:
    """The vectors of conjugate gradients on an accelerator; see gradients.Vectors."""

    def __init__(self, system: DeviceSystem) -> None:
        self.system, n = system, 3 * system.nodes
        self.x, self.residual, self.direction, self.image = (filled(n, 0, np.float64) for _ in range(4))

    def load(self, x: Array | None, load: Array) -> None:
        """Start from x (n, 3), None for all zero, under a load (n, 3)."""
        from fem.zooming import device_kernels as kernels

        n = self.x.shape[0]
        run(kernels.fill, n, self.x, 0.0)
        for host, here in ((x, self.x), (load, self.residual)):
            if host is not None:
                self.image.copy_to_device(np.ascontiguousarray(host, dtype=float).reshape(-1))
                run(kernels.by_component, n, self.image, here)

    def fetch(self, x: Array) -> None:
        """Write x as it is to the processor's x (n, 3)."""
        from fem.zooming import device_kernels as kernels

        run(kernels.by_node, self.x.shape[0], self.x, self.image)
        self.image.copy_to_host(x.reshape(-1))

    def begin(self) -> float:
        """The residual, which the load lies in, at x; returns its length."""
        from fem.zooming import device_kernels as kernels

        if self.system.still is not None:
            run(kernels.zero_at, self.system.still.shape[0], self.system.still, self.residual)
        self.system.add_product(self.x, self.residual, -1.0)
        return float(np.sqrt(self.system.sums(self.residual, self.residual)))

    def precondition(self, left: float) -> float:
        """z = what the V-cycle makes of residual / left; returns left z . residual."""
        from fem.zooming import device_kernels as kernels

        top = self.system.levels[0]
        run(kernels.combine, self.x.shape[0], 1 / left, self.residual, 0.0, self.residual, top.residual)
        return left * self.system.sums(self.residual, self.system.cycle())

    def turn(self, size: float, beta: float) -> float:
        """direction = size z + beta direction; returns direction . A direction."""
        from fem.zooming import device_kernels as kernels

        n, z = self.x.shape[0], self.system.levels[0].x
        run(kernels.combine, n, size, z, beta, self.direction, self.direction)
        run(kernels.fill, n, self.image, 0.0)
        self.system.add_product(self.direction, self.image, 1.0)
        return self.system.sums(self.direction, self.image)

    def advance(self, alpha: float) -> float:
        """x += alpha direction; returns the length of the new residual."""
        from fem.zooming import device_kernels as kernels

        sums = self.system.sums
        given = self.x, self.residual, self.direction, self.image, alpha, sums.parts
        run(kernels.advance, sums.parts.shape[0], *given)
        return float(np.sqrt(sums.total()))

    def best(self) -> Array:
        """x as it is."""
        out = np.empty((self.system.nodes, 3))
        self.fetch(out)
        return out


def rough_bytes(boxes: Boxes) -> float:
    """Memory [bytes] that the beads' grid and vectors take on an accelerator, before the coarser levels are known."""
    wide = float(np.prod([n + 3 for n in boxes.number.shape]))
    return 6 * wide + 3.0 * boxes.nodes * (4 * 8 + 6 * 4 + 8) + 5.0 * boxes.nodes + 2e8


def bytes_needed(grids: list[DeviceGrid]) -> float:
    """Memory [bytes] that coarser levels take."""
    return sum(8.0 * g.size + (576 + 1) * 4.0 * g.boxes.shape[0] + 3.0 * 20 * g.nodes + 5.0 * g.nodes for g in grids)


def _too_large(needed: float, card: Accelerator) -> str:
    return f"{card.name} has {card.free / 1e9:.1f} GB free, and the beads would take {needed / 1e9:.1f} GB."
