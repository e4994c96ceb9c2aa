"""What pushes, pulls and warms the part, as consistent nodal forces whose resultants are exact.

A distributed traction t(x) gives node a the force integral of N_a t; since the shape functions sum to one and
reproduce the position, force and moment of the nodal forces are those of the traction to rounding.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from fem.caution import Caution
from fem.loading.sampling import Linear, linear_on, sample
from fem.loading.supports import Held
from fem.loading.traction import Field, Traction
from fem.part.faces import FaceGroup
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array

Wrench = tuple[Array, Array]
"""A force (3,) [N] and its moment (3,) [N mm] about the origin of the part axes."""


@dataclass(frozen=True)
class Arrow:
    """The resultant of a load or a support, to be drawn: `name`, `at` (3,) [mm], `vector` (3,) [N or N mm].

    `kind` is "force" or "moment"; `label` is the text with the unit ("2.4 kN").
    """

    name: str
    kind: str
    at: Array
    vector: Array
    label: str


@dataclass(frozen=True)
class Load:
    """One load of a study at factor one.

    `forces` (n, 3) [N] at the nodes; `temperature_change` [K] per tetrahedron (m,) or None; `displacement` the
    face that a load moves by a prescribed amount, None for others; `permanent`: it does not grow when a reserve is
    sought. `triangles` (j,) where it works; `facts` numbers for the report; `point` (3,) where its arrow is drawn.
    `arrows` draw its resultant; `cautions` are what the user should know of it. `tractions` are what its nodal forces
    stand for, on the true surface; `acceleration` (3,) [mm/s^2] that of a load which pulls on the mass.
    """

    name: str
    kind: str
    forces: Array
    permanent: bool
    triangles: Index
    facts: dict[str, Any] = field(default_factory=dict)
    temperature_change: Array | None = None
    displacement: Held | None = None
    point: Array | None = None
    arrows: tuple[Arrow, ...] = ()
    cautions: tuple[Caution, ...] = ()
    tractions: tuple[Traction, ...] = ()
    acceleration: Array | None = None


def force_text(size: float) -> str:
    """A force [N] to be read beside an arrow."""
    return f"{size / 1000:.3g} kN" if size >= 1000 else f"{size:.3g} N"


def resultant(mesh: TetMesh, forces: Array) -> Wrench:
    """Force [N] and moment about the origin [N mm] of nodal forces (n, 3)."""
    return forces.sum(axis=0), np.cross(mesh.nodes, forces).sum(axis=0)


def spread(mesh: TetMesh, triangles: Index, traction: Field) -> Array:
    """Nodal forces (n, 3) [N] of a traction [MPa] given as a function of points and outward normals (q, 3)."""
    return Traction(triangles, traction).nodal_forces(mesh)


def even_traction(group: FaceGroup, *, force: Array) -> Traction:
    """A force (3,) [N] spread evenly over a face."""
    return Traction(group.triangles, Linear(force / group.area, np.zeros(3), group.centre))


def force_load(mesh: TetMesh, group: FaceGroup, *, force: Array) -> Array:
    """Nodal forces (n, 3) [N] of a force (3,) [N] spread evenly over a face."""
    return even_traction(group, force=force).nodal_forces(mesh)


def pressure_load(mesh: TetMesh, group: FaceGroup, *, pressure: float) -> Array:
    """A pressure [MPa] that pushes into the material, normal to the curved face."""
    return spread(mesh, group.triangles, lambda x, n: -pressure * n)


def wrench_traction(
    mesh: TetMesh, triangles: Index, *, force: Array, moment: Array, at: Array, name: str = "wrench"
) -> Traction:
    """A force [N] at a point, and a moment [N mm], spread over a face that stays free to deform.

    Errors: those of `linear_on`.
    """
    samples = sample(mesh, triangles)
    return Traction(triangles, linear_on(samples, force=force, moment=moment, at=at, name=name))


def wrench_load(
    mesh: TetMesh, triangles: Index, *, force: Array, moment: Array, at: Array, name: str = "wrench"
) -> Array:
    """Nodal forces (n, 3) [N] of the same."""
    return wrench_traction(mesh, triangles, force=force, moment=moment, at=at, name=name).nodal_forces(mesh)
