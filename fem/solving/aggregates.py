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

from fem.solving.blocks import BlockMatrix
from fem.solving.smoother import BlockSmoother, PlainSmoother
from fem.tensors import Array

COARSEST = 1200
"""Unknowns from which on down a level is solved by a dense inverse."""
CYCLES = (2, 2)
"""How often the first-order level, and each below it, is gone through for one visit."""
DEGREE = 2
"""Degree of the smoothing polynomial on these levels."""
PROLONGATOR = 4.0 / 3.0
"""Damping of the one Jacobi step that smooths the aggregates' motions, over the spectrum's top (Vanek et al.)."""


@dataclass(frozen=True)
class _Level:
    """A level's matrix and smoother, and the way up from the next one and down to it."""

    matrix: Any
    smooth: Any
    up: Any
    down: Any


class Hierarchy:
    """Answers loads (3c, k) of the first-order problem with stiffness `matrix` [N/mm] in double precision.

    `motions` (3c, 6) are the rigid motions, without their held part.
    """

    def __init__(self, matrix: BlockMatrix, motions: Array) -> None:
        self.levels: list[_Level] = []
        current, near = matrix.as_scipy(), motions
        single = matrix.single()
        while current.shape[0] > COARSEST:
            if self.levels:
                here: Any = current.tocsr().astype(np.float32)
                smooth: Any = PlainSmoother(here, _diagonal(current), degree=DEGREE)
            else:
                here, smooth = single, BlockSmoother(single, degree=DEGREE)
            up, near = _interpolation(current, smooth.inverse.astype(float), smooth.top, near)
            below = (up.T.tobsr(blocksize=up.blocksize[::-1]) @ (current @ up)).tobsr(blocksize=(near.shape[1],) * 2)
            if below.shape[0] > 0.7 * current.shape[0]:
                break
            quick = up.tocsr().astype(np.float32)
            self.levels.append(_Level(here, smooth, quick, quick.T.tocsr()))
            current = below
        self.bottom = np.linalg.pinv(current.toarray(), rcond=1e-12, hermitian=True).astype(np.float32)

    def __call__(self, load: Any) -> Any:
        """About the answer to loads (3c, k), k one or a multiple of four."""
        return self._visit(0, load)

    def _visit(self, k: int, load: Any) -> Any:
        if k == len(self.levels):
            return self.bottom @ load
        level = self.levels[k]
        x = np.zeros_like(load)
        for turn in range(CYCLES[min(k, 1)]):
            level.smooth(load, x, blank=turn == 0)
            x += level.up @ self._visit(k + 1, level.down @ (load - level.matrix @ x))
            level.smooth(load, x, blank=False)
        return x


def _interpolation(matrix: Any, inverse: Array, top: float, motions: Array) -> tuple[Any, Array]:
    """Smoothed motions of the aggregates as a block matrix, and the rigid motions in their terms.

    `inverse` (n, d, d) is that of the blocks on the diagonal.
    """
    from pyamg.aggregation import fit_candidates, standard_aggregation
    from scipy.sparse import bsr_matrix, csr_matrix

    n, size = len(inverse), inverse.shape[1]
    graph = csr_matrix((np.ones(len(matrix.indices)), matrix.indices, matrix.indptr), shape=(n, n))
    members = standard_aggregation(graph)[0]
    plain, near = fit_candidates(members, motions)
    damped = bsr_matrix((PROLONGATOR / top * inverse, np.arange(n), np.arange(n + 1)), shape=matrix.shape)
    smoothed = plain - (damped @ (matrix @ plain)).tobsr(blocksize=(size, near.shape[1]))
    return smoothed.tobsr(blocksize=(size, near.shape[1])), near


def _diagonal(matrix: Any) -> Array:
    """Diagonal blocks (n, size, size) of a scipy block matrix."""
    size = matrix.blocksize[0]
    matrix.sort_indices()
    row = np.repeat(np.arange(matrix.shape[0] // size), np.diff(matrix.indptr))
    out = np.zeros((matrix.shape[0] // size, size, size))
    on = matrix.indices == row
    out[row[on]] = matrix.data[on]
    return out
