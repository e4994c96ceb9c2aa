"""Conjugate gradients in double precision around a V-cycle in single, wherever the vectors lie."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from fem.errors import NotConverged
from fem.tensors import Array

TOLERANCE = 1e-6
"""Residual over load at which the iteration stops."""
MOST_ITERATIONS = 200


@dataclass(frozen=True)
class Solved:
    """Displacements (k, nodes, 3) [mm] along the print axes, and the iterations that each column took."""

    displacement: Array
    iterations: tuple[int, ...]


class Vectors(Protocol):
    """The vectors of one column, on the processor or on an accelerator."""

    def begin(self) -> float:
        """The residual of what is known of x; returns its length."""

    def precondition(self, left: float) -> float:
        """z = what the V-cycle makes of residual / left; returns left z . residual."""

    def turn(self, size: float, beta: float) -> float:
        """direction = size z + beta direction; returns direction . A direction."""

    def advance(self, alpha: float) -> float:
        """x += alpha direction; returns the length of the new residual."""

    def best(self) -> Any:
        """x as it is."""


def iterate(vectors: Vectors, *, tolerance: float) -> int:
    """Improve x until its residual is `tolerance` of the first one; how many iterations that took. Errors:
    NotConverged.
    """
    size = vectors.begin()
    if size == 0:
        return 0
    left, before = size, np.inf
    for turn in range(MOST_ITERATIONS):
        energy = vectors.precondition(left)
        curved = vectors.turn(left, energy / before)
        if not (np.isfinite(curved) and curved > 0 and energy > 0):
            raise NotConverged("the beads' equations broke down.", best=vectors.best(), history=[left / size])
        left, before = vectors.advance(energy / curved), energy
        if left <= tolerance * size:
            return turn + 1
    raise NotConverged(
        f"the beads' equations stopped after {MOST_ITERATIONS} steps at a residual of {left / size:.1e}.",
        best=vectors.best(),
        history=[left / size],
        advice="Look for beads that hang on nothing.",
    )
