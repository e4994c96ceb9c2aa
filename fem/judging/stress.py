"""Stress from displacement, zone by zone: smoothed inside a zone and never across one.

Stress is taken at the four integration points of each tetrahedron, where it is most accurate, and told apart into
that of wall, cover and core. Each is carried towards the nodes by the linear field through these points, but not
farther than the zone itself comes to the node, and averaged over the tetrahedra around the node that hold the same
zone of the same body, weighted by the zone's volume.
Source: J. Barlow, IJNME 10 (1976) 243 (best points); O. C. Zienkiewicz and J. Z. Zhu, IJNME 24 (1987) 337.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fem.part.quadrature import STRESS_POINTS, STRESS_WEIGHTS, tet_slopes
from fem.part.tetmesh import TET_EDGES, Index, TetMesh
from fem.printing.field import PrintedField, PrintedMaterial, wall_axes
from fem.tensors import Array, stress_rotation

_SLOPE = tet_slopes(STRESS_POINTS)
_TO_POINTS = np.column_stack([1 - STRESS_POINTS.sum(axis=1), STRESS_POINTS])
_CORNERS = np.linalg.inv(_TO_POINTS)
_FIRST, _SECOND = ([edge[k] for edge in TET_EDGES] for k in (0, 1))


SECTORS = 12
SECTOR = np.pi / SECTORS
"""Walls whose beads run within one sector of so many rad are smoothed together."""
SLIVER = 0.1
"""A zone is judged at a node where it fills at least this share of the tetrahedra around it, or the node lies in it.

