"""The one function that solves: conjugate gradients with a two-level preconditioner.

The second-order space is smoothed by a Chebyshev polynomial of the block-Jacobi iteration; what is left is
first order, and is passed to smoothed-aggregation multigrid (pyamg) that knows the rigid motions.

Sources: J. Brannick et al. and L. Olson, smoothed aggregation as in pyamg (JOSS 8 (2023) 5495);
M. Adams, M. Brezina, J. Hu, R. Tuminaro, J. Comput. Phys. 188 (2003) 593 (Chebyshev smoothing).
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.errors import NotConverged
from fem.part.tetmesh import TET_EDGES, TetMesh
from fem.tensors import Array

TOLERANCE = 1e-9
"""Residual over load, both in the Euclidean norm, at which the iteration stops."""
MOST_ITERATIONS = 400
_DEGREE = 3
_RANGE = 12.0


@dataclass(frozen=True)
class SolveRecord:
    """How a solve went: `iterations`, and `history` the relative residual after each."""

    iterations: int
    history: tuple[float, ...]


def rigid_motions(points: Array, *, centre: Array | None = None) -> Array:
    """Three slides and three small turns of points (n, 3) as displacement vectors (n, 3, 6)."""
    off = points - (points.mean(axis=0) if centre is None else centre)
    out = np.zeros((len(points), 3, 6))
    out[:, :, :3] = np.eye(3)
    x, y, z = off.T
    out[:, 1, 3], out[:, 2, 3] = -z, y
    out[:, 0, 4], out[:, 2, 4] = z, -x
    out[:, 0, 5], out[:, 1, 5] = -y, x
    return out


class Preconditioner:
    """A symmetric positive approximation of the inverse of the (projected) stiffness matrix."""

    def __init__(self, matrix: Any, mesh: TetMesh, projector: Array) -> None:
        import pyamg
        from scipy.sparse import block_diag, bsr_matrix

        del block_diag
        self.matrix = matrix
        n = len(mesh.nodes)
        self._inverse = np.linalg.inv(_diagonal_blocks(matrix))
        corners = np.unique(mesh.tets[:, :4])
        number = np.full(n, -1, dtype=np.int64)
        number[corners] = np.arange(len(corners))
        rows, columns, weights = _interpolation(mesh, number, corners)
        order = np.lexsort((columns, rows))
        rows, columns, weights = rows[order], columns[order], weights[order]
        start = np.concatenate([[0], np.cumsum(np.bincount(rows, minlength=n))])
        data = weights[:, None, None] * (projector[rows] @ projector[corners[columns]])
        self._up = bsr_matrix((data, columns, start), shape=(3 * n, 3 * len(corners)))
        self._down = self._up.T.tobsr(blocksize=(3, 3))
        coarse = (self._down @ self.matrix @ self._up).tobsr(blocksize=(3, 3))
        coarse = _anchored(coarse, projector[corners])
        motions = (projector[corners] @ rigid_motions(mesh.nodes[corners])).reshape(-1, 6)
        scale = np.linalg.norm(motions, axis=0)
        motions = motions / np.where(scale > 0, scale, 1.0)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            self.levels = pyamg.smoothed_aggregation_solver(
                coarse,
                B=motions,
                strength=("symmetric", {"theta": 0.0}),
                smooth=("jacobi", {"omega": 4.0 / 3.0}),
                presmoother=("block_gauss_seidel", {"sweep": "symmetric", "iterations": 1}),
                postsmoother=("block_gauss_seidel", {"sweep": "symmetric", "iterations": 1}),
                max_coarse=600,
                coarse_solver="pinv",
            )
        self._top = 1.1 * self._largest_eigenvalue()

    def __call__(self, residual: Array) -> Array:
        """Apply to a residual (3n,)."""
        z = self._smooth(residual, None)
        fine = self._down @ (residual - self.matrix @ z)
        z = z + self._up @ self.levels.solve(fine, maxiter=1, tol=1e-30, cycle="V")
        return self._smooth(residual, z)

    def _jacobi(self, vector: Array) -> Array:
        return np.einsum("nij,nj->ni", self._inverse, vector.reshape(-1, 3)).ravel()

    def _smooth(self, load: Array, start: Array | None) -> Array:
        """A Chebyshev polynomial of the block-Jacobi iteration; the same polynomial before and after keeps symmetry."""
        low, high = self._top / _RANGE, self._top
        middle, half = (high + low) / 2, (high - low) / 2
        x = np.zeros_like(load) if start is None else start
        residual = load if start is None else load - self.matrix @ x
        step = self._jacobi(residual) / middle
        rho = half / middle
        x = x + step
        for _ in range(_DEGREE - 1):
            residual = residual - self.matrix @ step
            new = 1 / (2 * middle / half - rho)
            step = new * rho * step + 2 * new / half * self._jacobi(residual)
            rho = new
            x = x + step
        return x

    def _largest_eigenvalue(self) -> float:
        """Of the block-Jacobi iteration matrix, by twelve steps of the power method from a fixed start."""
        x = np.sin(1.0 + np.arange(self.matrix.shape[0]) * 0.7)
        value = 1.0
        for _ in range(15):
            x = x / np.linalg.norm(x)
            y = self._jacobi(self.matrix @ x)
            value = float(np.linalg.norm(y))
            x = y
        return value


def _diagonal_blocks(matrix: Any) -> Array:
    row = np.repeat(np.arange(len(matrix.indptr) - 1), np.diff(matrix.indptr))
    return matrix.data[matrix.indices == row]


def _interpolation(mesh: TetMesh, number: np.ndarray, corners: np.ndarray) -> tuple[Any, Any, Any]:
    """Corner nodes keep their value, a mid-side node takes the mean of its edge's two ends."""
    ends = np.concatenate([mesh.tets[:, pair] for pair in TET_EDGES])
    middle = np.concatenate([mesh.tets[:, 4 + k] for k in range(6)])
    unique, first = np.unique(middle, return_index=True)
    pair = number[ends[first]]
    rows = np.concatenate([corners, unique, unique])
    columns = np.concatenate([number[corners], pair[:, 0], pair[:, 1]])
    weights = np.concatenate([np.ones(len(corners)), np.full(2 * len(unique), 0.5)])
    return rows, columns, weights


