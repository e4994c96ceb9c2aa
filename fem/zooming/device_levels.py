"""The levels of beads on an accelerator: grids, stiffness and smoothers in its own memory.

Unlike the processor's, coarse boxes each have a matrix of their own: here it costs less to make them than to look
for equal ones, and neighbouring threads read neighbouring numbers. Way and share of their children are not rounded.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from fem.printing.beads import WAYS
from fem.tensors import Array
from fem.zooming import levels as settings
from fem.zooming.boxes import Boxes
from fem.zooming.levels import polynomial, spectrum_top
from fem.zooming.tables import check_images

THREADS = 128
SUMS, FEW = 1 << 17, 1 << 10
"""Threads that share a scalar product, and those that add up what they found."""


def run(kernel: Any, count: int, *given: Any) -> None:
    """A kernel in one thread for each of `count` things."""
    if count:
        threads = min(THREADS, count)
        kernel[-(-count // threads), threads](*given)


def run_over(kernel: Any, shape: tuple[int, ...], *given: Any) -> None:
    """A kernel in one thread for each place of a grid (nz, ny, nx)."""
    nz, ny, nx = shape
    threads = min(THREADS, nx)
    kernel[(-(-nx // threads), ny, nz), (threads, 1, 1)](*given)


def run_over_entries(kernel: Any, count: int, *given: Any) -> None:
    """A kernel in one thread for each entry of `count` matrices (24, 24)."""
    threads = min(THREADS, count)
    kernel[(-(-count // threads), 576), (threads, 1)](*given)


class DeviceGrid:
    """Where the boxes (nz, ny, nx) of a level and their corners lie: see device_kernels for the flat grids.

    `number` holds each corner's node, `place` (n,) where each node lies. Boxes of beads stand in `code`, coarse ones
    by their number in `cell`, with their `boxes` (v,) places.
    """

    def __init__(self, shape: tuple[int, ...]) -> None:
        self.shape = shape
        nz, ny, nx = (n + 4 for n in shape)
        self.steps = nx, nx * ny
        self.size = nx * ny * nz
        self.number: Any = None
        self.place: Any = None
        self.code: Any = None
        self.cell: Any = None
        self.boxes: Any = None

    @property
    def nodes(self) -> int:
        """How many corners touch a box."""
        return int(self.place.shape[0])


def bead_grid(boxes: Boxes) -> DeviceGrid:
    """The grid of the beads themselves."""
    from numba import cuda

    from fem.zooming import device_kernels as kernels

    out = DeviceGrid(tuple(n - 1 for n in boxes.number.shape))
    out.number, out.place = filled(out.size, -1, np.int32), cuda.device_array(boxes.nodes, np.int32)
    run_over(kernels.place_nodes, boxes.number.shape, cuda.to_device(boxes.number), out.number, out.place, *out.steps)
    out.code = filled(out.size, 0, np.uint16)
    low, which, share = (
        cuda.to_device(np.ascontiguousarray(a)) for a in (boxes.first[:, 0], boxes.which, boxes.share)
    )
    run(kernels.place_boxes, len(boxes.share), low, which, share, out.place, out.code)
    return out


def coarse_grid(above: DeviceGrid) -> DeviceGrid:
    """The grid that is coarser by two: a box where any of its eight children is one."""
    from fem.zooming import device_coarse_kernels as kernels

    out = DeviceGrid(tuple(-(-n // 2) for n in above.shape))
    out.cell, out.number = filled(out.size, -1, np.int32), filled(out.size, -1, np.int32)
    fine, none = (above.code, 0) if above.cell is None else (above.cell, -1)
    nz, ny, nx = out.shape
    run_over(kernels.mark_boxes, out.shape, fine, none, out.cell, nx, ny, nz, *out.steps, *above.steps)
    corners = nz + 1, ny + 1, nx + 1
    run_over(kernels.mark_nodes, corners, out.cell, out.number, nx + 1, ny + 1, nz + 1, *out.steps)
    out.boxes, out.place = _numbered(out.cell, out.steps[0]), _numbered(out.number, out.steps[0])
    return out


def _numbered(grid: Any, width: int) -> Any:
    """Number the marks of a grid in place; returns the place of each."""
    from numba import cuda

    from fem.zooming import device_coarse_kernels as kernels

    rows = grid.shape[0] // width
    counts = cuda.device_array(rows, np.int32)
    run(kernels.count_rows, rows, grid, width, counts)
    ends = np.cumsum(counts.copy_to_host(), dtype=np.int32)
    place = cuda.device_array(int(ends[-1]), np.int32)
    starts = np.concatenate([np.zeros(1, np.int32), ends[:-1]])
    run(kernels.number_rows, rows, grid, width, cuda.to_device(starts), place)
    return place


def filled(count: int, value: float, dtype: Any) -> Any:
    """A new vector on the accelerator."""
    from numba import cuda

    from fem.zooming import device_kernels as kernels

    out = cuda.device_array(count, dtype)
    run(kernels.fill, count, out, np.dtype(dtype).type(value))
    return out


def two_corners(matrix: Array) -> Array:
    """The rows of corners 0 and 1 of `matrix` (WAYS, 24, 24), which stand for all: see device_kernels (144 * WAYS,).

    Errors: ValueError where they do not.
    """
    check_images(matrix)
    rows = matrix.reshape(WAYS, 8, 3, 8, 3)
    return np.ascontiguousarray(rows[:, :2].reshape(WAYS, 144).T).reshape(-1)


class BeadTable:
    """Stiffness of a box by its way, of `matrix` (WAYS, 24, 24), as device_kernels has it: in `single` and `double`
    precision, and the `blocks` (6, 8, WAYS) on its diagonal.
    """

    def __init__(self, matrix: Array) -> None:
        from numba import cuda

        flat = two_corners(matrix)
        self.double, self.single = cuda.to_device(flat), cuda.to_device(flat.astype(np.float32))
        own = matrix.reshape(WAYS, 8, 3, 8, 3)[:, np.arange(8), :, np.arange(8)]  # (8, WAYS, 3, 3)
        each = [own[:, :, i, j] for i, j in ((0, 0), (1, 1), (2, 2), (1, 2), (0, 2), (0, 1))]
        self.blocks = cuda.to_device(np.ascontiguousarray(np.array(each, dtype=np.float32)))


class DeviceLevel:
    """A grid with its stiffness and a smoother: a `table` of beads, or (576, v) of coarse boxes."""

    def __init__(self, grid: DeviceGrid, table: Any, *, held: Any, springs: tuple[Any, Any] | None) -> None:
        from numba import cuda

        from fem.zooming import device_kernels as kernels

        self.grid, self.held, self.springs = grid, held, springs
        self.table = table.single if isinstance(table, BeadTable) else table
        n = grid.nodes
        self.inverse = cuda.device_array((6, n), np.float32)
        if grid.cell is None:
            run(kernels.diagonal, n, grid.place, grid.code, table.blocks, self.inverse, *grid.steps)
        else:
            run(kernels.coarse_diagonal, n, grid.place, grid.cell, table, self.inverse, *grid.steps)
        if springs is not None:
            run(kernels.add_spring_blocks, springs[0].shape[0], *springs, self.inverse)
        run(kernels.invert_blocks, n, self.inverse, held)
        self.residual, self.x, self.step = (filled(3 * n, 0, np.float32) for _ in range(3))
        self.top = self._top()

    def add_product(self, x: Any, out: Any, gain: float) -> None:
        """out += gain A x."""
        add_product(self.grid, self.table, x, out, np.float32(gain), held=self.held, springs=self.springs)

    def smooth(self, *, fresh: bool) -> None:
        """Improve x, zero at first where `fresh`, by the polynomial; the residual is that before the last step."""
        from fem.zooming import device_kernels as kernels

        for turn, (keep, gain) in enumerate(polynomial(self.top)):
            if turn:
                self.add_product(self.step, self.residual, -1.0)
            old = np.float32(0 if fresh and not turn else 1)
            self._step(self.residual, self.step, self.x, old, np.float32(keep), np.float32(gain), kernels)

    def _step(self, residual: Any, step: Any, x: Any, old: Any, keep: Any, gain: Any, kernels: Any) -> None:
        run(kernels.polynomial_step, self.grid.nodes, self.inverse, residual, step, x, old, keep, gain)

    def _top(self) -> float:
        """A bound of the largest eigenvalue of D^-1 A, as Level has it, in the level's own vectors and three more."""
        from fem.zooming import device_kernels as kernels

        n, one, none = 3 * self.grid.nodes, np.float32(1), np.float32(0)
        weight, before, image = (filled(n, 0, np.float32) for _ in range(3))
        v, total = self.x, Sums(n)
        run(kernels.wave, self.grid.nodes, self.held, weight)
        alphas: list[float] = []
        betas = [0.0]
        solved = self.step
        self._step(weight, solved, v, none, none, one, kernels)
        size = np.float32(np.sqrt(max(total(v, weight), 1e-300)))
        run(kernels.combine, n, 1 / size, weight, none, weight, weight)
        run(kernels.combine, n, 1 / size, v, none, v, v)
        for _ in range(min(settings.LANCZOS_STEPS, n)):
            run(kernels.combine, n, np.float32(-betas[-1]), before, none, before, image)
            self.add_product(v, image, 1.0)
            alpha = total(v, image)
            run(kernels.combine, n, one, image, np.float32(-alpha), weight, image)
            alphas.append(alpha)
            self._step(image, solved, v, none, none, one, kernels)
            beta = float(np.sqrt(max(total(solved, image), 0.0)))
            betas.append(beta)
            if beta < 1e-6 * max(alpha, 1e-300):
                break
            before, weight, image = weight, image, before
            run(kernels.combine, n, np.float32(1 / beta), weight, none, weight, weight)
            run(kernels.combine, n, np.float32(1 / beta), solved, none, solved, v)
        return spectrum_top(alphas, betas)


