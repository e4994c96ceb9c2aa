"""Chebyshev polynomials of the block-Jacobi iteration: they damp what is rough, and need nothing but products.

Source: M. Adams, M. Brezina, J. Hu and R. Tuminaro, J. Comput. Phys. 188 (2003) 593; the bound of the spectrum from
few Lanczos steps: Y. Zhou and R.-C. Li, Linear Algebra Appl. 435 (2011) 480.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from fem.cores import WORTH_A_THREAD, even_ranges, shared
from fem.solving.blocks import BlockMatrix, inverses
from fem.tensors import Array

RANGE = 12.0
"""The polynomial damps the upper part of the spectrum: from its top down to this fraction of it."""
LANCZOS_STEPS = 12


def chebyshev(top: float, degree: int) -> Iterator[tuple[float, float]]:
    """What to keep of the last step and the gain of the new one, for each step of the polynomial."""
    low, high = top / RANGE, top
    middle, half = (high + low) / 2, (high - low) / 2
    yield 0.0, 1 / middle
    rho = half / middle
    for _ in range(degree - 1):
        new = 1 / (2 * middle / half - rho)
        yield new * rho, 2 * new / half
        rho = new


class BlockSmoother:
    """For a single-precision matrix of 3 x 3 blocks, by compiled loops that pass over the matrix once a step.

    `whole` says that every block on the diagonal has an inverse; the turns of aggregates of very few nodes may lack
    stiffness.
    """

    def __init__(self, matrix: BlockMatrix, *, degree: int, whole: bool = True) -> None:
        self.matrix, self.degree = matrix, degree
        diagonal = matrix.diagonal_blocks()
        if whole:
            self.inverse = inverses(diagonal, dtype=np.float32)
        else:
            self.inverse = np.linalg.pinv(diagonal, rcond=1e-6, hermitian=True).astype(np.float32)
        self.top = spectrum_top(matrix.__matmul__, diagonal, self.inverse)
        self._rooms: dict[int, tuple[Any, Any, Any]] = {}

    def __call__(self, load: Any, x: Any, *, blank: bool) -> None:
        """Improve x (3n, k) in place; `blank` says that it is zero. The same before and after keeps symmetry."""
        from fem.solving import products

        residual, step, new = self._room(x.shape[1])
        np.copyto(residual, load)
        if not blank:
            self.matrix.multiply(x, residual, keep=1.0, gain=-1.0)
        one = np.float32
        m, rows = self.matrix, even_ranges(len(self.inverse), least=WORTH_A_THREAD // 3)
        for turn, (keep, gain) in enumerate(chebyshev(self.top, self.degree)):
            if turn == 0:
                shared(products.jacobi, rows, self.inverse, residual, step, x, one(gain))
                continue
            given = m.start, m.column, m.blocks, self.inverse, step, new, residual, x, one(keep), one(gain)
            shared(products.polynomial_step, m.ranges, *given)
            step, new = new, step

    def _room(self, k: int) -> tuple[Any, Any, Any]:
        """Three vectors (3n, k) to work in, kept: fresh memory costs as much as a product."""
        if k not in self._rooms:
            self._rooms = {k: tuple(np.empty((self.matrix.shape[0], k), dtype=np.float32) for _ in range(3))}  # type: ignore[dict-item]
        return self._rooms[k]


def spectrum_top(multiply: Callable[[Any], Any], diagonal: Array, inverse: Any) -> float:
    """A bound of the largest eigenvalue of D^-1 K, from few Lanczos steps in the inner product of D.

    The power method stays below the true value on slender elements, and a polynomial that ends too low lets the
    errors above it grow; the last step's residual is added, which leads safely past it.
    """
    from fem.solving import products

    steps = min(LANCZOS_STEPS, 3 * len(inverse))

    def times(blocks: Any, v: Any) -> Any:
        out = np.empty_like(v)
        shared(products.block_times, even_ranges(len(blocks)), blocks, v, out)
        return out

    single = diagonal.astype(np.float32)
    x = np.sin(1.0 + 0.7 * np.arange(3 * len(inverse))).astype(np.float32)
    x = times(inverse, times(single, x))  # without what D does not see
    image = times(single, x)
    x /= np.sqrt(np.dot(x, image))
    before = np.zeros_like(x)
    alphas: list[float] = []
    betas: list[float] = [0.0]
    for _ in range(steps):
        y = times(inverse, multiply(x)) - np.float32(betas[-1]) * before
        alpha = float(np.dot(y, times(single, x)))
        y -= np.float32(alpha) * x
        alphas.append(alpha)
        beta = float(np.sqrt(max(float(np.dot(y, times(single, y))), 0.0)))
        betas.append(beta)
        if beta < 1e-6 * alpha:
            break
        before, x = x, y / np.float32(beta)
    inside = betas[1 : len(alphas)]
    values, vectors = np.linalg.eigh(np.diag(alphas) + np.diag(inside, 1) + np.diag(inside, -1))
    return float(values[-1] + betas[len(alphas)] * abs(vectors[-1, -1]))