def _anchored(coarse: Any, projector: Array) -> Any:
    """Held directions of the coarse matrix get a plain spring, so that it stays positive definite."""
    from scipy.sparse import bsr_matrix

    n = len(projector)
    scale = float(np.median(coarse.diagonal()[coarse.diagonal() > 0]))
    data = scale * (np.eye(3) - projector)
    held = bsr_matrix((data, np.arange(n), np.arange(n + 1)), shape=coarse.shape)
    return (coarse + held).tobsr(blocksize=(3, 3))


def conjugate_gradients(
    matrix: Any,
    load: Array,
    *,
    precondition: Callable[[Array], Array],
    tolerance: float = TOLERANCE,
    most: int = MOST_ITERATIONS,
) -> tuple[Array, SolveRecord]:
    """Solve matrix x = load (3n,) until |residual| <= tolerance |load|.

    Errors: NotConverged with the best answer and the history.
    """
    size = float(np.linalg.norm(load))
    x = np.zeros_like(load)
    if size == 0:
        return x, SolveRecord(0, ())
    residual = load.copy()
    z = precondition(residual)
    direction, product = z, float(residual @ z)
    history: list[float] = []
    best, best_error = x, np.inf
    while len(history) < most:
        image = matrix @ direction
        energy = float(direction @ image)
        if not (np.isfinite(energy) and energy > 0):
            break
        alpha = product / energy
        x = x + alpha * direction
        residual = residual - alpha * image
        error = float(np.linalg.norm(residual)) / size
        history.append(error)
        if error < best_error:
            best, best_error = x, error
        if error <= tolerance:
            return x, SolveRecord(len(history), tuple(history))
        z = precondition(residual)
        product, before = float(residual @ z), product
        direction = z + (product / before) * direction
    raise NotConverged(
        f"the iteration stopped after {len(history)} steps at a relative residual of {best_error:.1e}, "
        f"not {tolerance:.0e}.",
        best=best.reshape(-1, 3),
        history=history,
        advice="Look for a body that is hardly held, a very soft bed, or very flat tetrahedra.",
    )
