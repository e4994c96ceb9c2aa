"""Stress from displacement, zone by zone: each zone has its own, averaged inside it and never across its border.

Stress is taken at the four integration points of each tetrahedron, where it is most accurate, and each zone of a
point feels what a stack along the surface's normal feels there (printing/stack.py): the strain in the surface's plane
and the traction across it. It is carried towards the nodes by the linear field through these points, but not farther
than the zone itself comes to the node, and averaged over the tetrahedra around the node that hold the same zone of
the same body, weighted by the zone's volume; then over the material's length (averaging.py). Walls are averaged in
the axes of their beads.
Source: J. Barlow, IJNME 10 (1976) 243 (best points); O. C. Zienkiewicz and J. Z. Zhu, IJNME 24 (1987) 337.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fem.part.quadrature import STRESS_POINTS, STRESS_WEIGHTS, tet_slopes
from fem.part.tetmesh import Index, TetMesh
from fem.printing.field import PrintedField
from fem.tensors import Array

SLIVER = 0.1
"""A zone is judged at a node where it fills at least this share of the tetrahedra around it, or the node lies in
it."""


@dataclass(frozen=True)
class ZoneStress:
    """Smoothed stress of one zone of one body, where it is judged: at `nodes` (j,) the zone's own `stress` (j, 6)
    [MPa] in part axes, `turn` (j,) [rad] of the wall's bead there, `temperature_change` (j,) [K]. Where walls of
    several ways meet, a node stands once for each `way` (j,).
    """

    nodes: Index
    stress: Array
    turn: Array
    temperature_change: Array
    way: Index

    @property
    def ways(self) -> tuple[ZoneStress, ...]:
        """The parts that belong to walls of one way; in each a node stands once."""
        return tuple(self.at(self.way == way) for way in np.unique(self.way))

    def at(self, some: NDArray[np.bool_]) -> ZoneStress:
        """Only some (j,) of the nodes."""
        return ZoneStress(
            self.nodes[some], self.stress[some], self.turn[some], self.temperature_change[some], self.way[some]
        )


@dataclass(frozen=True)
class StressField:
    """`zones` for each material of the field; `node` (n, 6) [MPa] in part axes, the stress of the zone in which a
    node lies; `energy_error` the share of the energy norm by which raw and smoothed stress differ in the whole mesh
    (an estimate of the discretisation error).
    """

    zones: tuple[ZoneStress, ...]
    node: Array
    energy_error: float

    def without(self, nodes: NDArray[np.bool_]) -> StressField:
        """This field where it is to be judged, but for some nodes (n,)."""
        return replace(self, zones=tuple(zone.at(~nodes[zone.nodes]) for zone in self.zones))

    def minus(self, other: StressField) -> StressField:
        """This field without another of the same mesh: what of it grows when the other stays."""
        zones = tuple(
            ZoneStress(a.nodes, a.stress - b.stress, a.turn, a.temperature_change - b.temperature_change, a.way)
            for a, b in zip(self.zones, other.zones, strict=True)
        )
        return StressField(zones, self.node - other.node, self.energy_error)


@dataclass(frozen=True)
class UnitStress:
    """Stress of k loads recovered side by side, of which that of every sum of them follows: their `fields`, and the
    products of each two, `error` (k, k) and `energy` (k, k) [mJ]: of a load with itself twice the elastic energy by
    which its raw and smoothed stress differ, and that of the raw stress.
    """

    fields: tuple[StressField, ...]
    error: Array
    energy: Array

    def sum(self, factors: Array) -> StressField:
        """The stress of all loads times their factors (k,), its energy error included."""
        some = [(float(f), field) for f, field in zip(factors, self.fields, strict=True) if f]
        error = relative_error(float(factors @ self.error @ factors), float(factors @ self.energy @ factors))
        return replace(combined_stress(some or [(0.0, self.fields[0])]), energy_error=error)


def relative_error(error: float, energy: float) -> float:
    """The energy norm of the error over that of the exact answer, from their squares as far as they are known."""
    return float(np.sqrt(max(error, 0.0) / (energy + max(error, 0.0)))) if energy > 0 else 0.0


def combined_stress(parts: Sequence[tuple[float, StressField]]) -> StressField:
    """The sum of stress fields of one mesh and material times their factors; its energy error is not known."""
    zones = []
    for zone in zip(*(field.zones for _, field in parts), strict=True):
        stress = sum(factor * z.stress for (factor, _), z in zip(parts, zone, strict=True))
        warm = sum(factor * z.temperature_change for (factor, _), z in zip(parts, zone, strict=True))
        zones.append(replace(zone[0], stress=np.asarray(stress), temperature_change=np.asarray(warm)))
    node = sum(factor * field.node for factor, field in parts)
    return StressField(tuple(zones), np.asarray(node), float("nan"))


def raw_stress(
    mesh: TetMesh, printed: PrintedField, displacement: Array, *, temperature_change: Array | None = None
) -> tuple[Array, Array]:
    """Stress (m, 4, 6) [MPa] in part axes that the mixture around each integration point feels, and their volumes
    (m, 4) [mm^3].
    """
    strain = point_strain(mesh, displacement)
    if temperature_change is not None:
        strain = strain - temperature_change[:, None, None] * printed.expansion_table[printed.material]
    stress = np.empty_like(strain)
    for part in np.array_split(np.arange(len(mesh.tets)), max(1, len(mesh.tets) // 20000)):
        table = printed.stiffness_table[printed.material[part]]
        stress[part] = np.einsum("mqab,mqb->mqa", table, strain[part], optimize=True)
    return stress, point_volume(mesh)


def point_strain(mesh: TetMesh, displacement: Array) -> Array:
    """Strain (m, 4, 6) at the integration points from displacements (n, 3) [mm]."""
    from fem.cores import even_ranges, shared
    from fem.judging import recovery_kernels as kernels

    strain = np.empty((len(mesh.tets), 4, 6))
    moved = np.ascontiguousarray(displacement, dtype=float)
    given = mesh.nodes, mesh.tets, moved, tet_slopes(STRESS_POINTS), strain
    shared(kernels.point_strain, even_ranges(len(mesh.tets)), *given)
    return strain


def point_volume(mesh: TetMesh) -> Array:
    """What each integration point stands for (m, 4) [mm^3]."""
    slope = tet_slopes(STRESS_POINTS)
    jac = np.einsum("qad,mai->mqdi", slope, mesh.nodes[mesh.tets], optimize=True)
    return np.asarray(np.einsum("mqi,mqi->mq", jac[:, :, 0], np.cross(jac[:, :, 1], jac[:, :, 2])) * STRESS_WEIGHTS)


def recover_stress(
    mesh: TetMesh, printed: PrintedField, displacement: Array, *, temperature_change: Array | None = None
) -> StressField:
    """Averaged stress of every zone for displacements (n, 3) [mm] and `temperature_change` (m,) [K] of the
    tetrahedra.
    """
    from fem.judging.recovery import recovery_of

    return recovery_of(mesh, printed).stress([displacement], [temperature_change]).fields[0]