What a sliver of soft infill feels behind a wall is the wall's own peak, pressed upon it by the mean stress of a
tetrahedron that is nearly all wall; the tetrahedra behind, which hold more of the infill, tell what it really bears.
"""


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
        return StressField(tuple(zone.at(~nodes[zone.nodes]) for zone in self.zones), self.node, self.energy_error)

    def minus(self, other: StressField) -> StressField:
        """This field without another of the same mesh: what of it grows when the other stays."""
        zones = tuple(
            ZoneStress(a.nodes, a.stress - b.stress, a.turn, a.temperature_change - b.temperature_change, a.way)
            for a, b in zip(self.zones, other.zones, strict=True)
        )
        return StressField(zones, self.node - other.node, self.energy_error)


def raw_stress(
    mesh: TetMesh, printed: PrintedField, displacement: Array, *, temperature_change: Array | None = None
) -> tuple[Array, Array]:
    """Stress (m, 4, 6) [MPa] in part axes that the mixture of each tetrahedron feels at the integration points, and
    their volumes (m, 4) [mm^3].
    """
    stress = np.empty((len(mesh.tets), 4, 6))
    volume = np.empty((len(mesh.tets), 4))
    table = printed.stiffness_table
    for part in np.array_split(np.arange(len(mesh.tets)), max(1, len(mesh.tets) // 20000)):
        tets = mesh.tets[part]
        jac = np.einsum("qad,mai->mqdi", _SLOPE, mesh.nodes[tets], optimize=True)
        slope = np.einsum("qad,mai->mqdi", _SLOPE, displacement[tets], optimize=True)
        grad = np.linalg.solve(jac, slope)  # [direction, component]
        strain = np.stack(
            [
                grad[..., 0, 0],
                grad[..., 1, 1],
                grad[..., 2, 2],
                grad[..., 1, 2] + grad[..., 2, 1],
                grad[..., 0, 2] + grad[..., 2, 0],
                grad[..., 0, 1] + grad[..., 1, 0],
            ],
            axis=-1,
        )
        which = printed.mixture[part]
        if temperature_change is not None:
            strain = strain - (temperature_change[part, None] * printed.expansion_table[which])[:, None, :]
        stress[part] = np.einsum("mab,mqb->mqa", table[which], strain, optimize=True)
        volume[part] = np.linalg.det(jac) * STRESS_WEIGHTS
    return stress, volume


def recover_stress(
    mesh: TetMesh, printed: PrintedField, displacement: Array, *, temperature_change: Array | None = None
) -> StressField:
    """Smoothed stress of every zone for displacements (n, 3) [mm] and `temperature_change` (m,) [K] of the
    tetrahedra."""
    raw, volume = raw_stress(mesh, printed, displacement, temperature_change=temperature_change)
    n = len(mesh.nodes)
    zones = []
    node, nearest, lies_in = np.zeros((n, 6)), np.zeros(n), np.full(n, -1)
    around = np.bincount(mesh.tets.ravel(), weights=np.repeat(volume.sum(axis=1), 10), minlength=n)
    filled: list[Array] = []
    error = whole = 0.0
    for number, material in enumerate(printed.materials):
        tets, slot = np.nonzero((printed.zone == number) & (printed.share > 0))
        own = raw[tets]
        size = volume[tets].sum(axis=1) * printed.share[tets, slot]
        warm = np.zeros(len(tets)) if temperature_change is None else temperature_change[tets]
        rows = printed.mixture[tets]
        if printed.several_zones:
            own = np.einsum("mab,mqb->mqa", printed.local[rows, slot], own, optimize=True)
            own = own + (printed.local_warming[rows, slot] * warm[:, None])[:, None]
        near = printed.reach[tets, slot]
        corner = np.einsum("aq,mqc->mac", _CORNERS, own, optimize=True)
        # A corner's value is taken where the zone comes nearest to it, the other three sharing what is left
        rest = (1 - near) / 3
        there = (near - rest)[:, :, None] * corner + rest[:, :, None] * corner.sum(axis=1, keepdims=True)
        at = np.concatenate([there, (there[:, _FIRST] + there[:, _SECOND]) / 2], axis=1)
        # Walls that meet in a corner run two ways: each way is smoothed on its own
        way = (
            np.round(printed.turn[tets] / SECTOR).astype(np.int64) % SECTORS if material.follows_outline else 0 * tets
        )
        entry, flat = np.unique((mesh.tets[tets].astype(np.int64) + n * way[:, None]).ravel(), return_inverse=True)
        nodes, count = entry % n, len(entry)

        def mean(values: Array, flat: Index = flat, size: Array = size, count: int = count) -> Array:
            """Mean (count,) over the tetrahedra around each node, weighted by the zone's volume."""
            weighted = np.broadcast_to(values, (len(size), 10)) * size[:, None]
            return np.asarray(np.bincount(flat, weights=weighted.ravel(), minlength=count))

        weight = mean(np.ones((len(size), 1)))
        smooth = np.stack([mean(at[:, :, c]) for c in range(6)], axis=1) / weight[:, None]
        double = 2 * printed.turn[tets, None]
        turn = np.arctan2(mean(np.sin(double)), mean(np.cos(double))) / 2
        zones.append(ZoneStress(nodes.astype(np.int32), smooth, turn, mean(warm[:, None]) / weight, entry // n))
        filled.append(weight / around[nodes])

        reaches = np.concatenate([near, (near[:, _FIRST] + near[:, _SECOND]) / 2], axis=1)
        closeness = np.bincount(flat, weights=(reaches * volume[tets].sum(axis=1)[:, None]).ravel(), minlength=count)
        mine = closeness > nearest[nodes]
        node[nodes[mine]], nearest[nodes[mine]], lies_in[nodes[mine]] = smooth[mine], closeness[mine], number

        off = np.einsum("qa,mac->mqc", _TO_POINTS, smooth[flat.reshape(-1, 10)[:, :4]] - there, optimize=True)
        share = printed.share[tets, slot]
        error += _energy(material, printed.turn[tets], off, volume[tets] * share[:, None])
        whole += _energy(material, printed.turn[tets], own, volume[tets] * share[:, None])
    relative = float(np.sqrt(error / (whole + error))) if whole > 0 else 0.0
    kept = tuple(
        zone.at((share >= SLIVER) | (lies_in[zone.nodes] == number))
        for number, (zone, share) in enumerate(zip(zones, filled, strict=True))
    )
    return StressField(kept, node, relative)


def _energy(material: PrintedMaterial, turn: Array, stress: Array, volume: Array) -> float:
    """Twice the elastic energy [mJ] of stresses (m, 4, 6) [MPa] in part axes on volumes (m, 4)."""
    if material.follows_outline:
        stress = np.einsum("mab,mqb->mqa", stress_rotation(wall_axes(material, turn)), stress, optimize=True)
    strain = stress @ np.linalg.inv(material.stiffness)
    return float(np.einsum("mq,mqa,mqa->", volume, stress, strain, optimize=True))
