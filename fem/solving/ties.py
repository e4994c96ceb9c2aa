"""Springs between mean motions of whole faces: a bolt's shank between its head and its thread.

Each spring acts on one sum over many nodes, which would fill the matrix; so the sums are kept as columns beside it.
To the preconditioner they are a correction of low rank: M, which knows all but these springs, becomes the exact
inverse of its sum with them by the identity of Sherman, Morrison and Woodbury.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fem.tensors import Array

A_BOLT = 6
"""Ties come six a bolt (`joining.shank`): the first is along the axis."""


@dataclass(frozen=True)
class Ties:
    """Springs of `stiffness` (m,) [N/mm] on the motions that `columns` (3n, m), sparse, make of a displacement;
    `ends` (m,) marks those whose other end is held by something that is not meshed (None: none is). `names` are
    those of the bolts, six ties each.
    """

    columns: Any
    stiffness: Array
    ends: NDArray[np.bool_] | None = None
    names: tuple[str, ...] = ()

    @property
    def outside(self) -> NDArray[np.bool_]:
        """Which of them end outside the mesh."""
        return np.zeros(len(self.stiffness), dtype=bool) if self.ends is None else self.ends

    def motion(self, displacement: Array) -> Array:
        """The motions (m,) of a displacement (n, 3) [mm]."""
        return np.asarray(self.columns.T @ displacement.reshape(-1))

    def forces(self, each: Array) -> Array:
        """Nodal forces (n, 3) [N] of the forces (m,) of all springs' motions."""
        return np.asarray(self.columns @ each).reshape(-1, 3)

    def add_times(self, x: Array, out: Array) -> None:
        """out += the springs times displacements x (3n, k)."""
        out += self.columns @ (self.stiffness[:, None] * (self.columns.T @ x))

    def with_stiffness(self, stiffness: Array) -> Ties:
        """The same ties with other springs (m,) [N/mm]."""
        return Ties(self.columns, stiffness, self.ends, self.names)


@dataclass(frozen=True)
class Locked:
    """Bolts that pull with `preload` (b,) [N] at the `extension` (b,) [mm] of their shanks at which they were
    locked; `slack` (m,) marks ties that bear nothing since their bolt has gone loose (None: none has).
    """

    preload: Array
    extension: Array
    slack: NDArray[np.bool_] | None = None

    def bearing(self, ties: Ties) -> Ties | None:
        """The ties as they are, with no spring where they are slack; None where all are."""
        if self.slack is None:
            return ties
        return None if self.slack.all() else ties.with_stiffness(np.where(self.slack, 0.0, ties.stiffness))

    def springs(self, ties: Ties, displacement: Array) -> Array:
        """The forces (m,) [N, N mm] of the springs alone at a displacement (n, 3) [mm]."""
        out = ties.stiffness * ties.motion(displacement)
        return out if self.slack is None else np.where(self.slack, 0.0, out)

    def forces(self, ties: Ties) -> Array:
        """Nodal forces (n, 3) [N] of the bolts beyond those of their springs."""
        return ties.forces(self.along(ties))

    def along(self, ties: Ties) -> Array:
        """The same along the ties' motions (m,)."""
        out = along_axes(ties, ties.stiffness[::A_BOLT] * self.extension - self.preload)
        return out if self.slack is None else np.where(self.slack, 0.0, out)

    def each(self, ties: Ties, displacement: Array) -> Array:
        """The forces (m,) [N, N mm] in the ties at a displacement (n, 3) [mm]."""
        return self.springs(ties, displacement) - self.along(ties)

    def pull(self, ties: Ties, displacement: Array) -> Array:
        """The pull (b,) [N] of each bolt at a displacement (n, 3) [mm]."""
        return self.each(ties, displacement)[::A_BOLT]


def along_axes(ties: Ties, each: Array) -> Array:
    """Forces (m,) on all ties, from those (b,) along the bolts' axes."""
    out = np.zeros(len(ties.stiffness))
    out[::A_BOLT] = each
    return out


class TiedPreconditioner:
    """A preconditioner `made` for a matrix without ties, corrected for their springs."""

    def __init__(self, made: Callable[[Array], Array], ties: Ties, free: Callable[[Array], Array]) -> None:
        used = np.flatnonzero(ties.stiffness > 0)
        self.made = made
        from scipy.sparse import csr_array

        columns = free(np.ascontiguousarray(ties.columns[:, used].todense(), dtype=float))
        self.columns = csr_array(columns)
        answers = made(columns)
        self.answers = answers.astype(np.float32)  # no more exact than what they correct
        own = columns.T @ answers
        self.small = np.linalg.inv(np.diag(1 / ties.stiffness[used]) + (own + own.T) / 2)

    def __call__(self, residual: Array) -> Array:
        """Apply to residuals (3n, k)."""
        out = self.made(residual)
        out -= self.answers @ (self.small @ (self.columns.T @ out)).astype(np.float32)
        return out
