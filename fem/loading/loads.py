"""What pushes, pulls and warms the part, as consistent nodal forces whose resultants are exact.

A distributed traction t(x) gives node a the force integral of N_a t; since the shape functions sum to one and
reproduce the position, force and moment of the nodal forces are those of the traction to rounding.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from fem.errors import InputError
from fem.part.faces import FaceGroup
from fem.part.quadrature import (
    STRESS_POINTS,
    STRESS_WEIGHTS,
    TRIANGLE_POINTS,
    node_volumes,
    surface_points,
    tet_slopes,
    triangle_shapes,
)
from fem.part.tetmesh import Index, TetMesh
from fem.printing.field import PrintedField
from fem.tensors import Array, unpack_stress

Wrench = tuple[Array, Array]
"""A force (3,) [N] and its moment (3,) [N mm] about the origin of the part axes."""


@dataclass(frozen=True)
class Load:
    """One load of a study at factor one.

    `forces` (n, 3) [N] at the nodes; `temperature_change` [K] per tetrahedron (m,) or None; `displacement` True when
    the load is a displacement prescribed through the supports; `permanent`: it does not grow when a reserve is
    sought. `triangles` (j,) where it works; `facts` numbers for the report; `point` (3,) where its arrow is drawn.
    """

    name: str
    kind: str
    forces: Array
    permanent: bool
    triangles: Index
    facts: dict[str, Any] = field(default_factory=dict)
    temperature_change: Array | None = None
    displacement: Array | None = None
    point: Array | None = None


def resultant(mesh: TetMesh, forces: Array) -> Wrench:
    """Force [N] and moment about the origin [N mm] of nodal forces (n, 3)."""
    return forces.sum(axis=0), np.cross(mesh.nodes, forces).sum(axis=0)


def spread(
    mesh: TetMesh,
    triangles: Index,
    traction: Callable[[Array, Array], Array],
    *,
    rule: tuple[Array, Array] | None = None,
) -> Array:
    """Nodal forces (n, 3) [N] of a traction [MPa] given as a function of points and outward normals (j, q, 3)."""
    points, weight, normal = surface_points(mesh, triangles, rule=rule)
    shape, _ = triangle_shapes(rule[0] if rule else TRIANGLE_POINTS)
    each = np.einsum("jq,qa,jqi->jai", weight, shape, traction(points, normal))
    out = np.zeros((len(mesh.nodes), 3))
    np.add.at(out, mesh.triangles[triangles], each)
    return out


def force_load(mesh: TetMesh, group: FaceGroup, *, force: Array) -> Array:
    """A force (3,) [N] spread evenly over a face."""
    return spread(mesh, mesh.triangles_of(group.faces), lambda x, n: np.broadcast_to(force / group.area, x.shape))


def pressure_load(mesh: TetMesh, group: FaceGroup, *, pressure: float) -> Array:
    """A pressure [MPa] that pushes into the material, normal to the curved face."""
    return spread(mesh, mesh.triangles_of(group.faces), lambda x, n: -pressure * n)


def wrench_load(
    mesh: TetMesh,
    triangles: Index,
    *,
    force: Array,
    moment: Array,
    at: Array,
    weight: Callable[[Array], Array] | None = None,
    rule: tuple[Array, Array] | None = None,
    name: str = "wrench",
) -> Array:
    """A force [N] at a point, and a moment [N mm], spread over a face that stays free to deform.

    Nodal forces (n, 3) [N] of the traction of `linear_traction`, whose arguments and errors these are.
    """
    traction = linear_traction(
        mesh, triangles, force=force, moment=moment, at=at, weight=weight, rule=rule, name=name
    )
    return spread(mesh, triangles, traction, rule=rule)


def linear_traction(
    mesh: TetMesh,
    triangles: Index,
    *,
    force: Array,
    moment: Array,
    at: Array,
    weight: Callable[[Array], Array] | None = None,
    rule: tuple[Array, Array] | None = None,
    name: str = "wrench",
) -> Callable[[Array, Array], Array]:
    """The traction [MPa], as a function of points and normals, that carries a force [N] at a point and a moment.

    It is w(x) (a + b x (x - c)) with a and b such that both resultants are exact; c is the centroid
    of the weight w (one everywhere unless given).
    Errors: InputError when the face is too small a patch to carry a moment.
    """
    points, area, _ = surface_points(mesh, triangles, rule=rule)
    w = area if weight is None else area * weight(points)
    total = w.sum()
    if not total > 0:
        raise InputError("the face has no area under the load.", where=f"loads.{name}")
    centre = np.einsum("jq,jqi->i", w, points) / total
    off = points - centre
    square = np.einsum("jq,jqi,jqk->ik", w, off, off)
    inertia = np.trace(square) * np.eye(3) - square
    about = np.asarray(moment, dtype=float) + np.cross(np.asarray(at, dtype=float) - centre, force)
    eigen = np.linalg.eigvalsh(inertia)
    if not eigen[0] > 1e-12 * max(eigen[-1], 1e-300):
        raise InputError("the face is too narrow to carry a moment.", where=f"loads.{name}")
    turn = np.linalg.solve(inertia, about)
    a = np.asarray(force, dtype=float) / total

    def traction(x: Array, n: Array) -> Array:
        even = a + np.cross(turn, x - centre)
        return even if weight is None else weight(x)[..., None] * even

    return traction


def acceleration_load(mesh: TetMesh, printed: PrintedField, *, field: Array) -> Array:
    """The pull of a field of acceleration (3,) [mm/s^2] on the mass (gravity is (0, 0, -9806.65))."""
    mass = node_volumes(mesh, np.arange(len(mesh.tets), dtype=np.int32), each=printed.density)
    return mass[:, None] * np.asarray(field, dtype=float)


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
