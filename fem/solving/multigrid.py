"""The preconditioner: two orders, then aggregates, all in single precision.

The second-order space is smoothed by a Chebyshev polynomial of the block-Jacobi iteration; what is left is first
order, and goes to a hierarchy of aggregates that know the rigid motions. The conjugate gradients around it
(linear.py) work in double precision, so single precision costs a few iterations at most and never accuracy.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from fem.cores import WORTH_A_THREAD, even_ranges, shared
from fem.part.tetmesh import TetMesh
from fem.solving.aggregates import Hierarchy
from fem.solving.blocks import BlockMatrix, padded
from fem.solving.corners import Corners
from fem.solving.motions import rigid_motions
from fem.solving.smoother import BlockSmoother
from fem.tensors import Array

DEGREE = 3
"""Degree of the smoothing polynomial on the second-order level."""


class Preconditioner:
    """A symmetric positive approximation of the inverse of the stiffness matrix on the directions that may move.

    `matrix` (3n, 3n) in single precision holds P K P + scale (I - P), with the `projector` P (n, 3, 3).
    """

    def __init__(self, matrix: BlockMatrix, mesh: TetMesh, projector: Array, *, corners: Corners) -> None:
        self.matrix, self.corners = matrix, corners
        self.smooth = BlockSmoother(matrix, degree=DEGREE)
        self._held = np.flatnonzero((projector != np.eye(3)).any(axis=(1, 2)))
        self._held_corner = np.flatnonzero(np.isin(corners.corner, self._held))
        self._projector = projector[self._held].astype(np.float32)
        own = projector[corners.corner]
        self._corner_projector = own[self._held_corner].astype(np.float32)
        coarse = self._first_order()
        scale = float(np.median(np.trace(coarse.diagonal_blocks(), axis1=1, axis2=2))) / 3
        coarse.hold(own, scale=scale)
        motions = (own @ rigid_motions(mesh.nodes[corners.corner])).reshape(-1, 6)
        size = np.linalg.norm(motions, axis=0)
        self.below = Hierarchy(coarse, motions / np.where(size > 0, size, 1.0))
        self._rooms: dict[int, tuple[Any, ...]] = {}

    def _first_order(self) -> BlockMatrix:
        """The stiffness that the matrix has for displacements linear between the corners."""
        from fem.solving import products

        c, m = self.corners, self.matrix
        blocks = np.zeros((len(c.column), 3, 3))
        out = BlockMatrix(c.start, c.column, blocks)
        given = m.start, m.column, m.blocks, c.parent, c.children, c.begin, c.corner, c.start, c.column, blocks
        shared(products.coarsen, out.ranges, *given)
        return out

    def __call__(self, residual: Array) -> Array:
        """Apply to residuals (3n, k)."""
        from fem.solving import products

        k = residual.shape[1]
        if k != padded(k):
            return self(np.pad(residual, ((0, 0), (0, padded(k) - k))))[:, :k]
        c, rows = self.corners, even_ranges(len(residual), least=WORTH_A_THREAD)
        load, x, left, coarse = self._room(residual.shape[1])
        # Single precision has a narrow range: the loads are brought to the size of one
        size = np.sqrt(sum(shared(products.dots, rows, residual, residual)))
        size = np.where(size > 0, size, 1.0)
        shared(products.scaled, rows, residual, 1 / size, load)
        x[:] = 0
        self.smooth(load, x, blank=True)
        np.copyto(left, load)
        self.matrix.multiply(x, left, keep=1.0, gain=-1.0)
        _project(left, self._held, self._projector)
        shared(products.gather, even_ranges(len(c.corner)), c.children, c.begin, left, c.corner, coarse)
        _project(coarse, self._held_corner, self._corner_projector)
        answer = self.below(coarse)
        _project(answer, self._held_corner, self._corner_projector)
        left[:] = 0
        shared(products.lift, even_ranges(len(c.parent)), c.parent, answer, left)
        _project(left, self._held, self._projector)
        x += left
        self.smooth(load, x, blank=False)
        out = np.empty_like(residual)
        shared(products.scaled, rows, x, size, out)
        return out

    def _room(self, k: int) -> tuple[Any, ...]:
        if k not in self._rooms:
            n, c = self.matrix.shape[0], 3 * len(self.corners.corner)
            self._rooms = {k: tuple(np.empty((rows, k), dtype=np.float32) for rows in (n, n, n, c))}
        return self._rooms[k]


def _project(x: Any, nodes: np.ndarray, projector: Any) -> None:
    """x (3n, k) = P x at the given nodes, in place."""
    at = x.reshape(-1, 3, x.shape[1])
    at[nodes] = np.matmul(projector, at[nodes])
