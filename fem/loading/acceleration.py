"""A field of acceleration that pulls on the mass of all bodies, such as gravity."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fem.loading.kind import NOWHERE, LoadKind, Site, with_resultant
from fem.loading.loads import Load
from fem.loading.values import Accelerations
from fem.part.quadrature import node_volumes
from fem.part.tetmesh import TetMesh
from fem.printing.field import PrintedField
from fem.tensors import Array


@dataclass(frozen=True)
class AccelerationKeys:
    """A field of acceleration (3,) [mm/s^2] that pulls on the mass of all bodies; gravity is (0, 0, -9806.65)."""

    acceleration: Accelerations


def acceleration_load(mesh: TetMesh, printed: PrintedField, *, field: Array) -> Array:
    """The pull of a field of acceleration (3,) [mm/s^2] on the mass (gravity is (0, 0, -9806.65))."""
    mass = node_volumes(mesh, np.arange(len(mesh.tets), dtype=np.int32), each=printed.density)
    return mass[:, None] * np.asarray(field, dtype=float)


def acceleration_of(site: Site) -> Load:
    """The pull at factor one."""
    field = np.asarray(site.what.acceleration, dtype=float)
    forces = acceleration_load(site.mesh, site.printed, field=field)
    weight = acceleration_load(site.mesh, site.printed, field=np.array([0.0, 0.0, 1.0]))[:, 2]
    centre = weight @ site.mesh.nodes / weight.sum()
    load = with_resultant(site, forces, NOWHERE, {"field_m_per_s2": (field / 1000).tolist()}, centre)
    return replace(load, acceleration=field)


KIND = LoadKind(
    "acceleration",
    AccelerationKeys,
    acceleration_of,
    says="The field that pulls on the mass of all bodies, such as gravity.",
    examples=('[loads.weight]\nacceleration = ["0 m/s^2", "0 m/s^2", "-9.81 m/s^2"]',),
    on_a_face=False,
    of_material=True,
)
