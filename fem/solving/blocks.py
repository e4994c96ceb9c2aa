"""A matrix of 3 x 3 blocks that multiplies several columns at once, on all cores."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np

from fem.cores import WORTH_A_THREAD, even_ranges, shared, workers
from fem.tensors import Array


def padded(columns: int) -> int:
    """How many columns the compiled loops work on: one, or the next multiple of four."""
    return 1 if columns == 1 else -(-columns // 4) * 4


class BlockMatrix:
    """Blocks (b, 3, 3) in single or double precision in rows `start` (n + 1,), with sorted `column` (b,); as many
    `columns` of blocks as rows, unless it says otherwise.
    """

    def __init__(self, start: np.ndarray, column: np.ndarray, blocks: Any, *, columns: int | None = None) -> None:
        self.start, self.column, self.blocks = start, column, blocks
        n = len(start) - 1
        self.shape = (3 * n, 3 * (n if columns is None else columns))
        self.dtype = blocks.dtype
        pieces = max(1, min(workers(), len(column) // (WORTH_A_THREAD // 9)))
        cuts = np.searchsorted(start, np.linspace(0, start[-1], pieces + 1)).clip(0, n)
        cuts[0], cuts[-1] = 0, n
        self.ranges = list(pairwise(int(c) for c in cuts))

    @classmethod
    def of_scipy(cls, matrix: Any) -> BlockMatrix:
        """Of a scipy block matrix whose blocks are multiples of 3 x 3, in single precision."""
        cut = matrix.tobsr(blocksize=(3, 3))
        cut.sort_indices()
        start, column = cut.indptr.astype(np.int32), cut.indices.astype(np.int32)
        return cls(start, column, np.ascontiguousarray(cut.data, dtype=np.float32), columns=cut.shape[1] // 3)

    def __matmul__(self, vectors: Any) -> Any:
        """The product with vectors (3n,) or (3n, k), in the precision of the blocks."""
        x = vectors if vectors.ndim == 2 else vectors[:, None]
        k, wide = x.shape[1], padded(x.shape[1])
        if wide == k:
            given = np.ascontiguousarray(x, dtype=self.dtype)
        else:
            given = np.zeros((len(x), wide), dtype=self.dtype)
            given[:, :k] = x
        out = np.empty((self.shape[0], wide), dtype=self.dtype)
        self.multiply(given, out)
        return out[:, 0] if vectors.ndim == 1 else out[:, :k]

    def multiply(self, x: Any, out: Any, *, keep: float = 0.0, gain: float = 1.0) -> None:
        """out = keep out + gain matrix x, contiguous, in this precision, k columns: one or a multiple of 4."""
        from fem.solving import products

        wide = padded(x.shape[1])
        if x.shape != (self.shape[1], wide) or out.shape != (self.shape[0], wide):
            raise ValueError(f"{x.shape} and {out.shape} do not fit a matrix of {self.shape}, four columns at a time")

        one = self.dtype.type
        shared(products.multiply, self.ranges, self.start, self.column, self.blocks, x, out, one(keep), one(gain))

    def diagonal_blocks(self) -> Array:
        """The blocks (n, 3, 3) on the diagonal, in double precision."""
        from fem.solving import products

        out = np.zeros((len(self.start) - 1, 3, 3))
        shared(products.diagonal, self.ranges, self.start, self.column, self.blocks, out)
        return out

    def hold(self, projector: Array, *, scale: float) -> None:
        """Become P K P + scale (I - P): held directions are replaced by plain springs of stiffness `scale`.

        `projector` (n, 3, 3) is, at each node, the projection onto the directions in which it may move.
        """
        from fem.solving import products

        plain = (projector == np.eye(3)).all(axis=(1, 2))
        touched = ~plain
        for row in np.flatnonzero(~plain):  # the pattern is symmetric: rows that see a held column
            touched[self.column[self.start[row] : self.start[row + 1]]] = True
        rows = np.flatnonzero(touched)
        given = self.start, self.column, self.blocks, projector, plain, float(scale), rows
        shared(products.project, even_ranges(len(rows)), *given)

    def single(self) -> BlockMatrix:
        """The same in single precision."""
        out = np.empty(self.blocks.shape, dtype=np.float32)
        shared(lambda a, b: np.copyto(out[a:b], self.blocks[a:b], casting="same_kind"), even_ranges(len(out)))
        return BlockMatrix(self.start, self.column, out)

    def as_scipy(self) -> Any:
        """The same as scipy's block matrix, sharing the numbers."""
        from scipy.sparse import bsr_matrix

        return bsr_matrix((self.blocks, self.column, self.start), shape=self.shape)


def inverses(blocks: Array, *, dtype: Any) -> Any:
    """The inverse of each symmetric positive block (n, 3, 3), in the precision asked for."""
    from fem.solving import products

    out = np.empty(blocks.shape, dtype=dtype)
    shared(products.invert, even_ranges(len(blocks)), blocks, out)
    return out
