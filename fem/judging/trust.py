"""How far the numbers of a run can be relied on, as far as one mesh can tell."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fem.judging.findings import MeshFindings

BALANCE_LIMIT = 1e-6
WORST_BALANCE = 1e-3
"""Balance error above which there is no answer at all."""
ENERGY_LIMIT = 0.10
"""Zienkiewicz and Zhu's relative energy error above which a mesh is called coarse (their paper aims at 5-10 %)."""


def trust_of(
    mesh: MeshFindings, *, balance: float, energy_error: Mapping[str, float], iterations: int
) -> dict[str, Any]:
    """The figures by which a run is trusted: balance, estimated energy error of each case, mesh, iterations."""
    worst = max(energy_error.values(), default=0.0)
    return {
        "maximum_balance_error": balance,
        "balance_met": balance <= BALANCE_LIMIT,
        "relative_energy_error": dict(energy_error),
        "mesh_is_fine_enough": worst <= ENERGY_LIMIT,
        "worst_tetrahedron_quality": mesh.worst_quality,
        "solver_iterations": iterations,
        "note": "Stress peaks converge more slowly than this error says; run a finer mesh before you rely on one.",
    }
