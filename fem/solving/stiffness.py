"""Stiffness of second-order tetrahedra, assembled by a compiled kernel into 3 x 3 blocks.

The pattern of blocks depends on the mesh alone; it is computed once and filled for each material. The kernel
is checked against scikit-fem's weak form to 1e-12 (`space.plain_stiffness`).
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np

from fem.part.quadrature import STRESS_POINTS, STRESS_WEIGHTS, tet_slopes
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array


@dataclass(frozen=True)
class BlockPattern:
    """Which nodes share an element: `start` (n + 1,), `column` (b,) sorted within each row."""

    start: np.ndarray
    column: np.ndarray


def block_pattern(mesh: TetMesh) -> BlockPattern:
    """The pattern of 3 x 3 blocks of a mesh."""
    from scipy.sparse import csr_matrix

    m, n = len(mesh.tets), len(mesh.nodes)
    incidence = csr_matrix(
        (np.ones(10 * m, dtype=np.float32), mesh.tets.ravel(), np.arange(0, 10 * m + 1, 10)), shape=(m, n)
    )
    pattern = (incidence.T @ incidence).tocsr()
    pattern.sort_indices()
    return BlockPattern(pattern.indptr.astype(np.int32), pattern.indices.astype(np.int32))


def assemble(mesh: TetMesh, pattern: BlockPattern, *, table: Array, material: Index) -> Array:
    """Blocks (b, 3, 3) [N/mm] of the stiffness matrix; `table` (k, 6, 6) [MPa], `material` (m,) into it."""
    blocks = np.zeros((len(pattern.column), 3, 3))
    _kernels()["assemble"](
        mesh.nodes,
        mesh.tets,
        np.ascontiguousarray(table, dtype=float),
        np.ascontiguousarray(material, dtype=np.int32),
        tet_slopes(STRESS_POINTS),
        STRESS_WEIGHTS,
        pattern.start,
        pattern.column,
        blocks,
    )
    return blocks


def add_blocks(pattern: BlockPattern, blocks: Array, *, nodes: np.ndarray, local: Array) -> None:
    """Add small dense matrices `local` (j, a, a, 3, 3), coupling `nodes` (j, a), to the blocks in place."""
    _kernels()["scatter"](np.ascontiguousarray(nodes, dtype=np.int32), local, pattern.start, pattern.column, blocks)


def projected(pattern: BlockPattern, blocks: Array, *, projector: Array, scale: float) -> Array:
    """P K P + scale (I - P) by blocks: held directions are replaced by a plain spring of stiffness `scale`.

    `projector` (n, 3, 3) is, at each node, the projection onto the directions in which it may move.
    """
    out = np.empty_like(blocks)
    _kernels()["project"](pattern.start, pattern.column, blocks, projector, scale, out)
    return out


class BlockMatrix:
    """A square matrix of 3 x 3 blocks that multiplies several vectors at once, on all cores."""

    def __init__(self, pattern: BlockPattern, blocks: Array) -> None:
        self.pattern, self.blocks = pattern, blocks
        n = len(pattern.start) - 1
        self.shape = (3 * n, 3 * n)
        workers = min(os.cpu_count() or 1, 8)
        cuts = np.searchsorted(pattern.start, np.linspace(0, pattern.start[-1], workers + 1))
        cuts[0], cuts[-1] = 0, n
        self._ranges = list(pairwise(cuts))

    def __matmul__(self, vectors: Array) -> Array:
        """The product with vectors (3n,) or (3n, k)."""
        x = np.ascontiguousarray(vectors if vectors.ndim == 2 else vectors[:, None])
        out = np.empty_like(x)
        multiply = _kernels()["multiply"]
        jobs = [
            _pool().submit(multiply, self.pattern.start, self.pattern.column, self.blocks, x, out, int(a), int(b))
            for a, b in self._ranges
        ]
        for job in jobs:
            job.result()
        return out if vectors.ndim == 2 else out[:, 0]

    def diagonal_blocks(self) -> Array:
        """The blocks (n, 3, 3) on the diagonal."""
        row = np.repeat(np.arange(self.shape[0] // 3), np.diff(self.pattern.start))
        return self.blocks[self.pattern.column == row]

    def as_scipy(self) -> Any:
        """The same as scipy's block matrix, sharing the numbers."""
        return as_matrix(self.pattern, self.blocks)


@cache
def _pool() -> Any:
    from concurrent.futures import ThreadPoolExecutor

    return ThreadPoolExecutor(min(os.cpu_count() or 1, 8))


def as_matrix(pattern: BlockPattern, blocks: Array) -> Any:
    """The blocks as a scipy block matrix."""
    from scipy.sparse import bsr_matrix

    n = len(pattern.start) - 1
    return bsr_matrix((blocks, pattern.column, pattern.start), shape=(3 * n, 3 * n))


