"""The least reserve over all families of beads of a zone, in one compiled pass over its nodes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fem.cores import even_ranges, shared, workers
from fem.criteria.strength import (
    CRITERIA,
    Strength,
    WallBuckling,
    counts,
    rows_of,
    safe_sizes,
)
from fem.tensors import Array


@dataclass(frozen=True)
class ZoneStrength:
    """The phases of a zone as the compiled search takes them: `to_bead` (k, 6, 6) from the zone's mean stress to that
    in a phase's bead axes, `thermal` (k, 6) [MPa/K] what comes with a warming, `strengths` what each bears.
    """

    to_bead: Array
    thermal: Array
    strengths: Sequence[Strength | WallBuckling]

    @property
    def matrix(self) -> Array:
        """From mean stress and warming to bead stress (k, 6, 7)."""
        return np.concatenate([self.to_bead, self.thermal[:, :, None]], axis=2)

    @property
    def criteria(self) -> dict[str, bool]:
        """The criteria that judge some phase, and whether any phase admits them."""
        out: dict[str, bool] = {}
        for each in {id(s): s for s in self.strengths}.values():
            for name, there in counts(each).items():
                out[name] = out.get(name, False) or there
        return out


@dataclass(frozen=True)
class ZoneReserve:
    """At each node of a zone: the least `reserve` (j,), its `phase` (j,), its `mode` (j,), an index into that phase's
    own modes; and the minimum of each criterion over all nodes and phases.
    """

    reserve: Array
    phase: NDArray[np.intp]
    mode: NDArray[np.intp]
    minima: dict[str, float]


@dataclass(frozen=True)
class MeanStress:
    """Stress (j, 6) [MPa] of a zone in the axes that its phases start from, and its warming (j,) [K]."""

    stress: Array
    warming: Array

    @property
    def both(self) -> Array:
        """Side by side (j, 7)."""
        return np.column_stack([self.stress, self.warming])


def zone_reserve(zone: ZoneStrength, *, permanent: MeanStress, growing: MeanStress) -> ZoneReserve:
    """Judge every node of a zone by all phases; of equal reserves the first phase's counts."""
    from fem.criteria import zone_kernels

    n = len(growing.stress)
    least, mode, phase = np.empty(n), np.zeros(n, dtype=np.intp), np.zeros(n, dtype=np.intp)
    phases = zone.matrix, *rows_of(zone.strengths), safe_sizes(zone.to_bead, zone.strengths)
    given = permanent.both, growing.both, *phases, least, mode, phase
    minima = np.min(shared(zone_kernels.judge_zone, even_ranges(n, pieces=2 * workers()), *given), axis=0)
    named = {name: float(minima[kind, k]) for kind, names in enumerate(CRITERIA) for k, name in enumerate(names)}
    return ZoneReserve(least, phase, mode, {name: named[name] for name, there in zone.criteria.items() if there})


def bead_stress(zone: ZoneStrength, mean: MeanStress, phase: NDArray[np.intp]) -> Array:
    """Stress (j, 6) [MPa] at each node in the axes of its own `phase` (j,)."""
    from fem.criteria import zone_kernels

    out = np.empty((len(phase), 6))
    shared(zone_kernels.bead_stress, even_ranges(len(phase)), mean.both, zone.matrix, phase, out)
    return out
