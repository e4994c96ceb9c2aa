"""Stress of cases that were solved together: each load's is recovered once, and cases are sums."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property

import numpy as np

from fem.judging.stress import StressField, UnitStress
from fem.loading.case import LoadCase
from fem.part.tetmesh import TetMesh
from fem.printing.field import PrintedField
from fem.solving.cases import SolvedCases
from fem.tensors import Array


class RecoveredStress:
    """Stress of sums of solved loads. The permanent loads' is kept: most often all cases have the same."""

    def __init__(self, mesh: TetMesh, printed: PrintedField, solved: SolvedCases) -> None:
        self.mesh, self.printed, self.solved = mesh, printed, solved
        self._stay: dict[tuple[tuple[str, float], ...], StressField] = {}

    @cached_property
    def loads(self) -> tuple[str, ...]:
        """The loads that any case asks for."""
        return tuple(dict.fromkeys(k for case in self.solved.cases for k, f in case.factors.items() if f))

    @cached_property
    def units(self) -> UnitStress:
        """The stress of each of the `loads` at unit factor."""
        warm = {k: case.loads[k].temperature_change for case in self.solved.cases for k in case.factors}
        return recovered_units(self.mesh, self.printed, {k: (self.solved.units[k], warm[k]) for k in self.loads})

    def of(self, case: LoadCase, names: tuple[str, ...]) -> StressField:
        """Stress of some of a case's loads together."""
        return self.units.sum(factors_of(case, names, self.loads))

    def stay(self, case: LoadCase) -> StressField:
        """Stress of a case's permanent loads."""
        key = tuple((name, case.factors[name]) for name in case.permanent)
        if key not in self._stay:
            self._stay[key] = self.of(case, case.permanent)
        return self._stay[key]


def recovered_units(
    mesh: TetMesh, printed: PrintedField, loads: Mapping[str, tuple[Array, Array | None]]
) -> UnitStress:
    """The stress of each load, whose displacement (n, 3) [mm] and warming (m,) [K] are given: of none where there are
    no loads."""
    from fem.judging.recovery import recovery_of

    given = list(loads.values()) or [(np.zeros_like(mesh.nodes), None)]
    return recovery_of(mesh, printed).stress([u for u, _ in given], [w for _, w in given])


def factors_of(case: LoadCase, names: tuple[str, ...], loads: tuple[str, ...]) -> Array:
    """The factors (k,) of each of the `loads` in a case, as far as they are among the `names`."""
    return np.array([case.factors[k] if k in names else 0.0 for k in loads] or [0.0])