@cache
def _kernels() -> dict[str, Any]:
    """Compile on first use; numba keeps the machine code on disk for the next run."""
    import numba

    compiled = numba.njit(cache=True, nogil=True)

    @compiled
    def find(start, column, row, wanted):  # type: ignore[no-untyped-def]
        low, high = start[row], start[row + 1]
        while low < high:
            middle = (low + high) // 2
            if column[middle] < wanted:
                low = middle + 1
            else:
                high = middle
        return low

    @compiled
    def assemble_kernel(nodes, tets, table, material, slope, weight, start, column, blocks):  # type: ignore[no-untyped-def]
        grad = np.empty((10, 3))
        flux = np.empty((6, 3))
        local = np.empty((10, 10, 3, 3))
        for e in range(tets.shape[0]):
            c = table[material[e]]
            local[:] = 0.0
            for q in range(weight.shape[0]):
                jac = np.zeros((3, 3))
                for a in range(10):
                    for d in range(3):
                        for i in range(3):
                            jac[d, i] += slope[q, a, d] * nodes[tets[e, a], i]
                cof = np.empty((3, 3))
                cof[0, 0] = jac[1, 1] * jac[2, 2] - jac[1, 2] * jac[2, 1]
                cof[0, 1] = jac[0, 2] * jac[2, 1] - jac[0, 1] * jac[2, 2]
                cof[0, 2] = jac[0, 1] * jac[1, 2] - jac[0, 2] * jac[1, 1]
                cof[1, 0] = jac[1, 2] * jac[2, 0] - jac[1, 0] * jac[2, 2]
                cof[1, 1] = jac[0, 0] * jac[2, 2] - jac[0, 2] * jac[2, 0]
                cof[1, 2] = jac[0, 2] * jac[1, 0] - jac[0, 0] * jac[1, 2]
                cof[2, 0] = jac[1, 0] * jac[2, 1] - jac[1, 1] * jac[2, 0]
                cof[2, 1] = jac[0, 1] * jac[2, 0] - jac[0, 0] * jac[2, 1]
                cof[2, 2] = jac[0, 0] * jac[1, 1] - jac[0, 1] * jac[1, 0]
                det = jac[0, 0] * cof[0, 0] + jac[0, 1] * cof[1, 0] + jac[0, 2] * cof[2, 0]
                for a in range(10):
                    for i in range(3):
                        grad[a, i] = (
                            cof[i, 0] * slope[q, a, 0] + cof[i, 1] * slope[q, a, 1] + cof[i, 2] * slope[q, a, 2]
                        ) / det
                factor = weight[q] * det
                for b in range(10):
                    gx, gy, gz = grad[b, 0] * factor, grad[b, 1] * factor, grad[b, 2] * factor
                    for r in range(6):
                        flux[r, 0] = c[r, 0] * gx + c[r, 4] * gz + c[r, 5] * gy
                        flux[r, 1] = c[r, 1] * gy + c[r, 3] * gz + c[r, 5] * gx
                        flux[r, 2] = c[r, 2] * gz + c[r, 3] * gy + c[r, 4] * gx
                    for a in range(b + 1):
                        hx, hy, hz = grad[a, 0], grad[a, 1], grad[a, 2]
                        for j in range(3):
                            local[a, b, 0, j] += hx * flux[0, j] + hz * flux[4, j] + hy * flux[5, j]
                            local[a, b, 1, j] += hy * flux[1, j] + hz * flux[3, j] + hx * flux[5, j]
                            local[a, b, 2, j] += hz * flux[2, j] + hy * flux[3, j] + hx * flux[4, j]
            for a in range(10):
                for b in range(a, 10):
                    at = find(start, column, tets[e, a], tets[e, b])
                    for i in range(3):
                        for j in range(3):
                            blocks[at, i, j] += local[a, b, i, j]
                    if b > a:
                        back = find(start, column, tets[e, b], tets[e, a])
                        for i in range(3):
                            for j in range(3):
                                blocks[back, j, i] += local[a, b, i, j]

    @compiled
    def scatter(nodes, local, start, column, blocks):  # type: ignore[no-untyped-def]
        for e in range(nodes.shape[0]):
            for a in range(nodes.shape[1]):
                for b in range(nodes.shape[1]):
                    blocks[find(start, column, nodes[e, a], nodes[e, b])] += local[e, a, b]

    @compiled
    def project(start, column, blocks, projector, scale, out):  # type: ignore[no-untyped-def]
        for row in range(start.shape[0] - 1):
            for at in range(start[row], start[row + 1]):
                right = projector[column[at]]
                left = projector[row]
                for i in range(3):
                    for j in range(3):
                        total = 0.0
                        for k in range(3):
                            for m in range(3):
                                total += left[i, k] * blocks[at, k, m] * right[m, j]
                        if column[at] == row:
                            total -= scale * left[i, j]
                            if i == j:
                                total += scale
                        out[at, i, j] = total

    @numba.njit(cache=True, nogil=True, fastmath=True)
    def multiply(start, column, blocks, x, out, first, last):  # type: ignore[no-untyped-def]
        k = x.shape[1]
        if k == 1:
            for row in range(first, last):
                a, b, c = 0.0, 0.0, 0.0
                for at in range(start[row], start[row + 1]):
                    j = 3 * column[at]
                    u, v, w = x[j, 0], x[j + 1, 0], x[j + 2, 0]
                    m = blocks[at]
                    a += m[0, 0] * u + m[0, 1] * v + m[0, 2] * w
                    b += m[1, 0] * u + m[1, 1] * v + m[1, 2] * w
                    c += m[2, 0] * u + m[2, 1] * v + m[2, 2] * w
                out[3 * row, 0], out[3 * row + 1, 0], out[3 * row + 2, 0] = a, b, c
            return
        total = np.empty((3, k))
        for row in range(first, last):
            total[:] = 0.0
            for at in range(start[row], start[row + 1]):
                j = 3 * column[at]
                for i in range(3):
                    p, q, r = blocks[at, i, 0], blocks[at, i, 1], blocks[at, i, 2]
                    for s in range(k):
                        total[i, s] += p * x[j, s] + q * x[j + 1, s] + r * x[j + 2, s]
            for i in range(3):
                for s in range(k):
                    out[3 * row + i, s] = total[i, s]

    return {"multiply": multiply, "assemble": assemble_kernel, "scatter": scatter, "project": project}
