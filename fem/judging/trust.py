"""How far the numbers of a run can be relied on, as far as one mesh can tell."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from fem.judging.findings import CaseFindings, MeshFindings

BALANCE_LIMIT = 1e-6
WORST_BALANCE = 1e-3
"""Balance error above which there is no answer at all."""
WIDE = 0.15
"""A mesh is called coarse for a number that it lets lie off by more than this share, upwards or downwards."""


def mesh_off(case: CaseFindings) -> dict[str, float]:
    """By what share numbers of a case may lie off, as far as its mesh or meshes tell: its reserve factor ("reserve"),
    where that is homogenised, and its largest displacement ("displacement")."""
    r, most = case.reserve, case.maximum_displacement_mm
    told = {"displacement": (most, case.bands.get("maximum_displacement_mm", ()))}
    # Beads have bands of their own, and the edge of a support or load is told on its own
    if r.decided_by == "homogenised" and not r.singular:
        told["reserve"] = (r.minimum, r.band)
    return {
        key: max(value - band[0], band[1] - value) / value
        for key, (value, band) in told.items()
        if band and 0 < value < math.inf
    }


def trust_of(
    mesh: MeshFindings,
    cases: Mapping[str, CaseFindings],
    *,
    balance: float,
    energy_error: Mapping[str, float],
    iterations: int,
) -> dict[str, Any]:
    """The figures by which a run is trusted: balance, estimated energy error of each case and by what share the mesh
    may put its numbers off, mesh, iterations."""
    off = {name: mesh_off(case) for name, case in cases.items()}
    return {
        "maximum_balance_error": balance,
        "balance_met": balance <= BALANCE_LIMIT,
        "relative_energy_error": dict(energy_error),
        "mesh_may_be_off_by": off,
        "mesh_is_fine_enough": all(share <= WIDE for own in off.values() for share in own.values()),
        "worst_tetrahedron_quality": mesh.worst_quality,
        "solver_iterations": iterations,
    }
