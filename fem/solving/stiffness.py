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
    """Blocks (b, 3, 3) [N/mm] of the stiffness matrix; `table` (k, 6, 6) [MPa], `material` (m, 4) into it at
    each integration point, or (m,) where it is the same at all.
    """
    from fem.solving import kernels

    blocks = np.zeros((len(pattern.column), 3, 3))
    kernels.assemble(
        mesh.nodes,
        mesh.tets,
        np.ascontiguousarray(table, dtype=float),
        np.ascontiguousarray(np.broadcast_to(material.T, (4, len(mesh.tets))).T, dtype=np.int32),
        tet_slopes(STRESS_POINTS),
        STRESS_WEIGHTS,
        pattern.start,
        pattern.column,
        blocks,
    )
    return blocks


def add_blocks(pattern: BlockPattern, blocks: Array, *, nodes: np.ndarray, local: Array) -> None:
    """Add small dense matrices `local` (j, a, a, 3, 3), coupling `nodes` (j, a), to the blocks in place."""
    from fem.solving import kernels

    kernels.scatter(np.ascontiguousarray(nodes, dtype=np.int32), local, pattern.start, pattern.column, blocks)


def projected(pattern: BlockPattern, blocks: Array, *, projector: Array, scale: float) -> Array:
    """P K P + scale (I - P) by blocks: held directions are replaced by a plain spring of stiffness `scale`.

    `projector` (n, 3, 3) is, at each node, the projection onto the directions in which it may move.
    """
    from fem.solving import kernels

    out = np.empty_like(blocks)
    kernels.project(pattern.start, pattern.column, blocks, projector, scale, out)
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
        from fem.solving import kernels

        x = np.ascontiguousarray(vectors if vectors.ndim == 2 else vectors[:, None])
        out = np.empty_like(x)
        multiply = kernels.multiply
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
