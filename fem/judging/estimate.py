"""How far a mesh's stress is from the exact one, tetrahedron by tetrahedron.

Stress is recovered by patches: a second-order polynomial is fitted to the stress at the integration points of the
tetrahedra around each corner, and what it says at the nodes makes a field of second order. Its distance to the raw
stress, in the energy norm, stands for the error. Averages at nodes will not do: with second-order tetrahedra the raw
stress is linear, and so is the field between averaged corners; both miss what the exact stress curves.

Patches hold one zone of one body (walls of one way), so what zones really differ by is no error of the mesh.
Source: O. C. Zienkiewicz and J. Z. Zhu, IJNME 24 (1987) 337 (estimate) and 33 (1992) 1331 (patches).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from fem.cores import even_ranges, shared
from fem.judging.recovery import recovery_of
from fem.judging.stress import relative_error
from fem.part.quadrature import STRESS_POINTS, exact_rule, tet_shapes
from fem.part.tetmesh import TET_EDGES, Index, TetMesh
from fem.printing.field import PrintedField, PrintedMaterial, wall_axes
from fem.tensors import Array, stress_rotation

WAY = np.pi / 4
"""Walls whose beads run within one sector of so many rad make patches together."""
_TO_POINTS = np.column_stack([1 - STRESS_POINTS.sum(axis=1), STRESS_POINTS])
_CORNERS = np.linalg.inv(_TO_POINTS)
_ENDS = np.array(TET_EDGES)
_AT_POINTS = tet_shapes(STRESS_POINTS)


@dataclass(frozen=True)
class ErrorEstimate:
    """`error` (m,) and `energy` (m,): the squared energy norm of each tetrahedron's estimated error and of its raw
    stress [N mm] (twice the elastic energy)."""

    error: Array
    energy: Array

    @property
    def relative(self) -> float:
        """The energy norm of the error over that of the exact answer, as far as the estimate knows it."""
        return relative_error(float(self.error.sum()), float(self.energy.sum()))


def estimate_error(
    mesh: TetMesh,
    printed: PrintedField,
    displacement: Array,
    *,
    temperature_change: Array | None = None,
    some: NDArray[np.bool_] | None = None,
) -> ErrorEstimate:
    """The error of displacements (n, 3) [mm] with `temperature_change` (m,) [K], in the energy norm of each zone's
    own stiffness.

    Where `some` (m,) of the tetrahedra are given only these are estimated; the others are left at 0.
    """
    recovery = recovery_of(mesh, printed)
    points = recovery.points([displacement], [temperature_change])[:, 0]
    volume = recovery.volume
    around = None if some is None else _touching(mesh, some)
    out = ErrorEstimate(np.zeros(len(mesh.tets)), np.zeros(len(mesh.tets)))
    for number, material in enumerate(printed.materials):
        here = (printed.zone == number) & (printed.share > 0)
        tets, slot = np.nonzero(here if around is None else here & around[:, None])
        if not len(tets):
            continue
        own, share = points[recovery.which[tets, slot]], printed.share[tets, slot]
        turn = printed.turn[tets]
        way = np.round(turn / WAY).astype(np.int64) % 4 if material.follows_outline else np.zeros_like(tets)
        wanted = None if some is None else some[tets]
        nodal = recovered(mesh, tets, own, way=way, weight=share, wanted=wanted)
        if wanted is not None:
            tets, own, share, turn = tets[wanted], own[wanted], share[wanted], turn[wanted]
        off = nodal - _linear_at_nodes(own)
        size = volume[tets].sum(axis=1) * share
        compliance = _compliance(material, turn)
        np.add.at(out.error, tets, size * _mean_energy(off, compliance, _mass()))
        np.add.at(out.energy, tets, size * _mean_energy(own, compliance, np.eye(4) / 4))
    return out


def _touching(mesh: TetMesh, some: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The tetrahedra (m,) that share a corner with `some` (m,), or with one that does: what their patches hold."""
    for _ in range(2):
        corner = np.zeros(len(mesh.nodes), dtype=bool)
        corner[mesh.tets[some, :4]] = True
        some = np.asarray(corner[mesh.tets[:, :4]].any(axis=1))
    return some


