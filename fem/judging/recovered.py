"""Stress of cases that were solved together: what several of them share is recovered once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fem.judging.stress import StressField, ZoneStress, recover_stress
from fem.loading.case import LoadCase
from fem.part.tetmesh import TetMesh
from fem.printing.field import PrintedField
from fem.solving.cases import SolvedCases


class RecoveredStress:
    """Stress of sums of solved loads. The permanent loads' is kept: most often all cases have the same."""

    def __init__(self, mesh: TetMesh, printed: PrintedField, solved: SolvedCases) -> None:
        self.mesh, self.printed, self.solved = mesh, printed, solved
        self._stay: dict[tuple[tuple[str, float], ...], StressField] = {}

    def of(self, case: LoadCase, names: tuple[str, ...]) -> StressField:
        """Stress of some of a case's loads together."""
        displacement = case.combined(names, self.solved.units)
        warming = case.temperature_change(names)
        return recover_stress(self.mesh, self.printed, displacement, temperature_change=warming)

    def stay(self, case: LoadCase) -> StressField:
        """Stress of a case's permanent loads."""
        key = tuple((name, case.factors[name]) for name in case.permanent)
        if key not in self._stay:
            self._stay[key] = self.of(case, case.permanent)
        return self._stay[key]


def combined_stress(parts: Sequence[tuple[float, StressField]]) -> StressField:
    """The sum of stress fields of one mesh and material times their factors; its energy error is not known."""
    zones = []
    for zone in zip(*(field.zones for _, field in parts), strict=True):
        stress = sum(factor * z.stress for (factor, _), z in zip(parts, zone, strict=True))
        temperature_change = sum(factor * z.temperature_change for (factor, _), z in zip(parts, zone, strict=True))
        zones.append(
            ZoneStress(zone[0].nodes, np.asarray(stress), zone[0].turn, np.asarray(temperature_change), zone[0].way)
        )
    node = sum(factor * field.node for factor, field in parts)
    return StressField(tuple(zones), np.asarray(node), float("nan"))
