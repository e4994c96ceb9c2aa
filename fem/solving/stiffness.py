"""Stiffness of second-order tetrahedra, assembled by a compiled kernel into 3 x 3 blocks.

The pattern of blocks depends on the mesh alone; it is computed once and filled for each material. The kernel
is checked against scikit-fem's weak form to 1e-12 (`space.plain_stiffness`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fem.cores import even_ranges, shared, workers
from fem.part.quadrature import STRESS_POINTS, STRESS_WEIGHTS, tet_slopes
from fem.part.tetmesh import Index, TetMesh
from fem.solving.corners import Corners, corners_of
from fem.tensors import Array


@dataclass(frozen=True)
class BlockPattern:
    """Which nodes share an element, and where the blocks of each of `tets` (m, 10) lie.

    `start` (n + 1,), `column` (b,) sorted within each row; `slot` and `back` (m, 55) are the places of the blocks
    that each pair of a tetrahedron's nodes fills, and of their transposes; `order` (m,) the tetrahedra by their
    lowest node, `rounds` ranges of it that share no node within a round, so that they may be filled at once.
    """

    tets: np.ndarray
    start: np.ndarray
    column: np.ndarray
    slot: np.ndarray
    back: np.ndarray
    order: np.ndarray
    rounds: tuple[tuple[tuple[int, int], ...], ...]

    @cached_property
    def corners(self) -> Corners:
        """The first-order mesh inside, on which the preconditioner rests."""
        return corners_of(self.tets, len(self.start) - 1)


def block_pattern(mesh: TetMesh) -> BlockPattern:
    """The pattern of 3 x 3 blocks of a mesh."""
    from fem.solving import kernels

    n, m = len(mesh.nodes), len(mesh.tets)
    tets = np.ascontiguousarray(mesh.tets, dtype=np.int32)
    none = np.zeros(0, dtype=np.int32)
    begin = np.zeros(n + 1, dtype=np.int64)
    kernels.tets_around(tets, begin, none)
    begin = np.cumsum(begin)
    around = np.empty(int(begin[-1]), dtype=np.int32)
    kernels.tets_around(tets, begin, around)
    start = np.zeros(n + 1, dtype=np.int64)
    shared(kernels.neighbours, even_ranges(n), tets, begin, around, start, none)
    start = np.cumsum(start).astype(np.int32)
    column = np.empty(int(start[-1]), dtype=np.int32)
    shared(kernels.neighbours, even_ranges(n), tets, begin, around, start, column)
    slot, back = np.empty((m, 55), dtype=np.int32), np.empty((m, 55), dtype=np.int32)
    shared(kernels.find_slots, even_ranges(m), tets, start, column, slot, back)
    order, rounds = _rounds(tets)
    return BlockPattern(tets, start, column, slot, back, order, rounds)


def _rounds(tets: np.ndarray) -> tuple[np.ndarray, tuple[tuple[tuple[int, int], ...], ...]]:
    """Tetrahedra by their lowest node, in slices: every other slice, then the ones between.

    In a mesh whose neighbours have close numbers, slices of a round share no node unless there are too many of them.
    """
    lowest = tets.min(axis=1)
    order = np.argsort(lowest, kind="stable").astype(np.int32)
    low, high = lowest[order], tets.max(axis=1)[order]
    for count in range(workers(), 0, -1):
        ranges = even_ranges(len(order), pieces=2 * count)
        apart = all(
            high[a:b].max() < low[c] for (a, b), (c, d) in zip(ranges, ranges[2:], strict=False) if b > a and d > c
        )
        if count == 1 or apart:
            break
    return order, (tuple(ranges[::2]), tuple(ranges[1::2]))


def assemble(mesh: TetMesh, pattern: BlockPattern, *, table: Array, material: Index) -> Array:
    """Blocks (b, 3, 3) [N/mm] of the stiffness matrix; `table` (k, 6, 6) [MPa], `material` (m, 4) into it at
    each integration point, or (m,) where it is the same at all.
    """
    from fem.solving import kernels

    blocks = np.zeros((len(pattern.column), 3, 3))
    given = (
        mesh.nodes,
        pattern.tets,
        np.ascontiguousarray(table, dtype=float),
        np.ascontiguousarray(np.broadcast_to(material.T, (4, len(mesh.tets))).T, dtype=np.int32),
        tet_slopes(STRESS_POINTS),
        STRESS_WEIGHTS,
        pattern.slot,
        pattern.back,
        pattern.order,
        blocks,
    )
    for ranges in pattern.rounds:
        shared(kernels.assemble, ranges, *given)
    return blocks


def add_blocks(pattern: BlockPattern, blocks: Array, *, nodes: np.ndarray, local: Array) -> None:
    """Add small dense matrices `local` (j, a, a, 3, 3), coupling `nodes` (j, a), to the blocks in place."""
    from fem.solving import kernels

    kernels.scatter(np.ascontiguousarray(nodes, dtype=np.int32), local, pattern.start, pattern.column, blocks)
