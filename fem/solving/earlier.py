"""A preconditioner that was made for another material, and whether it serves again.

On one mesh with the same supports, the strain energies of two materials differ at most as the materials themselves
do at the point where they differ most. So the extreme ratios of one stiffness to the other, over all integration
points, bound what happens to the spectrum: conjugate gradients with the older preconditioner take at most about the
root of the larger ratio over the smaller times the steps that a new one would take.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.solving.system import HeldSystem
from fem.tensors import Array

ALIKE = 1.25
"""Largest ratio over smallest ratio up to which the older preconditioner serves: an eighth more steps cost less than
to set up a new one.
"""
_FEW = 500


@dataclass(frozen=True)
class Earlier:
    """A `precondition` with the material and the system that it was made for."""

    precondition: Any
    table: Array
    material: np.ndarray
    projector: Array
    springs: tuple[Any, ...]

    @classmethod
    def of(cls, precondition: Any, table: Array, material: np.ndarray, system: HeldSystem) -> Earlier:
        """What has to be kept for the next material: see `energy_ratios` for what describes one."""
        return cls(precondition, table, material, system.projector, tuple(system.springs))

    def serves(self, table: Array, material: np.ndarray, system: HeldSystem) -> bool:
        """Whether the preconditioner is as good as new for another material: the same supports and foundations, and a
        stiffness that is nearly a multiple of the older one everywhere.
        """
        if not np.array_equal(self.projector, system.projector) or len(self.springs) != len(system.springs):
            return False
        pairs = zip(self.springs, system.springs, strict=True)
        if not all(np.array_equal(a, c) and np.array_equal(b, d) for (a, b), (c, d) in pairs):
            return False
        # Materials that are far apart show it in a few places
        for some in (slice(None, None, len(self.material) // _FEW + 1), slice(None)):
            low, high = energy_ratios((self.table, self.material[some]), (table, material[some]))
            if len(self.springs):  # foundations have not changed
                low, high = min(low, 1.0), max(high, 1.0)
            if high > ALIKE * low:
                return False
        return True


def energy_ratios(old: tuple[Array, np.ndarray], new: tuple[Array, np.ndarray]) -> tuple[float, float]:
    """The least and the greatest ratio, new over old, of the strain energy that a strain can have at any point.

    `old` and `new` are a table (k, 6, 6) [MPa] of positive stiffnesses and the row (m, ...) of each point in it.
    """
    code = np.unique(old[1].astype(np.int64) * len(new[0]) + new[1])
    before, after = old[0][code // len(new[0])], new[0][code % len(new[0])]
    inverse = np.linalg.inv(np.linalg.cholesky(before))
    ratios = np.linalg.eigvalsh(inverse @ after @ np.swapaxes(inverse, 1, 2))
    return float(ratios.min()), float(ratios.max())