def recovered(
    mesh: TetMesh,
    tets: Index,
    stress: Array,
    *,
    way: Index,
    weight: Array,
    wanted: NDArray[np.bool_] | None = None,
) -> Array:
    """Recovered stress (j, 10, 6) at the nodes of `tets` (j,), or of those `wanted` (j,), from the raw one (j, 4, 6)
    of all at their integration points; patches take in tetrahedra of the same `way` (j,) alone, by their `weight`
    (j,)."""
    from fem.judging import patch_kernels

    n, place = len(mesh.nodes), mesh.nodes[mesh.tets[tets]]
    entry, flat = np.unique(mesh.tets[tets, :4].astype(np.int64) + n * way[:, None], return_inverse=True)
    corner, count = flat.reshape(-1, 4).astype(np.int64), len(entry)
    if wanted is not None:
        # The patches that are asked for come first
        asked = np.zeros(len(entry), dtype=bool)
        asked[corner[wanted]] = True
        order, count = np.argsort(~asked, kind="stable"), int(asked.sum())
        entry, corner = entry[order], np.argsort(order)[corner]
    corner = np.ascontiguousarray(corner)
    around = np.argsort(corner.ravel(), kind="stable") // 4
    start = np.concatenate([[0], np.cumsum(np.bincount(corner.ravel(), minlength=len(entry)))])
    node = mesh.nodes[entry % n]
    point = np.ascontiguousarray(np.einsum("qa,mai->mqi", _AT_POINTS, place, optimize=True))
    fitted, scale = np.empty((len(entry), 10, 6)), np.empty(len(entry))
    given = start, around, corner, point, np.ascontiguousarray(stress), np.maximum(weight, 1e-6), node, fitted, scale
    shared(patch_kernels.fit_patches, even_ranges(count), *given)
    if wanted is not None:
        corner, place = corner[wanted], place[wanted]
    out = np.empty((len(corner), 10, 6))
    shared(patch_kernels.at_nodes, even_ranges(len(corner)), corner, _ENDS, place, node, fitted, scale, out)
    return out


def _linear_at_nodes(stress: Array) -> Array:
    """The raw stress (j, 4, 6) of the points, which is linear, carried to the ten nodes (j, 10, 6)."""
    corner = np.einsum("aq,mqc->mac", _CORNERS, stress, optimize=True)
    return np.concatenate([corner, (corner[:, _ENDS[:, 0]] + corner[:, _ENDS[:, 1]]) / 2], axis=1)


def _compliance(material: PrintedMaterial, turn: Array) -> Array:
    """Compliance [1/MPa] in part axes: (6, 6), or one (j, 6, 6) for each `turn` (j,) of a wall."""
    own = np.linalg.inv(material.stiffness)
    if not material.follows_outline:
        return np.asarray(own)
    rotation = stress_rotation(wall_axes(material, turn))
    return np.asarray(np.einsum("mca,cd,mdb->mab", rotation, own, rotation, optimize=True))


def _mean_energy(stress: Array, compliance: Array, mass: Array) -> Array:
    """Mean (j,) over each tetrahedron of stress : compliance : stress, for values (j, a, 6) that the `mass` (a, a) of
    their shape functions integrates."""
    strain = np.einsum("cd,mad->mac" if compliance.ndim == 2 else "mcd,mad->mac", compliance, stress, optimize=True)
    return np.asarray(np.einsum("ab,mac,mbc->m", mass, stress, strain, optimize=True))


@cache
def _mass() -> Array:
    """Products (10, 10) of the second-order shape functions, averaged over a straight tetrahedron."""
    points, weights = exact_rule()
    shape = tet_shapes(points)
    return np.asarray(6 * (shape * weights[:, None]).T @ shape)
