"""How far the numbers of a run can be relied on, as far as one mesh can tell."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fem.judging.findings import BodyFindings, CaseFindings, MeshFindings

BALANCE_LIMIT = 1e-6
WORST_BALANCE = 1e-3
"""Balance error above which there is no answer at all."""
ENERGY_LIMIT = 0.10
"""Zienkiewicz and Zhu's relative energy error above which a mesh is called coarse (their paper aims at 5-10 %)."""

STANDING = (
    "The numbers are an engineering estimate from one linear analysis: small displacements, elastic material.",
    "Printed polymer varies from machine to machine, spool to spool and day to day: test coupons from your own "
    "printer, in the state and direction that count.",
    "Nylon softens when it takes up water or warms, and creeps under bolts: preload fades; check and retighten.",
    "Never let one printed part alone stand between a person and injury: add a second hold, and inspect.",
    "Follow local codes, and have a qualified engineer sign what can hurt someone.",
)
"""What every run, page and report says."""


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


def cautions_of(
    bodies: Mapping[str, BodyFindings],
    cases: Mapping[str, CaseFindings],
    trust: Mapping[str, Any],
    *,
    mesh: MeshFindings,
    remarks: tuple[str, ...],
) -> tuple[str, ...]:
    """What a reader of this run must know, the particular first and the standing cautions last."""
    out: list[str] = list(remarks)
    for name, body in bodies.items():
        if body.estimates:
            out.append(
                f"Body {name} uses card {body.material} ({body.state}) in which these values are estimates, not "
                f"measurements: {', '.join(body.estimates)}."
            )
    for name, case in cases.items():
        r = case.reserve
        if r.singular:
            out.append(
                f"Case {name}: the minimum reserve factor {r.minimum:.2f} is read where the way the part is held or "
                f"loaded makes the stress; it depends on the mesh; away from such places it is "
                f"{r.nonsingular_minimum:.2f}."
            )
    if not trust["mesh_is_fine_enough"]:
        worst = max(trust["relative_energy_error"].values())
        thin = any(len(body.zones) > 1 for body in bodies.values())
        why = " (walls and covers thinner than the tetrahedra add to it)" if thin else ""
        out.append(
            f"The mesh is coarse: the estimated energy error is {100 * worst:.0f} %{why}; ask for a smaller size."
        )
    if not trust["balance_met"]:
        out.append(f"Forces balance only to {trust['maximum_balance_error']:.1e} of the load.")
    if mesh.straightened:
        out.append(f"{mesh.straightened} mid-side nodes were pulled straight; the face is a little flat there.")
    return (*out, *STANDING)
