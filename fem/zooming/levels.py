"""The preconditioner: a V-cycle over grids that are coarser by two, from the beads down to a few boxes.

Each level's stiffness is the finer one's for its own displacements, so walls, air, held corners and springs are all
felt below. A coarse box remembers which beads its eight children are; boxes of like children share one matrix. All
is in single precision; the conjugate gradients around it are in double.

Sources: W. L. Briggs, V. E. Henson and S. F. McCormick, A Multigrid Tutorial (2000); M. Adams, M. Brezina, J. Hu and
R. Tuminaro, J. Comput. Phys. 188 (2003) 593 (Chebyshev smoothing).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fem.cores import even_ranges, shared
from fem.printing.beads import WAYS
from fem.tensors import Array
from fem.zooming.boxes import Boxes, add_product, packed

DEGREE, RANGE = 3, 12.0
"""Steps of the smoothing polynomial, which damps the spectrum from its top down to the top over the second number."""
LANCZOS_STEPS = 10
FEWEST = 700
"""A level of at most so many nodes is inverted."""
COARSE_WAYS = WAYS // 4
"""Coarse boxes tell so many directions apart; what they say need not be exact."""
SHARES = np.array([0.15, 0.4, 0.65, 1.0])
"""Coarse boxes tell so many shares of a child apart."""


@dataclass(frozen=True)
class Springs:
    """Springs at nodes (s,), each once: `matrix` (s, 3, 3) [N/mm]."""

    node: NDArray[np.int64]
    matrix: Array


NO_SPRINGS = Springs(np.zeros(0, dtype=np.int64), np.zeros((0, 3, 3)))
NOBODY = np.zeros(0, dtype=np.int64)


def polynomial(top: float) -> Iterator[tuple[float, float]]:
    """How much of the last step each step of the smoothing polynomial keeps, and its gain on D^-1 residual."""
    low, high = top / RANGE, top
    middle, half = (high + low) / 2, (high - low) / 2
    keep, gain, rho = 0.0, 1 / middle, half / middle
    for _ in range(DEGREE):
        yield keep, gain
        new = 1 / (2 * middle / half - rho)
        keep, gain, rho = new * rho, 2 * new / half, new


def spectrum_top(alphas: list[float], betas: list[float]) -> float:
    """The largest eigenvalue of the tridiagonal matrix of Lanczos steps, and what is left of the last one."""
    inside = betas[1 : len(alphas)]
    values, vectors = np.linalg.eigh(np.diag(alphas) + np.diag(inside, 1) + np.diag(inside, -1))
    return float(values[-1] + betas[len(alphas)] * abs(vectors[-1, -1]))


class Level:
    """Boxes with their stiffness, and a smoother for them; `held` (h,) are nodes that do not move.

    `table` (t, 576) is told again in `blocks` (t, 192) where tables.four_blocks could be made of it.
    """

    def __init__(
        self,
        boxes: Boxes,
        table: NDArray[np.float32],
        *,
        held: NDArray[np.int64],
        springs: Springs,
        blocks: NDArray[np.float32] | None = None,
    ) -> None:
        from fem.zooming import kernels

        self.factors = table if blocks is None else blocks
        self.boxes, self.table, self.held, self.springs = boxes, table, held, springs
        n = boxes.nodes
        self.inverse = np.zeros((n, 6), dtype=np.float32)
        given = boxes.first, boxes.which, boxes.share, table.reshape(-1), self.inverse
        for some in boxes.rounds:
            shared(kernels.add_diagonal, some, *given)
        for s, node in enumerate(springs.node):
            m = springs.matrix[s]
            self.inverse[node] += (m[0, 0], m[1, 1], m[2, 2], m[1, 2], m[0, 2], m[0, 1])
        shared(kernels.invert_blocks, boxes.ranges(n), self.inverse)
        self.inverse[held] = 0
        self.residual, self.x, self.step = (np.zeros(3 * n, dtype=np.float32) for _ in range(3))
        self.top = self._top()

    def subtract_product(self, x: NDArray[np.float32]) -> None:
        """residual -= A x."""
        from fem.zooming import kernels

        add_product(self.boxes, self.factors, x, self.residual, gain=-1.0)
        if len(self.springs.node):
            kernels.add_springs(self.springs.node, self.springs.matrix, x, self.residual, np.float32(-1))

    def smooth(self) -> None:
        """Improve x by the polynomial; the residual is that of x before, and that before the last step after."""
        from fem.zooming import kernels

        rows = self.boxes.ranges(self.boxes.nodes)
        for turn, (keep, gain) in enumerate(polynomial(self.top)):
            if turn:
                self.subtract_product(self.step)
            given = self.inverse, self.residual, self.step, self.x, np.float32(keep), np.float32(gain)
            shared(kernels.polynomial_step, rows, *given)

    def _top(self) -> float:
        """A bound of the largest eigenvalue of D^-1 A: Lanczos steps and what is left of the last one."""
        n, v, solved, image = len(self.residual), self.x, self.step, self.residual
        # In the inner product of D, whose image w = D v stands beside each vector v = D^-1 w
        weight, before = np.sin(1.0 + 0.7 * np.arange(n, dtype=np.float32)), np.zeros(n, dtype=np.float32)
        weight[(3 * self.held[:, None] + np.arange(3)).ravel()] = 0
        alphas: list[float] = []
        betas = [0.0]
        self._solve(weight, solved)
        size = np.sqrt(max(self._dot(solved, weight), 1e-300))
        self._combine(1 / size, solved, 0.0, solved, v)
        self._combine(1 / size, weight, 0.0, weight, weight)
        for _ in range(min(LANCZOS_STEPS, n)):
            self._combine(betas[-1], before, 0.0, before, image)
            self.subtract_product(v)
            alpha = -self._dot(v, image)
            self._combine(-1.0, image, -alpha, weight, before)
            before, weight = weight, before
            alphas.append(alpha)
            self._solve(weight, solved)
            beta = float(np.sqrt(max(self._dot(solved, weight), 0.0)))
            betas.append(beta)
            if beta < 1e-6 * max(alpha, 1e-300):
                break
            self._combine(1 / beta, solved, 0.0, solved, v)
            self._combine(1 / beta, weight, 0.0, weight, weight)
        return spectrum_top(alphas, betas)

    def _solve(self, w: NDArray[np.float32], out: NDArray[np.float32]) -> None:
        """out = D^-1 w."""
        from fem.zooming import kernels

        rows = self.boxes.ranges(self.boxes.nodes)
        out[:] = 0
        shared(kernels.polynomial_step, rows, self.inverse, w, self.x, out, np.float32(0), np.float32(1))

    def _combine(self, a: float, x: Any, b: float, y: Any, out: Any) -> None:
        from fem.zooming import kernels

        shared(kernels.combine, self.boxes.ranges(len(x)), np.float32(a), x, np.float32(b), y, out)

    def _dot(self, a: NDArray[Any], b: NDArray[Any]) -> float:
        from fem.zooming import kernels

        return float(sum(shared(kernels.dot, self.boxes.ranges(len(a)), a, b)))


class Cycle:
    """The V-cycle: an approximation of the inverse of A, symmetric and positive, in single precision."""

    def __init__(self, levels: list[Level]) -> None:
        self.levels = levels
        last = levels[-1]
        boxes = last.boxes
        values = last.table[boxes.which].reshape(-1, 24, 24) * (boxes.share[:, None, None] / 255.0)
        self.direct = inverted(boxes.first, values, nodes=boxes.nodes, held=last.held, springs=last.springs)

    def __call__(self, level: int = 0) -> NDArray[np.float32]:
        """What the cycle makes of the level's own `residual`, which it uses up."""
        from fem.zooming import kernels

        here = self.levels[level]
        if level == len(self.levels) - 1:
            here.x[:] = self.direct @ here.residual
            return here.x
        here.x[:] = 0
        here.smooth()
        here.subtract_product(here.step)
        kernels.zero_at(here.held, here.residual)
        below = self.levels[level + 1]
        fine, coarse = here.boxes, below.boxes
        shared(kernels.gather_fine, coarse.planes, fine.number, coarse.number, here.residual, below.residual)
        found = self(level + 1)
        step = here.step
        step[:] = 0
        shared(kernels.add_coarse, fine.planes, fine.number, coarse.number, found, step)
        kernels.zero_at(here.held, step)
        here.x += step
        here.subtract_product(step)
        here.smooth()
        return here.x


