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

TOLERANCE = 1e-10
"""Residual over load, both in the Euclidean norm, at which the iteration stops."""
MOST_ITERATIONS = 400
LARGEST_FACTOR = 60_000
"""Unknowns of the first-order problem up to which it is factorised instead of passed to multigrid."""
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
        from scipy.sparse import bsr_matrix

        self.matrix = matrix
        n = len(mesh.nodes)
        self._inverse = np.linalg.inv(matrix.diagonal_blocks())
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
        coarse = (self._down @ matrix.as_scipy() @ self._up).tobsr(blocksize=(3, 3))
        coarse = _anchored(coarse, projector[corners])
        motions = (projector[corners] @ rigid_motions(mesh.nodes[corners])).reshape(-1, 6)
        scale = np.linalg.norm(motions, axis=0)
        motions = motions / np.where(scale > 0, scale, 1.0)
        self.factor: Any = None
        self.levels: Any = None
        if coarse.shape[0] <= LARGEST_FACTOR:
            from scipy.sparse.linalg import splu

            self.factor = splu(coarse.tocsc(), permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})
        else:
            self.levels = _levels(coarse, motions)
        self._top = 1.05 * self._largest_eigenvalue()

    def __call__(self, residual: Array) -> Array:
        """Apply to residuals (3n, k)."""
        z = self._smooth(residual, None)
        coarse = self._down @ (residual - self.matrix @ z)
        z = z + self._up @ self._coarse_answer(coarse)
        return self._smooth(residual, z)

    def _coarse_answer(self, load: Array) -> Array:
        if self.factor is not None:
            return self.factor.solve(load)
        each = [self.levels.solve(column, maxiter=1, tol=1e-30, cycle="W") for column in load.T]
        return np.stack(each, axis=1)

    def _jacobi(self, block: Array) -> Array:
        n, k = len(self._inverse), block.shape[1]
        return np.matmul(self._inverse, block.reshape(n, 3, k)).reshape(-1, k)

    def _smooth(self, load: Array, start: Array | None) -> Array:
        """A Chebyshev polynomial of the block-Jacobi iteration, the same before and after, which keeps symmetry."""
        low, high = self._top / _RANGE, self._top
        middle, half = (high + low) / 2, (high - low) / 2
        residual = load if start is None else load - self.matrix @ start
        step = self._jacobi(residual) / middle
        rho = half / middle
        x = step if start is None else start + step
        for _ in range(_DEGREE - 1):
            residual = residual - self.matrix @ step
            new = 1 / (2 * middle / half - rho)
            step = new * rho * step + 2 * new / half * self._jacobi(residual)
            rho = new
            x = x + step
        return x

    def _largest_eigenvalue(self) -> float:
        """Of the block-Jacobi iteration matrix, by Lanczos on its symmetric twin, from a fixed start.

        The power method stays below the true value on slender elements; a polynomial that ends too low lets
        the errors above it grow.
        """
        from scipy.sparse.linalg import LinearOperator, eigsh

        # With D = L L^T, the matrix L^-1 K L^-T has the eigenvalues of D^-1 K
        left = np.linalg.inv(np.linalg.cholesky(self.matrix.diagonal_blocks()))

        def apply(x: Array) -> Array:
            inner = np.einsum("nji,nj->ni", left, x.reshape(-1, 3)).ravel()
            return np.einsum("nij,nj->ni", left, (self.matrix @ inner).reshape(-1, 3)).ravel()

        start = np.sin(1.0 + np.arange(self.matrix.shape[0]) * 0.7)
        operator = LinearOperator(self.matrix.shape, matvec=apply, dtype=float)
        return float(eigsh(operator, k=1, which="LA", v0=start, tol=0.02, return_eigenvectors=False)[0])


def _levels(coarse: Any, motions: Array) -> Any:
    """Smoothed-aggregation multigrid of the first-order problem."""
    import pyamg

    smoother = ("block_gauss_seidel", {"sweep": "symmetric", "iterations": 1})
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return pyamg.smoothed_aggregation_solver(
            coarse,
            B=motions,
            strength=("symmetric", {"theta": 0.0}),
            smooth=("jacobi", {"omega": 4.0 / 3.0}),
            presmoother=smoother,
            postsmoother=smoother,
            max_coarse=600,
            coarse_solver="pinv",
        )


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
    loads: Array,
    *,
    precondition: Callable[[Array], Array],
    tolerance: float = TOLERANCE,
    most: int = MOST_ITERATIONS,
    progress: Callable[[float], None] | None = None,
) -> tuple[Array, SolveRecord]:
    """Solve matrix x = load for each column of `loads` (3n, k) until |residual| <= tolerance |load|.

    The columns share every product with the matrix; each keeps its own step lengths. `progress` hears the share
    of the decades of residual that are done.
    Errors: NotConverged with the best answer and the history.
    """
    size = np.linalg.norm(loads, axis=0)
    x = np.zeros_like(loads)
    live = np.flatnonzero(size > 0)
    if len(live) == 0:
        return x, SolveRecord(0, ())
    residual = loads[:, live].copy()
    z = precondition(residual)
    direction, product = z, np.einsum("ik,ik->k", residual, z)
    history: list[float] = []
    while len(history) < most:
        image = matrix @ direction
        energy = np.einsum("ik,ik->k", direction, image)
        if not (np.isfinite(energy).all() and (energy > 0).all()):
            break
        alpha = product / energy
        x[:, live] += alpha * direction
        residual = residual - alpha * image
        error = np.linalg.norm(residual, axis=0) / size[live]
        history.append(float(error.max()))
        if progress is not None:
            progress(min(1.0, max(0.0, np.log(history[-1]) / np.log(tolerance))))
        go_on = error > tolerance
        if not go_on.any():
            return x, SolveRecord(len(history), tuple(history))
        if not go_on.all():
            live, residual, direction, product = live[go_on], residual[:, go_on], direction[:, go_on], product[go_on]
        z = precondition(residual)
        product, before = np.einsum("ik,ik->k", residual, z), product
        direction = z + (product / before) * direction
    raise NotConverged(
        f"the iteration stopped after {len(history)} steps at a relative residual of "
        f"{history[-1] if history else 1.0:.1e}, not {tolerance:.0e}.",
        best=x,
        history=history,
        advice="Look for a body that is hardly held, a very soft bed, or very flat tetrahedra.",
    )
