"""All that a load case does to a grid of boxes in the solved part, in the columns in which it is judged: what stays,
and what grows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fem.loading.case import LoadCase
from fem.loading.dense import Box
from fem.loading.kinds import displaced_name
from fem.loading.point_springs import PointSprings, foundation_springs, held_springs
from fem.loading.traction import PointForces, dense_forces
from fem.part.tetmesh import TetMesh
from fem.solving.cases import SolvedCases
from fem.solving.equilibrium import Equilibrium
from fem.tensors import Array
from fem.zooming.hang import Boxes, HeldNodes, NodeSprings, cut_sides, forces_onto_nodes, springs_onto_nodes
from fem.zooming.where import Locator


@dataclass(frozen=True)
class HungCase:
    """A case in k columns of loads, in print axes: nodal `forces` (k, n, 3) [N] of what presses on the surface,
    `springs` of foundations and held faces, `held` nodes of cut sides, `acceleration` (k, 3) [mm/s^2] that pulls on
    the mass of each box, and the body's `temperature_change` (k,) [K].
    """

    forces: Array
    springs: NodeSprings
    held: HeldNodes
    acceleration: Array
    temperature_change: Array


def hang_case(
    boxes: Boxes,
    case: LoadCase,
    *,
    locator: Locator,
    equilibrium: Equilibrium,
    solved: SolvedCases,
    spacing: float,
    stiffness: float,
    columns: Sequence[tuple[str, ...]] | None = None,
) -> HungCase:
    """A solved case, brought to the boxes of the locator's body.

    `columns` name the loads of each, (permanent, growing) unless given; `spacing` [mm] is how close points of the
    surface lie, `stiffness` [N/mm^3] stands for held faces. Where foundations only push, they press where `solved`
    says. Errors: NoTrustworthyAnswer when a loaded or held face has no filled box near it.
    """
    columns = (case.permanent, case.growing) if columns is None else columns
    mesh, room = equilibrium.mesh, boxes.surface_room(locator)
    pushed = {
        k: dense_forces(mesh, case.loads[k].tractions, spacing=spacing, box=room, body=locator.body)
        for k in case.factors
    }
    springs, moving = _springs(case, equilibrium, solved, stiffness, spacing, room, locator.body)
    factors = np.array([[case.factors[k] if k in names else 0.0 for k in moving] for names in columns])
    fields = np.array([case.combined(names, solved.units) for names in columns])
    return HungCase(
        np.array([forces_onto_nodes(boxes, _together(case, names, pushed)) for names in columns]),
        springs_onto_nodes(boxes, springs, factors=factors.reshape(len(columns), len(springs))),
        cut_sides(boxes, locator, fields),
        np.array([_acceleration(case, names) for names in columns]) @ boxes.axes.T,
        np.array([_temperature_change(case, names, mesh, locator.body) for names in columns]),
    )


def _springs(
    case: LoadCase,
    equilibrium: Equilibrium,
    solved: SolvedCases,
    stiffness: float,
    spacing: float,
    room: Box,
    body: str,
) -> tuple[list[PointSprings], list[str]]:
    """The springs of all supports, and for each the load that moves its place of rest ("" for none)."""
    pressing = solved.contact.pressing if solved.contact is not None else {}
    moving = {displaced_name(name): name for name in case.displaced}
    mesh, springs, loads = equilibrium.mesh, [], []
    for name, foundation in equilibrium.foundations.items():
        own = pressing.get(name)
        springs.append(foundation_springs(mesh, foundation, spacing=spacing, box=room, body=body, pressing=own))
        loads.append("")
    for held in equilibrium.supports:
        springs.append(held_springs(mesh, held, stiffness=stiffness, spacing=spacing, box=room, body=body))
        loads.append(moving.get(held.name, ""))
    return springs, loads


def _together(case: LoadCase, names: tuple[str, ...], pushed: dict[str, PointForces]) -> PointForces:
    point = [np.zeros((0, 3)), *(pushed[k].point for k in names)]
    force = [np.zeros((0, 3)), *(case.factors[k] * pushed[k].force for k in names)]
    return PointForces(np.concatenate(point), np.concatenate(force))


def _acceleration(case: LoadCase, names: tuple[str, ...]) -> Array:
    given = [case.factors[k] * a for k in names if (a := case.loads[k].acceleration) is not None]
    return np.sum([np.zeros(3), *given], axis=0)


def _temperature_change(case: LoadCase, names: tuple[str, ...], mesh: TetMesh, body: str) -> float:
    """That of the body's first tetrahedron: a load warms bodies as a whole."""
    warm = case.temperature_change(names)
    return 0.0 if warm is None else float(warm[mesh.tets_of(body)[0]])