def inverted(
    first: NDArray[np.int32], values: NDArray[Any], *, nodes: int, held: NDArray[np.int64], springs: Springs
) -> NDArray[np.float32]:
    """The inverse of a small level's matrix, of boxes with `first` (v, 4) nodes and stiffness `values` (v, 24, 24);
    pieces that hang on nothing are held by a trace of stiffness.
    """
    n = 3 * nodes
    corner = first[:, [0, 0, 1, 1, 2, 2, 3, 3]].astype(np.int64) + np.array([0, 1] * 4)
    dofs = (3 * corner[:, :, None] + np.arange(3)).reshape(-1, 24)
    whole = np.zeros((n, n))
    np.add.at(whole, (dofs[:, :, None], dofs[:, None, :]), values)
    for node, matrix in zip(springs.node, springs.matrix, strict=True):
        whole[3 * node : 3 * node + 3, 3 * node : 3 * node + 3] += matrix
    still = (3 * held[:, None] + np.arange(3)).ravel()
    whole[still] = whole[:, still] = 0
    diagonal = np.diag(whole).copy()
    size = float(diagonal.max())
    whole[np.arange(n), np.arange(n)] += np.where(diagonal > 1e-7 * size, 1e-6 * diagonal, size)
    out = np.linalg.inv(whole)
    nothing = diagonal <= 1e-7 * size
    out[nothing] = out[:, nothing] = 0
    return np.asarray((out + out.T) / 2, dtype=np.float32)


