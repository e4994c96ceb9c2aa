"""The one function that solves: conjugate gradients in double precision, several load cases side by side."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from fem.cores import WORTH_A_THREAD, even_ranges, shared
from fem.errors import NotConverged
from fem.solving.blocks import padded
from fem.tensors import Array

TOLERANCE = 1e-10
"""Residual over load, both in the Euclidean norm, at which the iteration stops."""
MOST_ITERATIONS = 400
MOST_KEPT = 60
"""Directions that are kept at the most where the matrix is not symmetric."""
ROUNDING = 1e-6
"""The updated residual strays from the true one by rounding, on slender parts above the tolerance. An answer whose
true residual is up to here is accepted; one above is improved again from where it stands. What is left of the balance
of forces is judged with every solution.
"""


@dataclass(frozen=True)
class SolveRecord:
    """How a solve went: `iterations`, and `history` the relative residual after each."""

    iterations: int
    history: tuple[float, ...]


class Operator(Protocol):
    """What can be multiplied: out = matrix x, both (3n, k), k one or a multiple of four."""

    def multiply(self, x: Array, out: Array) -> None: ...


def conjugate_gradients(
    matrix: Operator,
    loads: Array,
    *,
    precondition: Callable[[Array], Array],
    tolerance: float = TOLERANCE,
    most: int = MOST_ITERATIONS,
    guess: Array | None = None,
    progress: Callable[[float], None] | None = None,
) -> tuple[Array, SolveRecord]:
    """Solve matrix x = load for each column of `loads` (3n, k) until |residual| <= tolerance |load|.

    The columns share every product with the matrix; each keeps its own step lengths, and stands still once it is
    done. `guess` (3n, k) is where to begin; `progress` hears the share of the decades of residual that are done.
    Errors: NotConverged with the best answer and the history.
    """
    k = loads.shape[1]
    load = np.zeros((len(loads), padded(k)))
    load[:, :k] = loads
    size = np.sqrt(_dots(load, load))
    x, image = np.zeros_like(load), np.empty_like(load)
    if guess is not None:
        x[:, :k] = guess

    def errors() -> tuple[Array, Array]:
        """The residual of x, and its size over the load's."""
        matrix.multiply(x, image)
        left = load - image
        return left, np.sqrt(_dots(left, left)) / np.where(size > 0, size, 1.0)

    history: list[float] = []
    left, error = errors()
    enough = tolerance
    while (error > enough).any() and len(history) < most:
        if not _sweep(matrix, x, left, image, precondition, size, tolerance, history, most, progress):
            break
        before = error.max()
        left, error = errors()
        history[-1] = float(error.max())
        if not error.max() < before / 2:
            break
        enough = max(tolerance, ROUNDING)
    answer = np.ascontiguousarray(x[:, :k])
    if (error <= max(tolerance, ROUNDING)).all():
        return answer, SolveRecord(len(history), tuple(history))
    raise NotConverged(
        f"the iteration stopped after {len(history)} steps at a relative residual of "
        f"{history[-1] if history else 1.0:.1e}, not {tolerance:.0e}.",
        best=answer,
        history=history,
        advice="Look for a body that is hardly held, a very soft foundation, or very flat tetrahedra.",
    )


def minimal_residuals(
    matrix: Operator,
    load: Array,
    *,
    precondition: Callable[[Array], Array],
    tolerance: float,
    most: int = MOST_KEPT,
) -> tuple[Array, SolveRecord]:
    """Solve matrix x = `load` (3n, 1) for a matrix that need not be symmetric, until |residual| <= tolerance |load|.

    All directions are kept, so that the residual falls as fast as the preconditioned products allow.
    Source: Y. Saad and M. H. Schultz, SIAM J. Sci. Stat. Comput. 7 (1986) 856, preconditioned from the right.
    Errors: NotConverged with the best answer and the history.
    """
    size = float(np.sqrt(_dots(load, load)[0]))
    if size == 0:
        return np.zeros_like(load), SolveRecord(0, ())
    frame = [load / size]
    table, right = np.zeros((most + 1, most)), np.zeros(most + 1)
    right[0] = 1.0
    history: list[float] = []
    weights: Array = np.zeros(0)
    while len(history) < most and not (history and history[-1] <= tolerance):
        k = len(history)
        new = np.empty_like(load)
        matrix.multiply(np.ascontiguousarray(precondition(frame[k])), new)
        for i, q in enumerate(frame):
            table[i, k] = float(_dots(q, new)[0])
            new -= table[i, k] * q
        table[k + 1, k] = float(np.sqrt(_dots(new, new)[0]))
        some = table[: k + 2, : k + 1]
        weights = np.asarray(np.linalg.lstsq(some, right[: k + 2], rcond=None)[0], dtype=float)
        history.append(float(np.linalg.norm(right[: k + 2] - some @ weights)))
        if not table[k + 1, k] > 0:
            break
        frame.append(np.asarray(new / table[k + 1, k], dtype=float))
    x = precondition(sum((size * w * q for w, q in zip(weights, frame, strict=False)), np.zeros_like(load)))
    if history[-1] > tolerance:
        raise NotConverged(f"the iteration stopped after {len(history)} steps.", best=x, history=history)
    return x, SolveRecord(len(history), tuple(history))


def _sweep(
    matrix: Operator,
    x: Array,
    residual: Array,
    image: Array,
    precondition: Callable[[Array], Array],
    size: Array,
    tolerance: float,
    history: list[float],
    most: int,
    progress: Callable[[float], None] | None,
) -> bool:
    """Improve x in place from its `residual` until every column's updated one is small; False when that fails."""
    from fem.solving import products

    rows = even_ranges(len(x), least=WORTH_A_THREAD)
    live = np.sqrt(_dots(residual, residual)) > tolerance * size
    direction, product = np.zeros_like(x), np.full(len(size), np.inf)
    while live.any():
        if len(history) == most:
            return False
        z = precondition(residual)
        product, before = _dots(residual, z), product
        shared(products.turn, rows, direction, z, np.where(live, product / np.where(live, before, 1.0), 0.0))
        matrix.multiply(direction, image)
        energy = _dots(direction, image)
        if not (np.isfinite(energy[live]).all() and (energy[live] > 0).all() and (product[live] > 0).all()):
            return False
        alpha = np.where(live, product / np.where(live, energy, 1.0), 0.0)
        squares = sum(shared(products.advance, rows, x, residual, direction, image, alpha))
        error = np.where(live, np.sqrt(squares) / np.where(size > 0, size, 1.0), 0.0)
        history.append(float(error.max()))
        live &= error > tolerance
        if progress is not None:
            progress(min(1.0, max(0.0, np.log(max(history[-1], tolerance)) / np.log(tolerance))))
    return True


def _dots(a: Array, b: Array) -> Array:
    """Products (k,) of columns with columns."""
    from fem.solving import products

    return np.asarray(sum(shared(products.dots, even_ranges(len(a), least=WORTH_A_THREAD), a, b)))
