"""The first-order problem by smoothed aggregation, in single precision.

pyamg forms the aggregates and fits the rigid motions to them; the cycle over the levels is this module's own, because
several load cases go through it side by side, and the finest level has compiled loops.

Sources: P. Vanek, J. Mandel and M. Brezina, Computing 56 (1996) 179 (smoothed aggregation); N. Bell, L. Olson,
J. Schroder and B. Southworth, JOSS 8 (2023) 5495 (pyamg).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.cores import even_ranges, shared
from fem.solving.blocks import BlockMatrix
from fem.solving.smoother import BlockSmoother
from fem.tensors import Array

COARSEST = 500
"""Unknowns from which on down a level is solved by a dense inverse."""
SLACK = 1e-12
"""The share of the largest stiffness below which a motion counts as not resisted."""
CYCLES = (2, 2)
"""How often the first-order level, and each below it, is gone through for one visit."""
DEGREE = 2
"""Degree of the smoothing polynomial on these levels."""
PROLONGATOR = 4.0 / 3.0
"""Damping of the one Jacobi step that smooths the aggregates' motions, over the spectrum's top (Vanek et al.)."""


@dataclass(frozen=True)
class _Level:
    """A level's matrix and smoother, and the way up from the next one and down to it."""

    matrix: BlockMatrix
    smooth: BlockSmoother
    up: BlockMatrix
    down: BlockMatrix


class Hierarchy:
    """Answers loads (3c, k) of the first-order problem with stiffness `matrix` [N/mm] in double precision.

    `motions` (3c, 6) are the rigid motions, without their held part. To the loops an aggregate's six motions are two
    nodes of three.
    """

    def __init__(self, matrix: BlockMatrix, motions: Array) -> None:
        self.levels: list[_Level] = []
        current, near, single = matrix.as_scipy(), motions, matrix.single()
        while current.shape[0] > COARSEST:
            smooth = BlockSmoother(single, degree=DEGREE, whole=not self.levels)
            up, near = _interpolation(current, smooth, near)
            down = up.T.tobsr(blocksize=up.blocksize[::-1])
            below = _product(down, _product(current, up))
            if below.shape[0] > 0.7 * current.shape[0]:
                break
            self.levels.append(_Level(single, smooth, BlockMatrix.of_scipy(up), BlockMatrix.of_scipy(down)))
            current, single = below, BlockMatrix.of_scipy(below)
        self.bottom = _inverse(current.toarray()).astype(np.float32)

    def __call__(self, load: Any) -> Any:
        """About the answer to loads (3c, k), k one or a multiple of four."""
        return self._visit(0, load)

    def _visit(self, k: int, load: Any) -> Any:
        if k == len(self.levels):
            return self.bottom @ load
        level = self.levels[k]
        x, left = np.zeros_like(load), np.empty_like(load)
        below = np.empty((level.down.shape[0], load.shape[1]), dtype=load.dtype)
        for turn in range(CYCLES[min(k, 1)]):
            level.smooth(load, x, blank=turn == 0)
            np.copyto(left, load)
            level.matrix.multiply(x, left, keep=1.0, gain=-1.0)
            level.down.multiply(left, below)
            level.up.multiply(self._visit(k + 1, below), x, keep=1.0)
            level.smooth(load, x, blank=False)
        return x


def _interpolation(matrix: Any, smooth: BlockSmoother, motions: Array) -> tuple[Any, Array]:
    """Motions of the aggregates, smoothed by a damped step, as a block matrix, and the rigid motions in them."""
    from pyamg.aggregation import fit_candidates, standard_aggregation
    from scipy.sparse import csr_matrix

    graph = csr_matrix((np.ones(len(matrix.indices)), matrix.indices, matrix.indptr))
    plain, near = fit_candidates(standard_aggregation(graph)[0], motions)
    image = _product(matrix, plain)
    row = np.repeat(np.arange(len(graph.indptr) - 1), np.diff(image.indptr))
    inverse = (PROLONGATOR / smooth.top * smooth.inverse).reshape(-1, matrix.blocksize[0] // 3, 3, 3)
    thirds = image.data.reshape(len(row), -1, 3, near.shape[1])
    image.data = np.matmul(inverse[row], thirds).reshape(image.data.shape)
    return (plain - image).tobsr(blocksize=image.blocksize), near


def _inverse(matrix: Array) -> Array:
    """Of a small matrix, symmetric and not negative; motions that it does not resist, beside others, are left out."""
    from scipy.linalg.lapack import dpotri, dpstrf

    root, order, rank, _ = dpstrf(matrix, tol=SLACK * float(matrix.diagonal().max()), lower=1)
    lower = np.tril(dpotri(root[:rank, :rank], lower=1)[0])
    kept = order[:rank] - 1
    out = np.zeros_like(matrix)
    out[np.ix_(kept, kept)] = lower + np.tril(lower, -1).T
    return out


def _product(a: Any, b: Any) -> Any:
    """a @ b of scipy block matrices, rows shared among the cores (scipy lets go of the interpreter)."""
    from scipy.sparse import bsr_matrix

    def rows(first: int, last: int) -> Any:
        begin, end = a.indptr[first], a.indptr[last]
        some = a.data[begin:end], a.indices[begin:end], a.indptr[first : last + 1] - begin
        return bsr_matrix(some, shape=((last - first) * a.blocksize[0], a.shape[1])) @ b

    parts = shared(rows, even_ranges(len(a.indptr) - 1))
    row = np.cumsum(np.concatenate([[0], *(np.diff(part.indptr) for part in parts)]))
    column = np.concatenate([part.indices for part in parts])
    return bsr_matrix((np.concatenate([part.data for part in parts]), column, row), shape=(a.shape[0], b.shape[1]))
