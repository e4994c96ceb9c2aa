"""Bodies that become warmer or colder, and expand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np

from fem.digits import number
from fem.errors import InputError
from fem.loading.kind import NOWHERE, LoadKind, Site
from fem.loading.loads import Load
from fem.loading.values import Names, TemperatureDifference
from fem.part.quadrature import STRESS_POINTS, STRESS_WEIGHTS, tet_slopes
from fem.part.tetmesh import TetMesh
from fem.printing.field import PrintedField
from fem.tensors import Array, unpack_stress


@dataclass(frozen=True)
class TemperatureChangeKeys:
    """Temperature difference [K] of the named bodies; None: of all."""

    by: Annotated[TemperatureDifference, "Change of temperature from the free state."]
    bodies: Annotated[Names | None, "The bodies that are warmed or cooled. All if left out."] = None


def thermal_load(mesh: TetMesh, printed: PrintedField, *, temperature_change: Array) -> Array:
    """Nodal forces (n, 3) [N] with which free expansion by `temperature_change` (m,) [K] would be held back to
    nothing."""
    # A material without expansion can only belong to bodies that do not warm (the study sees to that)
    table = np.einsum("kab,kb->ka", printed.stiffness_table, printed.expansion_table)
    stress = table[printed.material] * temperature_change[:, None, None]
    out = np.zeros((len(mesh.nodes), 3))
    slope = tet_slopes(STRESS_POINTS)
    for part in np.array_split(np.arange(len(mesh.tets)), max(1, len(mesh.tets) // 20000)):
        x = mesh.nodes[mesh.tets[part]]
        jac = np.einsum("qad,mai->mqdi", slope, x)
        grad = np.einsum("mqid,qad->mqai", np.linalg.inv(jac), slope)
        w = np.linalg.det(jac) * STRESS_WEIGHTS
        np.add.at(out, mesh.tets[part], np.einsum("mq,mqai,mqik->mak", w, grad, unpack_stress(stress[part])))
    return out


def temperature_change_of(site: Site) -> Load:
    """The warming at factor one. Errors: InputError for a material whose expansion is not known."""
    plan, what, mesh = site.plan, site.what, site.mesh
    bodies = what.bodies or mesh.bodies
    warm = np.zeros(len(mesh.tets))
    for body in bodies:
        warm[mesh.tets_of(body)] = what.by
    facts = {"kind": plan.kind, "permanent": plan.permanent, "by_K": what.by, "bodies": list(bodies)}
    lacking = [
        material.name
        for number, material in enumerate(site.printed.materials)
        if material.expansion is None and np.any(site.printed.holds(number)[warm != 0] > 0)
    ]
    if lacking:
        raise InputError(
            f"card {lacking[0]} gives no expansion.",
            where=f"loads.{plan.name}",
            advice="Add expansion to a card of your own, or leave its body out with bodies = [...].",
        )
    forces = thermal_load(mesh, site.printed, temperature_change=warm)
    return Load(plan.name, plan.kind, forces, plan.permanent, NOWHERE, facts, temperature_change=warm)


def temperature_words(facts: Mapping[str, Any]) -> tuple[str, str]:
    """By how much bodies are warmed, and why no force is told."""
    return f"temperature change by {number(float(facts['by_K']))} K", "no external force"


KIND = LoadKind(
    "temperature_change",
    TemperatureChangeKeys,
    temperature_change_of,
    says="Bodies become warmer or colder, and expand by the `expansion` of their card.",
    examples=('[loads.sun]\ntemperature_change = { by = "20 K" }',),
    names={("bodies", "*"): "bodies"},
    on_a_face=False,
    of_material=True,
    without_resultant=temperature_words,
)