def coarse_levels(top: Level, *, filled: NDArray[Any], way: NDArray[np.uint8], matrix: Array) -> list[Level]:
    """All levels below and with the `top`, whose boxes are those of `filled` (nz, ny, nx): its share in 255ths.

    `way` (v,) is each box's bead direction, `matrix` (WAYS, 24, 24) the stiffness of a whole box by it.
    """
    out = [top]
    if top.boxes.nodes <= FEWEST or max(filled.shape) < 2:
        return out
    code = np.zeros(filled.shape, dtype=np.uint8)
    step = WAYS // COARSE_WAYS
    share = np.minimum((top.boxes.share.astype(np.int64) + 63) // 64, 4) - 1
    code[filled > 0] = 1 + (way % WAYS) // step * len(SHARES) + share
    level = _joined(top, code, matrix[step // 2 :: step])
    out.append(level[0])
    occupied = level[1]
    while out[-1].boxes.nodes > FEWEST and max(occupied.shape) >= 2:
        level = _folded(out[-1], occupied)
        out.append(level[0])
        occupied = level[1]
    return out


def child_weights() -> Array:
    """Weights (8, 8, 8) at a child, the first, and its corner, the second, of the coarse box's corner, the last."""
    from fem.zooming import coarse_kernels

    out = np.zeros((8, 8, 8))
    for child in range(8):
        coarse_kernels.child_weights(child, np.uint32(0), out[child])
    return out


def _halves(shape: tuple[int, ...]) -> tuple[int, ...]:
    return tuple(-(-n // 2) for n in shape)


def _joined(top: Level, code: NDArray[np.uint8], matrix: Array) -> tuple[Level, NDArray[np.int32]]:
    """The level below the beads: boxes with the same children (and held corners) share a matrix."""
    from fem.zooming import coarse_kernels

    keys = np.empty(_halves(code.shape), dtype=np.uint64)
    shared(coarse_kernels.join_children, even_ranges(len(keys)), code, keys)
    occupied = keys > 0
    key = keys[occupied]
    bits = np.zeros(len(key), dtype=np.uint32)
    if len(top.held):
        held = np.zeros(top.boxes.nodes, dtype=np.uint8)
        held[top.held] = 1
        coarse_kernels.held_corners(keys, top.boxes.number, held, bits)
    # The held corners join the key by a hash; what they mix up by chance, one in 1e19, would cost iterations alone
    mixed = key ^ (bits.astype(np.uint64) * np.uint64(0x9E3779B97F4A7C15))
    _, one, which = np.unique(mixed, return_index=True, return_inverse=True)
    plain = np.zeros((8, len(matrix), 576))
    for k, weight in enumerate(child_weights()):
        wide = np.kron(weight, np.eye(3))
        plain[k] = (wide.T @ matrix @ wide).reshape(-1, 576)
    numbers = np.full(keys.shape, -1, dtype=np.int32)
    numbers[occupied] = np.arange(len(key))
    which = which.astype(np.int32)
    place = _places(top.boxes.number, top.springs.node)
    spare = len(one)
    table = np.empty((spare + _boxes_with(place, keys.shape), 576), dtype=np.float32)
    shared(
        coarse_kernels.joined_tables,
        even_ranges(spare, pieces=8),
        key[one],
        bits[one],
        plain,
        np.ascontiguousarray(matrix),
        SHARES,
        table,
    )
    if len(place):
        spare = coarse_kernels.add_spring_tables(
            keys, numbers, which, spare, table, top.boxes.number, place, top.springs.matrix
        )
    boxes = packed(occupied.view(np.uint8), which=which, share=np.full(len(key), 255, dtype=np.uint8))
    return _level(boxes, table[:spare]), numbers


def _folded(above: Level, numbers: NDArray[np.int32]) -> tuple[Level, NDArray[np.int32]]:
    """A level below a coarse one."""
    from fem.zooming import coarse_kernels

    rows = np.full(numbers.shape, -1, dtype=np.int32)
    rows[numbers >= 0] = above.boxes.which
    keys = np.empty(_halves(rows.shape), dtype=np.uint64)
    shared(coarse_kernels.join_children, even_ranges(len(keys)), (rows >= 0).view(np.uint8), keys)
    occupied = keys > 0
    coarse = np.full(keys.shape, -1, dtype=np.int32)
    coarse[occupied] = np.arange(int(occupied.sum()))
    children = np.empty((int(occupied.sum()), 8), dtype=np.int32)
    coarse_kernels.children_of(rows, coarse, children)
    mixed = np.zeros(len(children), dtype=np.uint64)
    for k in range(8):
        mixed = (mixed ^ (children[:, k].astype(np.int64) + 2).astype(np.uint64)) * np.uint64(0x9E3779B97F4A7C15)
        mixed ^= mixed >> np.uint64(29)
    _, one, which = np.unique(mixed, return_index=True, return_inverse=True)
    table = np.empty((len(one), 576), dtype=np.float32)
    shared(coarse_kernels.folded_tables, even_ranges(len(one), pieces=8), children[one], above.table, table)
    full = np.full(len(children), 255, dtype=np.uint8)
    boxes = packed(occupied.view(np.uint8), which=which.astype(np.int32), share=full)
    return _level(boxes, table), coarse


def _level(boxes: Boxes, table: NDArray[np.float32]) -> Level:
    return Level(boxes, table, held=NOBODY, springs=NO_SPRINGS)


def _places(number: NDArray[np.int32], node: NDArray[np.int64]) -> NDArray[np.int64]:
    """Grid places (s, 3) as x, y, z of nodes (s,); nodes are numbered plane by plane."""
    out = np.zeros((len(node), 3), dtype=np.int64)
    if len(node) == 0:
        return out
    ends = np.cumsum([int((plane >= 0).sum()) for plane in number])
    out[:, 2] = np.searchsorted(ends, node, side="right")
    for k in np.unique(out[:, 2]):
        mine = out[:, 2] == k
        j, i = np.nonzero(number[k] >= 0)
        at = node[mine] - (ends[k] - len(i))
        out[mine, 0], out[mine, 1] = i[at], j[at]
    return out


def _boxes_with(place: NDArray[np.int64], shape: tuple[int, ...]) -> int:
    """At most so many coarse boxes hold one of these places."""
    return min(len(place), int(np.prod(shape)))