def add_product(grid: DeviceGrid, table: Any, x: Any, out: Any, gain: Any, *, held: Any, springs: Any) -> None:
    """out += gain A x in the precision of the table, at nodes that are not held."""
    from fem.zooming import device_kernels as kernels

    if grid.cell is not None:
        run(
            kernels.add_coarse_product,
            grid.nodes,
            grid.place,
            grid.number,
            grid.cell,
            table,
            x,
            out,
            gain,
            *grid.steps,
        )
        return
    run(kernels.add_product, grid.nodes, grid.place, grid.number, grid.code, held, table, x, out, gain, *grid.steps)
    if springs is not None:
        run(kernels.add_springs, springs[0].shape[0], *springs, held, x, out, gain)


class Sums:
    """Scalar products of vectors of `n` numbers, each thread's part in `parts`."""

    def __init__(self, n: int) -> None:
        from numba import cuda

        self.parts = cuda.device_array(min(n, SUMS), np.float64)
        self.few = cuda.device_array(min(n, FEW), np.float64)

    def __call__(self, a: Any, b: Any) -> float:
        """a . b"""
        from fem.zooming import device_kernels as kernels

        run(kernels.dot, self.parts.shape[0], a, b, self.parts)
        return self.total()

    def total(self) -> float:
        """The sum of the parts."""
        from fem.zooming import device_kernels as kernels

        run(kernels.add_up, self.few.shape[0], self.parts, self.few)
        return float(self.few.copy_to_host().sum())
